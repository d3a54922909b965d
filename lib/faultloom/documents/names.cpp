#include <faultloom/documents/names.hpp>

#include <algorithm>
#include <array>

namespace faultloom::documents {

std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t limit) {
  const auto longer = std::max(a.size(), b.size());
  if (longer - std::min(a.size(), b.size()) > limit) return limit + 1;
  // Three rows of the table of distances between beginnings (optimal string alignment).
  std::vector<std::size_t> before(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      row[j] =
          std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        row[j] = std::min(row[j], before[j - 2] + 1);
    }
    if (*std::min_element(row.begin(), row.end()) > limit) return limit + 1;
    before.swap(last);
    last.swap(row);
  }
  return std::min(last[b.size()], limit + 1);
}

std::string closest_name(std::string_view name, const std::vector<std::string>& known) {
  constexpr std::size_t limit = 2;
  constexpr std::size_t longest = 128;  // longer words are not slips of the pen
  std::string best;
  std::size_t best_distance = limit + 1;
  if (name.size() > longest) return best;
  for (const auto& candidate : known) {
    const auto distance = edit_distance(name, candidate, limit);
    // Short words are a few edits away from all other short words.
    if (distance < best_distance && distance < name.size()) {
      best_distance = distance;
      best = candidate;
    }
  }
  return best;
}

std::string suggestion(std::string_view name, const std::vector<std::string>& known) {
  const auto best = closest_name(name, known);
  return best.empty() ? "" : "; did you mean '" + best + "'?";
}

std::string_view unit_of(std::string_view key) {
  constexpr std::array<std::string_view, 10> units{"_ohm", "_volt",    "_ampere", "_watt", "_metre",
                                                   "_mm2", "_minutes", "_hours",  "_usd",  "_awg"};
  for (const auto unit : units)
    if (key.size() > unit.size() && key.ends_with(unit)) return unit;
  return {};
}

}  // namespace faultloom::documents
