#pragma once

#include <string>

namespace faultloom {

/// A text with `?` for every control character, so that what quotes a document stays on one line.
[[nodiscard]] inline std::string on_one_line(std::string text) {
  for (auto& c : text)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = '?';
  return text;
}

}  // namespace faultloom
