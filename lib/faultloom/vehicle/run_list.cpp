#include <faultloom/vehicle/run_list.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/csv_table.hpp>
#include <faultloom/vehicle/wire_gauge.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>
#include <optional>
#include <utility>

namespace faultloom::vehicle {
namespace {

constexpr std::size_t max_listed = 100;
constexpr std::array<std::string_view, 9> columns{
    "wire", "from", "to", "gauge_awg", "area_mm2", "length_metre", "loom", "zone", "class"};

bool is_terminal(std::string_view text) {
  const auto dot = text.find('.');
  return dot != std::string_view::npos && is_id(text.substr(0, dot)) && is_id(text.substr(dot + 1));
}

bool is_letter(char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); }

bool is_letter_or_digit(char c) { return is_letter(c) || (c >= '0' && c <= '9'); }

/// As the schema of vehicles names pins.
bool is_pin(std::string_view text) {
  return text.size() <= 16 && std::all_of(text.begin(), text.end(), is_letter_or_digit);
}

std::optional<double> number(std::string_view text) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
    return std::nullopt;
  return value;
}

/// What a name stands for, and the row that says so first.
struct Use {
  std::string_view what;
  int line = 0;
  bool told = false;  ///< that another row takes it for something else
};

class Reader {
 public:
  std::vector<RunListWire> read(std::string_view csv) {
    const auto rows = read_csv(csv);
    if (rows.empty())
      throw Error(Code::schema, "The list is empty; its first row must name the columns");
    read_header(rows.front());
    stop_if_bad();
    for (auto row = rows.begin() + 1; row != rows.end(); ++row) read_row(*row);
    stop_if_bad();
    return std::move(wires_);
  }

 private:
  void add(Code code, std::string message) { problems_.push_back({code, std::move(message), ""}); }

  void add_at(int line, std::string_view column, std::string_view what, Code code = Code::value) {
    add(code, fmt::format("Row {}, column '{}': {}", line, column, what));
  }

  void stop_if_bad() {
    if (problems_.empty()) return;
    if (problems_.size() > max_listed) {
      const auto more = problems_.size() - max_listed;
      problems_.resize(max_listed);
      add(Code::value, fmt::format("And {} more problems of this list are not listed", more));
    }
    throw Error(std::move(problems_));
  }

  void read_header(const CsvRow& row) {
    width_ = row.fields.size();
    for (std::size_t c = 0; c < width_; ++c) {
      const auto& name = row.fields[c];
      if (std::find(columns.begin(), columns.end(), name) == columns.end()) {
        add(Code::schema, fmt::format("Row {}: unknown column '{}'; known columns are {}", row.line,
                                      name, fmt::join(columns, ", ")));
      } else if (!place_.emplace(name, c).second) {
        add(Code::schema, fmt::format("Row {}: column '{}' is named twice", row.line, name));
      }
    }
    for (const std::string_view needed : {"wire", "from", "to", "length_metre"})
      if (!place_.contains(needed))
        add(Code::schema, fmt::format("Row {}: column '{}' is missing", row.line, needed));
    if (!place_.contains("gauge_awg") && !place_.contains("area_mm2"))
      add(Code::schema,
          fmt::format("Row {}: column 'gauge_awg' or 'area_mm2' is missing", row.line));
  }

  [[nodiscard]] std::string field(const CsvRow& row, std::string_view column) const {
    const auto found = place_.find(column);
    return found == place_.end() ? "" : row.fields[found->second];
  }

  void read_row(const CsvRow& row) {
    if (row.fields.size() != width_) {
      add(Code::syntax, fmt::format("Row {} has {} fields; the first row names {}", row.line,
                                    row.fields.size(), width_));
      return;
    }
    RunListWire wire;
    wire.id = read_id(row, "wire", false);
    wire.from = read_terminal(row, "from");
    wire.to = read_terminal(row, "to");
    if (!wire.from.empty() && wire.from == wire.to)
      add_at(row.line, "to", fmt::format("both ends are {}; a wire joins two terminals", wire.to));
    read_size(row, wire);
    wire.length_metre = read_positive(row, "length_metre");
    wire.loom = read_id(row, "loom", true);
    wire.zone = read_id(row, "zone", true);
    const auto wire_class = field(row, "class");
    if (!wire_class.empty() && wire_class != "control" && wire_class != "power")
      add_at(row.line, "class", fmt::format("'{}' is neither control nor power", wire_class));
    wire.power = wire_class == "power";
    const auto [first, fresh] = lines_.emplace(wire.id, row.line);
    if (!fresh && !wire.id.empty())
      add_at(row.line, "wire", fmt::format("wire {} is already in row {}", wire.id, first->second),
             Code::duplicate);
    if (!wire.id.empty()) claim(wire.id, "a wire", row.line, "wire");
    claim_owner(wire.from, row.line, "from");
    claim_owner(wire.to, row.line, "to");
    wires_.push_back(std::move(wire));
  }

