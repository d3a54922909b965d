#pragma once

#include <faultloom/base/error.hpp>

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom {

/// The first bytes of a text and "..." if there are more than so many; no character of UTF-8 is cut.
[[nodiscard]] inline std::string shortened(std::string_view text, std::size_t most_bytes = 40) {
  if (text.size() <= most_bytes) return std::string(text);
  auto end = most_bytes;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U) --end;
  return std::string(text.substr(0, end)) + "...";
}

/// A text with `?` for every control character and of 2,000 bytes at most, so that what quotes a
/// document, or a whole one given for an id, stays on one line.
[[nodiscard]] inline std::string on_one_line(std::string text) {
  constexpr std::size_t most_bytes = 2000;
  if (text.size() > most_bytes) text = shortened(text, most_bytes);
  for (auto& c : text)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = '?';
  return text;
}

/// The same for messages, which quote what a document says.
inline void keep_to_one_line(std::vector<Problem>& problems) {
  for (auto& problem : problems) problem.message = on_one_line(std::move(problem.message));
}

}  // namespace faultloom
