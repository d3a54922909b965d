#include <faultloom/documents/situation_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/resolver.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <string>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// Names in one member; no vehicle has as many that a situation could do anything with.
constexpr std::size_t most_names = 8192;

/// What is wrong with one member by its type alone, "" if nothing.
std::string misfit(const std::string& key, const json& value) {
  const auto is_text = [](const json& item) { return item.is_string(); };
  if (key == "state")
    return value.is_object() && std::all_of(value.begin(), value.end(), is_text)
               ? ""
               : "'state' must be an object of control: position, both texts";
  if (key == "modes" || key == "lifted")
    return value.is_array() && std::all_of(value.begin(), value.end(), is_text)
               ? ""
               : fmt::format("'{}' must be a list of names", key);
  if (key == "lead")
    return value.is_array() && value.size() == 2 && std::all_of(value.begin(), value.end(), is_text)
               ? ""
               : "'lead' must be a list of two terminals";
  if (key == "isolated") return value.is_boolean() ? "" : "'isolated' must be true or false";
  return fmt::format("A situation has no '{}'{}", key,
                     suggestion(key, {"state", "modes", "lifted", "lead", "isolated"}));
}

/// A situation is an argument rather than a document, so it is checked here instead of by a schema.
void check_members(const json& document, std::vector<Problem>& problems) {
  if (!document.is_object()) {
    problems.push_back({Code::schema, "A situation must be a JSON object", ""});
    return;
  }
  if (document.size() > most_names)
    throw Error(Code::limit, fmt::format("A situation has {} members; the limit is {}",
                                         document.size(), most_names));
  for (const auto& [key, value] : document.items()) {
    if (is_extension(key)) continue;
    if (value.size() > most_names) {
      problems.push_back(
          {Code::limit,
           fmt::format("'{}' has {} items; the limit is {}", key, value.size(), most_names),
           "/" + pointer_token(key)});
    } else if (auto message = misfit(key, value); !message.empty()) {
      problems.push_back({Code::schema, std::move(message), "/" + pointer_token(key)});
    }
  }
}

std::vector<vehicle::Index> read_modes(const json& document, Resolver& resolver) {
  std::vector<vehicle::Index> modes;
  const auto names = texts_or_none(document, "modes");
  for (std::size_t i = 0; i < names.size(); ++i) {
    const auto pointer = fmt::format("/modes/{}", i);
    const auto mode = resolver.mode(names[i], pointer);
    if (mode == vehicle::none) continue;
    if (std::find(modes.begin(), modes.end(), mode) != modes.end())
      resolver.add(Code::duplicate, fmt::format("Mode '{}' is named twice", names[i]), pointer);
    modes.push_back(mode);
  }
  std::sort(modes.begin(), modes.end());
  return modes;
}

}  // namespace

Situation read_situation(std::string_view text, const vehicle::Vehicle& vehicle) {
  const auto document = text.empty() ? json::object() : parse_text(text);
  std::vector<Problem> problems;
  check_members(document, problems);
  throw_if_any(problems);
  Resolver resolver(vehicle, problems);
  Situation situation;
  situation.state = resolver.state(document, "");
  situation.modes = read_modes(document, resolver);
  situation.lifted_elements = resolver.lifted(document, "");
  situation.bridged_elements = resolver.bridged(document, "");
  throw_if_any(std::move(problems));
  return situation;
}

}  // namespace faultloom::documents
