#pragma once

#include <functional>
#include <map>
#include <string>
#include <string_view>

namespace faultloom::documents {

/// A warning shown with a step that needs it.
struct Caution {
  std::string signal_word;  ///< DANGER, WARNING, CAUTION or NOTICE, the most serious first
  std::string text;
};

/// Cautions by id.
using Cautions = std::map<std::string, Caution, std::less<>>;

/// Reads a document of format faultloom.cautions.
/// @throws Error  with every problem found. Complexity: O(n log n).
[[nodiscard]] Cautions read_cautions(std::string_view text);

}  // namespace faultloom::documents
