#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// Number of single-character insertions, deletions, substitutions and swaps of neighbours that
/// turn one word into the other, or `limit` + 1 if it takes more. O(length * limit) with short
/// words in mind.
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t limit);

/// The known name that is nearest to `name`, at most two edits away; "" if there is none.
[[nodiscard]] std::string closest_name(std::string_view name,
                                       const std::vector<std::string>& known);

/// "; did you mean 'X'?" or "".
[[nodiscard]] std::string suggestion(std::string_view name, const std::vector<std::string>& known);

/// The unit suffix of a key ("_ohm" of "coil_ohm"), or "" if it has none that documents know.
[[nodiscard]] std::string_view unit_of(std::string_view key);

}  // namespace faultloom::documents