  /// Notes what a name stands for; one name for two things is a problem, told once.
  void claim(const std::string& name, std::string_view what, int line, std::string_view column) {
    auto& use = uses_.try_emplace(name, Use{what, line, false}).first->second;
    if (use.what == what || use.told) return;
    use.told = true;
    add_at(line, column,
           fmt::format("'{}' is {} here and {} in row {}; rename one of them", name, what, use.what,
                       use.line),
           Code::duplicate);
  }

  void claim_owner(const std::string& terminal, int line, std::string_view column) {
    if (terminal.empty()) return;
    const bool pin = !pin_of(terminal).first.empty();
    claim(part_of(terminal), pin ? "a connector pin" : "a part", line, column);
  }

  std::string read_id(const CsvRow& row, std::string_view column, bool optional) {
    auto text = field(row, column);
    if (is_id(text) || (optional && text.empty())) return text;
    add_at(row.line, column,
           fmt::format("'{}' is no name; a letter and up to 63 letters, digits, - or _ make one",
                       text));
    return "";
  }

  std::string read_terminal(const CsvRow& row, std::string_view column) {
    auto text = field(row, column);
    if (!is_terminal(text)) {
      add_at(row.line, column, fmt::format("'{}' is no terminal; write PART.terminal", text));
      return "";
    }
    if (const auto pin = pin_of(text).second; !pin.empty() && !is_pin(pin)) {
      add_at(row.line, column,
             fmt::format("'{}' is no pin; 1 to 16 letters and digits make one", pin));
      return "";
    }
    return text;
  }

  double read_positive(const CsvRow& row, std::string_view column) {
    const auto text = field(row, column);
    const auto value = number(text);
    if (!value) {
      add_at(row.line, column, fmt::format("'{}' is not a number", text));
    } else if (*value <= 0) {
      add_at(row.line, column, fmt::format("{} is out of range; it must be above 0", *value));
    }
    return value.value_or(0);
  }

  void read_size(const CsvRow& row, RunListWire& wire) {
    const auto gauge = field(row, "gauge_awg");
    const auto area = field(row, "area_mm2");
    const bool by_area = gauge.empty() && place_.contains("area_mm2");
    if (!gauge.empty() && !area.empty()) {
      add_at(row.line, "area_mm2", "'gauge_awg' is given as well; give one of them");
    } else if (by_area) {
      wire.area_mm2 = read_positive(row, "area_mm2");
    } else {
      const auto value = number(gauge);
      if (!value || *value != std::floor(*value) || *value < thickest_awg ||
          *value > thinnest_awg) {
        add_at(row.line, "gauge_awg",
               fmt::format("'{}' is no gauge; whole numbers from {} (4/0) to {} are", gauge,
                           thickest_awg, thinnest_awg));
        return;
      }
      wire.by_gauge = true;
      wire.gauge_awg = static_cast<int>(*value);
      wire.area_mm2 = area_mm2_of_awg(wire.gauge_awg);
    }
  }

  std::map<std::string, std::size_t, std::less<>> place_;
  std::map<std::string, int> lines_;
  std::map<std::string, Use> uses_;
  std::size_t width_ = 0;
  std::vector<RunListWire> wires_;
  std::vector<Problem> problems_;
};

}  // namespace

std::vector<RunListWire> read_run_list(std::string_view csv) { return Reader().read(csv); }

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 64 && is_letter(text.front()) &&
         std::all_of(text.begin(), text.end(),
                     [](char c) { return is_letter_or_digit(c) || c == '_' || c == '-'; });
}

std::string part_of(std::string_view terminal) {
  return std::string(terminal.substr(0, terminal.find('.')));
}

std::pair<std::string, std::string> pin_of(std::string_view terminal) {
  const auto part = part_of(terminal);
  const auto side = terminal.substr(part.size() + 1);
  const auto dash = part.rfind('-');
  if ((side != "plug" && side != "socket") || dash == std::string::npos || dash == 0 ||
      dash + 1 == part.size())
    return {};
  return {part.substr(0, dash), part.substr(dash + 1)};
}

}  // namespace faultloom::vehicle
