#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::vehicle {

/// One row of a CSV file (RFC 4180) with the line it starts on.
struct CsvRow {
  int line = 0;  ///< from 1; lines inside quoted fields are not counted
  std::vector<std::string> fields;
};

/// As many wires as a vehicle may have, and the header.
inline constexpr std::size_t max_csv_rows = 8193;
inline constexpr std::size_t max_csv_fields = 64;

/// Splits CSV text into rows; empty lines are left out, blanks around unquoted fields too.
/// @throws Error  limit   more than 64 MB, more than max_csv_rows rows, a row of more than max_csv_fields
///                        fields, or a field of more than 4096 bytes
///                syntax  stray quotes, a quote without end, bytes that are not UTF-8
/// Complexity: linear.
[[nodiscard]] std::vector<CsvRow> read_csv(std::string_view text);

}  // namespace faultloom::vehicle
