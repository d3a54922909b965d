#pragma once

#include <nlohmann/json.hpp>

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom::documents {

/// Adds a member that the object doesn't have yet. O(1), where operator[] looks at all there are.
inline void append_member(nlohmann::ordered_json& object, const std::string& name,
                          nlohmann::ordered_json value) {
  object.get_ref<nlohmann::ordered_json::object_t&>().emplace_back(name, std::move(value));
}

/// The members of an object in their order, found by name in O(log n).
class OrderedMembers {
 public:
  using Json = nlohmann::ordered_json;

  explicit OrderedMembers(const Json& object) {
    for (const auto& [name, value] : object.items()) set(name, value);
  }

  /// The value, or null if there is none of that name. Lasts until the next set().
  [[nodiscard]] const Json* find(std::string_view name) const {
    const auto found = places_.find(name);
    return found == places_.end() ? nullptr : &members_[found->second]->second;
  }
  /// Replaces a value, or adds a member at the end.
  void set(const std::string& name, Json value) {
    const auto [found, is_new] = places_.try_emplace(name, members_.size());
    if (is_new) {
      members_.emplace_back(std::in_place, name, std::move(value));
    } else {
      members_[found->second]->second = std::move(value);
    }
  }
  void erase(std::string_view name) {
    const auto found = places_.find(name);
    if (found == places_.end()) return;
    members_[found->second].reset();
    places_.erase(found);
  }

  [[nodiscard]] Json object() const {
    Json whole = Json::object();
    for (const auto& member : members_)
      if (member) append_member(whole, member->first, member->second);
    return whole;
  }

 private:
  std::vector<std::optional<std::pair<std::string, Json>>>
      members_;  ///< holes where one was erased
  std::map<std::string, std::size_t, std::less<>> places_;
};

}  // namespace faultloom::documents
