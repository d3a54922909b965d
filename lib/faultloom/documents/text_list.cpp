#include <faultloom/documents/text_list.hpp>

#include <faultloom/base/error.hpp>

#include <fmt/format.h>

namespace faultloom::documents {
namespace {

constexpr std::string_view blanks = " \t\r\n";

/// Where the quoted text that begins at `start` ends: behind its last quote, or npos.
std::size_t after_quoted(std::string_view text, std::size_t start) {
  for (std::size_t i = start + 1; i < text.size(); ++i) {
    if (text[i] == '\\') {
      ++i;
    } else if (text[i] == '"') {
      return i + 1;
    }
  }
  return std::string_view::npos;
}

/// Where the element that begins at `start` ends: at the comma or bracket behind it, or npos.
std::size_t end_of_element(std::string_view text, std::size_t start) {
  std::size_t depth = 0;
  for (std::size_t i = start; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '"') {
      i = after_quoted(text, i);
      if (i == std::string_view::npos) return i;
      --i;
    } else if (c == '{' || c == '[') {
      ++depth;
    } else if (depth == 0 && (c == ',' || c == ']')) {
      return i;
    } else if (c == '}' || c == ']') {
      if (depth == 0) return std::string_view::npos;
      --depth;
    }
  }
  return std::string_view::npos;
}

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(blanks);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

}  // namespace

std::vector<std::string_view> elements_of(std::string_view text) {
  constexpr std::string_view mark = "\xEF\xBB\xBF";  // some editors begin a file with it
  if (text.starts_with(mark)) text.remove_prefix(mark.size());
  const auto list = trimmed(text);
  if (!list.starts_with('['))
    throw Error(Code::syntax, "There must be a JSON array, from '[' to ']'");
  std::vector<std::string_view> elements;
  std::size_t start = 1;
  while (true) {
    const auto end = end_of_element(list, start);
    if (end == std::string_view::npos)
      throw Error(Code::syntax,
                  fmt::format("A quote or bracket is missing in or after element {} of the array",
                              elements.size()));
    const auto element = trimmed(list.substr(start, end - start));
    const bool last = list[end] == ']';
    // An empty array has no element; what is empty otherwise is for its reader to mind.
    if (!last || !element.empty() || !elements.empty()) elements.push_back(element);
    if (last) {
      if (end + 1 != list.size())
        throw Error(Code::syntax, "There is more text behind the end of the array");
      return elements;
    }
    start = end + 1;
  }
}

}  // namespace faultloom::documents
