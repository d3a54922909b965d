#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <string_view>
#include <vector>

namespace faultloom::documents {

/// Minutes to place a probe where the document says nothing.
inline constexpr double default_part_probe_minutes = 0.7;
inline constexpr double default_pin_probe_minutes = 1.2;
/// Insulation leakage of a terminal where the document says nothing [ohm].
inline constexpr double default_leakage_ohm = 1e8;

/// Reads a document of format faultloom.vehicle and builds the vehicle from its part kinds.
///
/// Components come in this order: parts by id, connector contacts by connector and pin, wires by
/// id, each wire followed by its two joints, settings by control, earlier work that swapped wires.
/// Earlier work that a part's kind describes follows the part at once.
/// @param kinds     only needed during the call
/// @param warnings  if not null, receives what is odd but works, for example controls named by a
/// part
///                  whose kind can't be operated
/// @throws Error  with every problem found. Text and schema are checked first, and only a document
/// that
///         follows its schema is checked further: names that don't exist (reference), ids used
///         twice (duplicate), values out of range (value), operands beyond the limits (limit).
/// Complexity: O(n log n) in the size of the document.
[[nodiscard]] vehicle::Vehicle read_vehicle(std::string_view text, const KindCatalog& kinds,
                                            std::vector<Problem>* warnings = nullptr);

}  // namespace faultloom::documents
