#pragma once

#include <nlohmann/json.hpp>

#include <cstddef>
#include <string>
#include <vector>

namespace fuzz {

/// Members keep their order, so that a mutant differs from its parent in one place only.
using Document = nlohmann::ordered_json;

/// Where a value of a document is: its parent, and which of the parent's values it is.
struct Place {
  Document* parent = nullptr;
  std::size_t step = 0;

  [[nodiscard]] Document& value() const {
    return parent->is_array() ? (*parent)[step] : item().value();
  }
  /// "" in an array.
  [[nodiscard]] std::string key() const { return parent->is_object() ? item().key() : ""; }
  [[nodiscard]] Document::iterator item() const {
    return std::next(parent->begin(), static_cast<std::ptrdiff_t>(step));
  }
};

/// Places of all values but the whole.
[[nodiscard]] std::vector<Place> places_of(Document& document);

/// Values at the edges of what any member may be.
[[nodiscard]] const std::vector<Document>& odd_values();

/// An object with another name for one of its members, in the same place.
[[nodiscard]] Document renamed(const Document& object, const std::string& old,
                               const std::string& name);

/// As text; invalid UTF-8 is left out.
[[nodiscard]] std::string dumped(const Document& document);

}  // namespace fuzz
