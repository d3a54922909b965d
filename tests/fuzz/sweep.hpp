#pragma once

#include <functional>
#include <set>
#include <string>
#include <string_view>

namespace fuzz {

/// Hands out a document with one thing changed, once for each such change: every value by odd ones, by those
/// that members of its name have elsewhere, a text by every other text and name of the document; every member
/// dropped, renamed, added where it is not; every element doubled, three hundred times, and swapped. What random
/// changes reach late, and a limit that two of them have to meet, is what is left to the fuzzer.
/// @param words  names that members may have
/// A text that is not JSON has none. Some 80 changes for each value.
void each_change(std::string_view text, const std::set<std::string>& words,
                 const std::function<void(std::string)>& take);

/// A journal with one thing in one of its records changed, and checksums that fit.
void each_journal_change(std::string_view bytes, const std::set<std::string>& words,
                         const std::function<void(std::string)>& take);

}  // namespace fuzz
