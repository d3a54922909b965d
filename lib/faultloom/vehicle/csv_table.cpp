#include <faultloom/vehicle/csv_table.hpp>

#include <faultloom/base/error.hpp>

#include <csv.h>
#include <fmt/format.h>

#include <exception>
#include <memory>
#include <utility>

namespace faultloom::vehicle {
namespace {

constexpr std::size_t max_bytes = 64UL * 1024 * 1024;
constexpr std::size_t max_field_bytes = 4096;

/// Receives the parser's events. No exception may pass through the parser, which is C.
struct Collector {
  std::vector<CsvRow> rows;
  CsvRow row{.line = 1, .fields = {}};
  std::exception_ptr failure;

  template <typename Action>
  void guarded(Action&& action) noexcept {
    if (failure) return;
    try {
      action();
    } catch (...) {
      failure = std::current_exception();
    }
  }

  void end_row() {
    const int line = row.line;
    if (rows.size() == max_csv_rows)
      throw Error(Code::limit,
                  fmt::format("The list has more than {} rows; a vehicle has at most {} wires",
                              max_csv_rows, max_csv_rows - 1));
    if (row.fields.size() > 1 || (row.fields.size() == 1 && !row.fields.front().empty()))
      rows.push_back(std::move(row));
    row = {line + 1, {}};
  }
};

void on_field(void* data, std::size_t size, void* collector) {
  auto& self = *static_cast<Collector*>(collector);
  self.guarded([&] {
    if (size > max_field_bytes)
      throw Error(Code::limit,
                  fmt::format("Row {}, column {}: a field of {} bytes is too long; the limit is {}",
                              self.row.line, self.row.fields.size() + 1, size, max_field_bytes));
    if (self.row.fields.size() == max_csv_fields)
      throw Error(Code::limit,
                  fmt::format("Row {} has more than {} fields", self.row.line, max_csv_fields));
    const std::string_view field(static_cast<const char*>(data), size);
    if (field.find('\n') != std::string_view::npos)
      throw Error(Code::syntax,
                  fmt::format("Row {}, column {}: a field runs over the end of its line",
                              self.row.line, self.row.fields.size() + 1));
    self.row.fields.emplace_back(field);
  });
}

void on_row(int, void* collector) {
  auto& self = *static_cast<Collector*>(collector);
  self.guarded([&] { self.end_row(); });
}

/// Length of the UTF-8 character at the start of the text, 0 if it is none (RFC 3629, table 3-7 of
/// Unicode).
std::size_t character_length(std::string_view text) {
  const auto byte = [&](std::size_t i) {
    return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U;
  };
  const auto follows = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xBF) {
    return byte(i) >= low && byte(i) <= high;
  };
  const auto first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return follows(1) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF)
    return follows(1, first == 0xE0 ? 0xA0 : 0x80, first == 0xED ? 0x9F : 0xBF) && follows(2) ? 3
                                                                                              : 0;
  if (first >= 0xF0 && first <= 0xF4)
    return follows(1, first == 0xF0 ? 0x90 : 0x80, first == 0xF4 ? 0x8F : 0xBF) && follows(2) &&
                   follows(3)
               ? 4
               : 0;
  return 0;
}

void check_utf8(std::string_view text) {
  int line = 1;
  while (!text.empty()) {
    const auto length = character_length(text);
    const bool control = (text.front() >= '\0' && text.front() < ' ') || text.front() == '\x7F';
    if (length == 0 ||
        (control && text.front() != '\n' && text.front() != '\r' && text.front() != '\t'))
      throw Error(Code::syntax, fmt::format("Row {} holds bytes that are not UTF-8 text", line));
    if (text.front() == '\n') ++line;
    text.remove_prefix(length);
  }
}

/// Every line end as a single line feed, without the mark that some programs put first.
std::string plain_lines(std::string_view text) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  std::string result;
  result.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\r') {
      result += text[i];
    } else if (i + 1 == text.size() || text[i + 1] != '\n') {
      result += '\n';
    }
  }
  return result;
}

}  // namespace

std::vector<CsvRow> read_csv(std::string_view text) {
  if (text.size() > max_bytes)
    throw Error(Code::limit,
                fmt::format("The list has {} bytes; the limit is {}", text.size(), max_bytes));
  check_utf8(text);
  const auto lines = plain_lines(text);
  csv_parser parser;
  if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI | CSV_REPALL_NL) != 0)
    throw Error(Code::memory, "Out of memory while reading the list");
  const std::unique_ptr<csv_parser, void (*)(csv_parser*)> guard(&parser, csv_free);
  Collector collector;
  const bool whole = csv_parse(&parser, lines.data(), lines.size(), on_field, on_row, &collector) ==
                         lines.size() &&
                     csv_fini(&parser, on_field, on_row, &collector) == 0;
  if (collector.failure) std::rethrow_exception(collector.failure);
  if (!whole) {
    if (csv_error(&parser) == CSV_ENOMEM || csv_error(&parser) == CSV_ETOOBIG)
      throw Error(Code::memory, "Out of memory while reading the list");
    throw Error(Code::syntax,
                fmt::format("Row {} has a quotation mark in the wrong place or without its partner",
                            collector.row.line));
  }
  return std::move(collector.rows);
}

}  // namespace faultloom::vehicle
