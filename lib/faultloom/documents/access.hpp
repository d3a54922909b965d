#pragma once

#include <faultloom/base/error.hpp>

#include <nlohmann/json.hpp>

#include <string>
#include <string_view>
#include <vector>

/// Short ways to read members of JSON objects that already follow their schema. Absent members give
/// the fallback; members of a wrong type throw nlohmann's exceptions.
namespace faultloom::documents {

inline const nlohmann::json* member(const nlohmann::json& object, std::string_view key) {
  const auto found = object.find(key);
  return found == object.end() ? nullptr : &*found;
}

template <typename Value>
Value value_or(const nlohmann::json& object, std::string_view key, Value fallback) {
  const auto* found = member(object, key);
  return found == nullptr ? fallback : found->get<Value>();
}

inline std::string text_or(const nlohmann::json& object, std::string_view key,
                           std::string fallback = "") {
  return value_or<std::string>(object, key, std::move(fallback));
}

inline double number_or(const nlohmann::json& object, std::string_view key, double fallback) {
  return value_or<double>(object, key, fallback);
}

inline bool flag_or(const nlohmann::json& object, std::string_view key, bool fallback) {
  return value_or<bool>(object, key, fallback);
}

inline std::vector<std::string> texts_or_none(const nlohmann::json& object, std::string_view key) {
  return value_or<std::vector<std::string>>(object, key, {});
}

/// Whether a key is an extension, which every document may carry and no reader looks at.
inline bool is_extension(std::string_view key) { return key.starts_with("x-"); }

/// Calls visit(key, value) for each member of object[key] that is no extension, in key order.
template <typename Visit>
void for_members(const nlohmann::json& object, std::string_view key, Visit&& visit) {
  const auto* found = member(object, key);
  if (found == nullptr) return;
  for (const auto& [name, value] : found->items())
    if (!is_extension(name)) visit(name, value);
}

/// Ids of object[key], in key order.
inline std::vector<std::string> ids_of(const nlohmann::json& object, std::string_view key) {
  std::vector<std::string> ids;
  for_members(object, key,
              [&](const std::string& id, const nlohmann::json&) { ids.push_back(id); });
  return ids;
}

/// Runs a reader; a member that is not as its schema promised becomes Error(internal).
template <typename Read>
auto as_read(Read&& read) {
  try {
    return read();
  } catch (const nlohmann::json::exception& problem) {
    throw Error(Code::internal,
                std::string("A document follows its schema but can't be read: ") + problem.what());
  }
}

}  // namespace faultloom::documents
