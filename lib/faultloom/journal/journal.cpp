#include <faultloom/journal/journal.hpp>

#include <algorithm>
#include <boost/crc.hpp>
#include <charconv>
#include <optional>
#include <set>
#include <utility>

namespace faultloom::journal {
namespace {

constexpr std::string_view opening = R"({"crc":")";
constexpr std::string_view before_previous = R"("prev":")";
constexpr std::string_view before_number = R"(","n":)";
constexpr std::size_t digits = 8;
// {"crc":"XXXXXXXX", stands before the bytes that the checksum covers.
constexpr std::size_t covered_from = opening.size() + digits + 2;

std::string hexadecimal(std::uint32_t value) {
  std::string text(digits, '0');
  for (std::size_t i = digits; i-- > 0; value >>= 4U) text[i] = "0123456789abcdef"[value & 0xFU];
  return text;
}

/// The next so many characters of `rest` if they are `word`; takes them off.
bool take(std::string_view& rest, std::string_view word) {
  if (!rest.starts_with(word)) return false;
  rest.remove_prefix(word.size());
  return true;
}

std::optional<std::uint32_t> take_checksum(std::string_view& rest) {
  if (rest.size() < digits) return std::nullopt;
  std::uint32_t value = 0;
  for (const char c : rest.substr(0, digits)) {
    const bool decimal = c >= '0' && c <= '9';
    // Upper case is not what was written.
    if (!decimal && (c < 'a' || c > 'f')) return std::nullopt;
    value = value << 4U | static_cast<std::uint32_t>(decimal ? c - '0' : c - 'a' + 10);
  }
  rest.remove_prefix(digits);
  return value;
}

/// More records than any file has room for. The number behind must not start again from 0.
constexpr std::uint64_t max_number = 1ULL << 53U;

std::optional<std::uint64_t> take_number(std::string_view& rest) {
  std::uint64_t value = 0;
  const auto [end, problem] = std::from_chars(rest.data(), rest.data() + rest.size(), value);
  if (problem != std::errc() || value > max_number) return std::nullopt;
  if (rest.starts_with('0') && end != rest.data() + 1) return std::nullopt;
  rest.remove_prefix(static_cast<std::size_t>(end - rest.data()));
  return value;
}

/// The record of a line without its newline; nothing if a byte of it is not as it was written.
std::optional<Record> decode(std::string_view line, std::size_t at_byte) {
  std::string_view rest = line;
  if (!take(rest, opening)) return std::nullopt;
  const auto crc = take_checksum(rest);
  if (!crc || !take(rest, "\",") || checksum(rest) != *crc) return std::nullopt;
  if (!take(rest, before_previous)) return std::nullopt;
  const auto previous = take_checksum(rest);
  if (!previous || !take(rest, before_number)) return std::nullopt;
  const auto number = take_number(rest);
  if (!number || !take(rest, ",") || !rest.ends_with('}')) return std::nullopt;
  return Record{*number, *crc, *previous, "{" + std::string(rest), at_byte};
}

struct Found {
  Record record;
  std::size_t line;
  std::size_t bytes;
};

/// Cuts the bytes into whole records and damaged stretches; fills all but the records.
std::vector<Found> whole_records(std::string_view bytes, Recovery& recovery) {
  std::vector<Found> found;
  std::size_t bad_from = 0;
  std::size_t bad_line = 1;
  const auto close_stretch = [&](std::size_t end) {
    if (bad_from == end) return;
    const bool broken_off =
        bytes.substr(bad_from, end - bad_from).find('\n') == std::string_view::npos;
    recovery.damage.push_back({broken_off ? Damage::What::unfinished : Damage::What::damaged,
                               bad_from, end - bad_from, bad_line, 0, 0});
  };
  std::size_t line = 1;
  for (std::size_t start = 0; start < bytes.size(); ++line) {
    const auto newline = bytes.find('\n', start);
    if (newline == std::string_view::npos) break;
    const std::size_t end = newline + 1;
    if (auto record = decode(bytes.substr(start, newline - start), start)) {
      close_stretch(start);
      found.push_back({std::move(*record), line, end - start});
      recovery.good_bytes = bad_from = end;
      bad_line = line + 1;
    }
    start = end;
  }
  close_stretch(bytes.size());
  return found;
}

