#include <faultloom/report/text_lines.hpp>

#include <array>
#include <cstdint>

namespace faultloom::reports {
namespace {

/// Advances of U+0020 to U+007E in DejaVu Sans 2.37, thousandths of the em, rounded up.
constexpr std::array<int, 95> regular_advances{
    318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 361,  318, 337, 637, 637, 637,
    637, 637, 637, 637, 637, 637, 637, 337, 337, 838, 838, 838, 531, 1000, 685, 687, 699, 771, 632,
    576, 775, 752, 295, 295, 656, 558, 863, 749, 788, 604, 788, 695, 635,  611, 732, 685, 989, 686,
    611, 686, 391, 337, 391, 838, 500, 500, 613, 635, 550, 635, 616, 353,  635, 634, 278, 278, 580,
    278, 975, 634, 612, 635, 635, 412, 521, 393, 634, 592, 818, 592, 592,  525, 637, 337, 637, 838};
constexpr std::array<int, 95> bold_advances{
    349,  457, 521, 838, 696, 1002, 873, 307,  458, 458, 523, 838, 380, 416,  380, 366,
    696,  696, 696, 696, 696, 696,  696, 696,  696, 696, 400, 400, 838, 838,  838, 581,
    1000, 774, 763, 734, 831, 684,  684, 821,  837, 373, 373, 775, 638, 996,  837, 851,
    733,  851, 771, 721, 683, 813,  774, 1104, 771, 725, 726, 458, 366, 458,  838, 500,
    500,  675, 716, 593, 716, 679,  436, 716,  712, 343, 343, 666, 343, 1042, 712, 688,
    716,  716, 494, 596, 479, 712,  652, 924,  646, 652, 583, 712, 366, 712,  838};
/// The widest that these fonts have in Latin-1 and Latin Extended-A, and in any script.
constexpr int latin_advance = 1200;
constexpr int widest_advance = 2100;

constexpr std::uint32_t no_break_space = 0xa0;

struct Point {
  std::uint32_t code = 0;
  std::size_t bytes = 0;  ///< 0: not UTF-8
};

Point point_at(std::string_view text, std::size_t i) {
  const auto byte = [&](std::size_t k) -> std::uint32_t {
    return static_cast<unsigned char>(text[k]);
  };
  const auto first = byte(i);
  if (first < 0x80) return {first, 1};
  const std::size_t bytes = first >= 0xf0 && first < 0xf5   ? 4
                            : first >= 0xe0 && first < 0xf0 ? 3
                            : first >= 0xc2 && first < 0xe0 ? 2
                                                            : 0;
  if (bytes == 0 || i + bytes > text.size()) return {};
  std::uint32_t code = first & (0xffU >> (bytes + 1));
  for (std::size_t k = 1; k < bytes; ++k) {
    if ((byte(i + k) & 0xc0U) != 0x80) return {};
    code = code << 6U | (byte(i + k) & 0x3fU);
  }
  const bool overlong = (bytes == 3 && code < 0x800) || (bytes == 4 && code < 0x10000);
  const bool outside = code > 0x10ffff || (code >= 0xd800 && code < 0xe000);
  return overlong || outside ? Point{} : Point{code, bytes};
}

bool within(std::uint32_t code, std::uint32_t first, std::uint32_t last) {
  return code >= first && code <= last;
}

/// Controls, marks without width that turn or join writing, scripts that run from right to left, and what
/// XML leaves out.
bool unwelcome(std::uint32_t code) {
  return code < 0x20 || within(code, 0x7f, 0x9f) || within(code, 0x590, 0x8ff) ||
         within(code, 0x200b, 0x200f) || within(code, 0x2028, 0x202e) ||
         within(code, 0x2060, 0x206f) || within(code, 0xfb1d, 0xfdff) ||
         within(code, 0xfe70, 0xfeff) || within(code, 0xfff0, 0xffff) ||
         within(code, 0x10800, 0x10fff) || within(code, 0x1e800, 0x1efff) || code >= 0xe0000;
}

int advance_of(std::uint32_t code, bool bold) {
  if (code >= 0x20 && code < 0x7f) return (bold ? bold_advances : regular_advances)[code - 0x20];
  if (code == no_break_space) return (bold ? bold_advances : regular_advances)[0];
  return code < 0x180 ? latin_advance : widest_advance;
}

/// How many bytes from the beginning fit; at least one character.
std::size_t bytes_that_fit(std::string_view text, Typeface face, double width) {
  double used = 0;
  std::size_t i = 0;
  while (i < text.size()) {
    const auto point = point_at(text, i);
    used += advance_of(point.code, face.bold) * face.size / 1000;
    if (used > width && i > 0) break;
    i += point.bytes == 0 ? 1 : point.bytes;
  }
  return i;
}

void strip_end(std::string& line) {
  while (!line.empty() && line.back() == ' ') line.pop_back();
}

}  // namespace

std::string clean_line(std::string_view text) {
  std::string line;
  for (std::size_t i = 0; i < text.size();) {
    const auto point = point_at(text, i);
    const auto bytes = point.bytes == 0 ? 1 : point.bytes;
    const bool space = point.bytes == 1 && (point.code == ' ' || within(point.code, 9, 13));
    if (space) {
      if (!line.empty() && line.back() != ' ') line += ' ';
    } else if (point.bytes == 0 || unwelcome(point.code)) {
      line += '?';
    } else {
      line += text.substr(i, bytes);
    }
    i += bytes;
  }
  strip_end(line);
  return line;
}

double text_width(std::string_view text, Typeface face) {
  double sum = 0;
  for (std::size_t i = 0; i < text.size();) {
    const auto point = point_at(text, i);
    sum += advance_of(point.code, face.bold);
    i += point.bytes == 0 ? 1 : point.bytes;
  }
  return sum * face.size / 1000;
}

std::vector<std::string> wrapped(std::string_view text, Typeface face, double width,
                                 std::size_t most_lines) {
  constexpr std::string_view ellipsis = "...";
  std::vector<std::string> lines;
  while (!text.empty() && lines.size() < most_lines) {
    auto end = bytes_that_fit(text, face, width);
    if (end < text.size() && lines.size() + 1 == most_lines) {
      end = bytes_that_fit(text, face, width - text_width(ellipsis, face));
      std::string last(text.substr(0, end));
      strip_end(last);
      lines.push_back(last + std::string(ellipsis));
      break;
    }
    if (end < text.size() && text[end] != ' ') {
      const auto space = text.substr(0, end).rfind(' ');
      if (space != std::string_view::npos && space > 0) end = space;
    }
    std::string line(text.substr(0, end));
    strip_end(line);
    lines.push_back(std::move(line));
    text.remove_prefix(end);
    while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  }
  if (lines.empty()) lines.emplace_back();
  return lines;
}

std::string xml_escaped(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&apos;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

}  // namespace faultloom::reports
