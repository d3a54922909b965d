#pragma once

#include <cstddef>
#include <nlohmann/json_fwd.hpp>
#include <string_view>

namespace faultloom::documents {

/// Bounds that a document text must keep; they are checked while it is scanned, before memory is
/// spent.
inline constexpr std::size_t max_text_bytes = 64UL * 1024 * 1024;
inline constexpr std::size_t max_depth = 64;
inline constexpr std::size_t max_string_bytes = 4096;

/// Reads a JSON text (RFC 8259, UTF-8).
///
/// @returns the value; object members sorted by key
/// @throws Error  limit      text, nesting or a single string too large
///                syntax     not JSON, not UTF-8, or a number that a double can't hold; the message
///                gives
///                           line and column
///                duplicate  an object names a key twice; all of them are reported, each with its
///                pointer
/// Complexity: linear. The stack does not grow with the nesting of the text.
[[nodiscard]] nlohmann::json parse_text(std::string_view text);

/// The same with object members in the order of the text. Linear too, which the parser of
/// nlohmann::ordered_json is not: it compares each key with all before it.
[[nodiscard]] nlohmann::ordered_json parse_ordered(std::string_view text);

}  // namespace faultloom::documents
