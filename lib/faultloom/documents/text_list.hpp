#pragma once

#include <string_view>
#include <vector>

namespace faultloom::documents {

/// Cuts a JSON array into the texts of its elements without looking into them, so that one that is damaged
/// does not spoil the others. Views into `text`.
/// @throws Error syntax  it is no array, or its brackets and quotes do not match
/// Complexity: linear.
[[nodiscard]] std::vector<std::string_view> elements_of(std::string_view text);

}  // namespace faultloom::documents
