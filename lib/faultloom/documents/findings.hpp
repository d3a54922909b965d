#pragma once

#include <faultloom/base/error.hpp>

#include <cstddef>
#include <vector>

namespace faultloom::documents {

/// No list of problems is longer than this; a reader has stopped reading long before.
inline constexpr std::size_t max_problems = 100;

/// Drops problems that were already named with the same code, message and pointer; keeps the order.
void remove_repeats(std::vector<Problem>& problems);

/// Shortens a list to `limit` problems and a last line that says how many more there are. A list
/// that was shortened before stays as it is.
void cap(std::vector<Problem>& problems, std::size_t limit = max_problems);

/// Throws Error with the problems, each on one line, without repeats and capped, if there are any.
void throw_if_any(std::vector<Problem> problems);

}  // namespace faultloom::documents