void report_order(const std::vector<Found>& found, Recovery& recovery) {
  std::uint64_t highest = 0;
  std::set<std::uint64_t> seen;
  for (const auto& [record, line, bytes] : found) {
    // A second one of its number is told as such and not put anywhere.
    if (seen.insert(record.number).second && record.number < highest)
      recovery.damage.push_back(
          {Damage::What::out_of_order, record.at_byte, bytes, line, record.number, record.number});
    highest = std::max(highest, record.number);
  }
}

/// Keeps one record of each number and says what does not fit together.
void link_records(std::vector<Found>& found, Recovery& recovery) {
  std::uint64_t expected = 0;
  for (auto& [record, line, bytes] : found) {
    const auto report = [&, at = record.at_byte, where = line, count = bytes](
                            Damage::What what, std::uint64_t first, std::uint64_t last) {
      recovery.damage.push_back({what, at, count, where, first, last});
    };
    const auto number = record.number;
    if (!recovery.records.empty() && recovery.records.back().number == number) {
      const bool same =
          recovery.records.back().crc == record.crc && recovery.records.back().body == record.body;
      report(same ? Damage::What::repeated : Damage::What::contradicting, number, number);
      continue;
    }
    if (number > expected) {
      recovery.damage.push_back(
          {Damage::What::missing, record.at_byte, 0, line, expected, number - 1});
    } else if (record.previous != recovery.next.previous) {
      report(Damage::What::unlinked, number, number);
    }
    expected = number + 1;
    recovery.next = {expected, record.crc};
    recovery.records.push_back(std::move(record));
  }
}

}  // namespace

std::uint32_t checksum(std::string_view bytes) {
  boost::crc_optimal<32, 0x1EDC6F41, 0xFFFFFFFF, 0xFFFFFFFF, true, true> crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return crc.checksum();
}

bool looks_like_journal(std::string_view bytes) noexcept { return bytes.starts_with(opening); }

Line encode(const Link& link, std::string_view body) {
  std::string covered(before_previous);
  covered += hexadecimal(link.previous);
  covered += before_number;
  covered += std::to_string(link.number);
  covered += ',';
  covered += body.substr(1);
  const auto crc = checksum(covered);
  std::string text(opening);
  text.reserve(covered_from + covered.size() + 1);
  text += hexadecimal(crc);
  text += "\",";
  text += covered;
  text += '\n';
  return {std::move(text), {link.number + 1, crc}};
}

std::string_view name_of(Damage::What what) noexcept {
  switch (what) {
    case Damage::What::unfinished:
      return "unfinished";
    case Damage::What::damaged:
      return "damaged";
    case Damage::What::missing:
      return "missing";
    case Damage::What::out_of_order:
      return "out_of_order";
    case Damage::What::repeated:
      return "repeated";
    case Damage::What::contradicting:
      return "contradicting";
    case Damage::What::unlinked:
      return "unlinked";
  }
  return "damaged";
}

Recovery recover(std::string_view bytes) {
  Recovery recovery;
  auto found = whole_records(bytes, recovery);
  report_order(found, recovery);
  std::stable_sort(found.begin(), found.end(), [](const Found& a, const Found& b) {
    return a.record.number < b.record.number;
  });
  link_records(found, recovery);
  std::stable_sort(recovery.damage.begin(), recovery.damage.end(),
                   [](const Damage& a, const Damage& b) { return a.at_byte < b.at_byte; });
  return recovery;
}

}  // namespace faultloom::journal
