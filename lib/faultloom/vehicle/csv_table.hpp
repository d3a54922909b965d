#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace faultloom::vehicle {

/// One row of a CSV file (RFC 4180) with the line it starts on.
struct CsvRow {
  int line = 0;  ///< from 1; lines inside quoted fields are not counted
  std::vector<std::string> fields;
};

/// Splits CSV text into rows; empty lines are left out, blanks around unquoted fields too.
/// @throws Error  limit   more than 64 MB, or a field of more than 4096 bytes
///                syntax  stray quotes, a quote without end, bytes that are not UTF-8
/// Complexity: linear.
[[nodiscard]] std::vector<CsvRow> read_csv(std::string_view text);

}  // namespace faultloom::vehicle
