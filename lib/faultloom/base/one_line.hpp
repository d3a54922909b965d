#pragma once

#include <faultloom/base/error.hpp>

#include <string>
#include <utility>
#include <vector>

namespace faultloom {

/// A text with `?` for every control character, so that what quotes a document stays on one line.
[[nodiscard]] inline std::string on_one_line(std::string text) {
  for (auto& c : text)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = '?';
  return text;
}

/// The same for messages, which quote what a document says.
inline void keep_to_one_line(std::vector<Problem>& problems) {
  for (auto& problem : problems) problem.message = on_one_line(std::move(problem.message));
}

}  // namespace faultloom
