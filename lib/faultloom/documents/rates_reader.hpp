#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/rates/rates.hpp>

#include <string_view>
#include <vector>

namespace faultloom::documents {

/// The shares of a kind's modes may miss one by this much.
inline constexpr double share_tolerance = 1e-6;

/// Reads a document of format faultloom.rates.
///
/// Shares are used as written, not scaled to sum to one exactly.
/// @throws Error  with every problem found: first text and schema, then shares that don't sum to one within
///         share_tolerance (value), and numbers out of range (value). Complexity: O(n log n).
[[nodiscard]] rates::Rates read_rates(std::string_view text);

/// Appends a problem of code reference for each kind or mode that the catalog doesn't have, in
/// rates, events, cues and `per_visit`: its share would be lost without a word, since only modes of
/// the vehicle can fail. Events of a loom name modes of control_wire or power_wire, those of a
/// connector modes of a kind with the terminals plug and socket. Cues may name the kinds
/// earlier_work and setting as well. A share of a mode that is earlier work is a problem of code
/// value.
void check_rates(const rates::Rates& rates, const KindCatalog& kinds,
                 std::vector<Problem>& problems);

}  // namespace faultloom::documents
