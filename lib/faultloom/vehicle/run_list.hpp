#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom::vehicle {

/// One wire of a wire run list.
struct RunListWire {
  std::string id;
  std::string from;       ///< PART.terminal
  std::string to;         ///< PART.terminal
  bool by_gauge = false;  ///< the list gives gauge_awg, not area_mm2
  int gauge_awg = 0;
  double area_mm2 = 0;  ///< metal cross-section, from the gauge if that is given [mm2]
  double length_metre = 0;
  std::string loom;    ///< "" if the list does not say
  std::string zone;    ///< "" if the list does not say
  bool power = false;  ///< power circuit rather than control circuit
};

/// Reads a wire run list in CSV. The first row names the columns, in any order: wire, from, to,
/// length_metre, gauge_awg or area_mm2 (or both, one filled in each row), and if there are any
/// loom, zone and class (control or power; control if empty).
///
/// @throws Error with every bad row; messages name row and column, pointers are empty
///         syntax     not CSV, a row with too many or too few fields
///         schema     a column is missing, unknown or named twice
///         value      a bad name or number
///         duplicate  a wire listed twice, or one name for two things: a wire, a part, a connector pin
/// Complexity: O(n log n).
[[nodiscard]] std::vector<RunListWire> read_run_list(std::string_view csv);

/// Whether a text can be the id of a part, a wire and so on: a letter and up to 63 letters, digits,
/// - or _.
[[nodiscard]] bool is_id(std::string_view text);

/// Part of a terminal written PART.terminal.
[[nodiscard]] std::string part_of(std::string_view terminal);

/// Connector and pin of a terminal written X1-3.plug or X1-3.socket; empty for all others.
[[nodiscard]] std::pair<std::string, std::string> pin_of(std::string_view terminal);

}  // namespace faultloom::vehicle
