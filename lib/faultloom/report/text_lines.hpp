#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

/// Text for drawings whose reader chooses the font.
namespace faultloom::reports {

struct Typeface {
  double size = 1;  ///< of the em, in the unit that widths are to have
  bool bold = false;
};

/// One line of text that XML 1.0 allows and that runs from left to right: runs of white space become one
/// space, and what is not UTF-8, is a control or turns the direction of writing becomes "?". No-break spaces stay.
[[nodiscard]] std::string clean_line(std::string_view text);

/// How wide text is at most, in the unit of the typeface's size. ASCII by the advances of DejaVu Sans, which
/// is wider than most sans serifs; anything else by what is wide in any script.
/// @param text  as clean_line() leaves it. Linear.
[[nodiscard]] double text_width(std::string_view text, Typeface face);

/// Breaks cleaned text at spaces, and words that are too long anywhere.
/// @param most_lines  at least 1; a text that needs more ends in "..."
/// @returns  at least one line, none wider than `width` if that is wide enough for one character
[[nodiscard]] std::vector<std::string> wrapped(std::string_view text, Typeface face, double width,
                                               std::size_t most_lines);

/// With the characters replaced that mean something to XML.
[[nodiscard]] std::string xml_escaped(std::string_view text);

}  // namespace faultloom::reports
