#pragma once

#include <faultloom/readings/instrument.hpp>

#include <string_view>

namespace faultloom::documents {

/// Reads a document of format faultloom.instruments. Instruments come in the order of their ids.
///
/// @throws Error  with every problem found: first text and schema, then keys that an instrument's type
///         doesn't have or lacks (schema), numbers that don't go together, such as misreading
///         probabilities that leave no room for a proper reading (value). Complexity: O(n log n).
[[nodiscard]] readings::InstrumentSet read_instruments(std::string_view text);

}  // namespace faultloom::documents
