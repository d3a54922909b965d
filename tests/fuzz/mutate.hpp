#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

namespace fuzz {

/// Changes the bytes of a text in place and returns its new size, at most `most`.
using ByteMutator = std::function<std::size_t(char* text, std::size_t size, std::size_t most)>;

/// A document with one to four of its values changed: dropped, doubled, renamed, put elsewhere, replaced by
/// odd ones. The same seed gives the same text.
/// @param bytes  for single texts; null: they are changed in ways of their own
/// @returns "" if the text is not JSON
[[nodiscard]] std::string mutate_json(std::string_view text, std::uint64_t seed,
                                      const ByteMutator& bytes = nullptr);

/// A document with one value of another in the place of one of its own, of the same name if there is one.
/// @returns "" if one of both is not JSON
[[nodiscard]] std::string cross_json(std::string_view text, std::string_view other,
                                     std::uint64_t seed);

/// A journal with one record's body, or the order of its records, changed, and checksums that fit.
/// @returns "" if no record of it can be read
[[nodiscard]] std::string mutate_journal(std::string_view bytes, std::uint64_t seed);

}  // namespace fuzz
