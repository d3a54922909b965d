#include <faultloom/advice/grouping.hpp>

#include <algorithm>
#include <bit>
#include <numeric>
#include <unordered_set>

namespace faultloom::advice {
namespace {

using readings::SignTruth;

/// A set of rows, 64 to a word.
using RowSet = std::vector<std::uint64_t>;

void insert(RowSet& set, std::size_t row) { set[row / 64] |= std::uint64_t{1} << (row % 64); }
void erase(RowSet& set, std::size_t row) { set[row / 64] &= ~(std::uint64_t{1} << (row % 64)); }

template <typename Visit>
void for_each(const RowSet& set, Visit&& visit) {
  for (std::size_t w = 0; w < set.size(); ++w)
    for (auto rest = set[w]; rest != 0; rest &= rest - 1)
      visit(w * 64 + static_cast<std::size_t>(std::countr_zero(rest)));
}

/// Pairs of rows that some test tells apart.
class Separation {
 public:
  explicit Separation(std::size_t rows) : words_((rows + 63) / 64), bits_(rows * words_) {}
  [[nodiscard]] std::size_t words() const { return words_; }
  [[nodiscard]] bool apart(std::size_t x, std::size_t y) const {
    return marked(x, y) || marked(y, x);
  }
  /// Each pair has to be marked from one side at least.
  void mark(std::size_t row, const RowSet& others) {
    for (std::size_t w = 0; w < words_; ++w) bits_[row * words_ + w] |= others[w];
  }

 private:
  [[nodiscard]] bool marked(std::size_t x, std::size_t y) const {
    return ((bits_[x * words_ + y / 64] >> (y % 64)) & 1U) != 0;
  }

  std::size_t words_;
  RowSet bits_;
};

/// Goes through the tests that were made and notes which rows each tells apart.
class Separator {
 public:
  explicit Separator(FaultAnswers& answers)
      : answers_(&answers), rows_(&answers.rows()), separation_(rows_->size()) {
    row_hashes_.resize(rows_->size());
    for (std::size_t r = 0; r < row_hashes_.size(); ++r) row_hashes_[r] = mixed(r);
    all_rows_hash_ = std::accumulate(row_hashes_.begin(), row_hashes_.end(), std::uint64_t{0});
  }

  void readings(std::size_t s);
  void signs(std::size_t s);
  void looks();
  [[nodiscard]] std::vector<std::vector<std::int32_t>> link() const;
  [[nodiscard]] std::vector<std::int32_t> undetected() const;
  [[nodiscard]] std::size_t tests() const { return tests_; }
  [[nodiscard]] std::size_t distinct_tests() const { return seen_tests_.size(); }

 private:
  using Classes = std::map<std::uint32_t, RowSet>;  ///< rows by their answer to a test
  void add(Classes& classes, std::uint32_t answer, std::size_t row) const {
    auto& set = classes[answer];
    set.resize(separation_.words(), 0);
    insert(set, row);
  }
  void test(const Classes& classes);

  FaultAnswers* answers_;
  const std::vector<FaultRow>* rows_;
  Separation separation_;
  std::vector<std::uint64_t> row_hashes_;
  std::uint64_t all_rows_hash_ = 0;
  std::unordered_set<std::uint64_t> seen_tests_;
  std::size_t tests_ = 0;
};

void Separator::test(const Classes& classes) {
  if (classes.size() < 2) return;
  std::vector<const RowSet*> sets;
  std::vector<std::uint32_t> numbers;
  std::size_t largest = 0;
  std::size_t most = 0;
  for (const auto& [number, set] : classes) {
    std::size_t count = 0;
    for (const auto word : set) count += static_cast<std::size_t>(std::popcount(word));
    if (count == 0) continue;
    if (count > most) largest = sets.size(), most = count;
    sets.push_back(&set);
    numbers.push_back(number);
  }
  // Nearly all rows are in the largest class: it is left to the others to look at and to mark.
  std::vector<std::uint64_t> hashes(sets.size());
  std::uint64_t rest = all_rows_hash_;
  for (std::size_t x = 0; x < sets.size(); ++x) {
    if (x == largest) continue;
    for_each(*sets[x], [&](std::size_t r) { hashes[x] += row_hashes_[r]; });
    rest -= hashes[x];
  }
  if (!sets.empty()) hashes[largest] = rest;
  std::uint64_t pattern = 0;
  std::vector<RowSet> others(sets.size());
  for (std::size_t x = 0; x < sets.size(); ++x)
    for (std::size_t y = x + 1; y < sets.size(); ++y) {
      if (!answers_->book().apart(numbers[x], numbers[y])) continue;
      pattern += mixed(hashes[x] + hashes[y]) ^ mixed(hashes[x] ^ hashes[y]);
      for (const auto& [one, other] : {std::pair(x, y), std::pair(y, x)}) {
        others[one].resize(separation_.words(), 0);
        for (std::size_t w = 0; w < separation_.words(); ++w) others[one][w] |= (*sets[other])[w];
      }
    }
  if (pattern == 0 || !seen_tests_.insert(pattern).second) return;
  for (std::size_t x = 0; x < sets.size(); ++x)
    if (x != largest && !others[x].empty())
      for_each(*sets[x], [&](std::size_t r) { separation_.mark(r, others[x]); });
}

void Separator::readings(std::size_t s) {
  const auto slots = answers_->slot_count(answers_->situations()[s].isolated);
  const auto network_of = [&](std::size_t r) -> const Network& {
    const auto& row = (*rows_)[r];
    return row.networks[row.network_of[s]];
  };
  std::map<std::size_t, RowSet> by_reference;
  std::vector<std::vector<std::pair<std::size_t, std::uint32_t>>> changed(slots);
  for (std::size_t r = 0; r < rows_->size(); ++r) {
    const auto& network = network_of(r);
    auto& set = by_reference[network.reference];
    set.resize(separation_.words(), 0);
    insert(set, r);
    for (const auto& [slot, number] : network.changed) changed[slot].emplace_back(r, number);
  }
  Classes classes;
  for (std::size_t k = 0; k < slots; ++k) {
    ++tests_;
    classes.clear();
    for (const auto& [reference, rows] : by_reference) {
      auto& set = classes[answers_->reference(reference).answers[k]];
      set.resize(separation_.words(), 0);
      for (std::size_t w = 0; w < set.size(); ++w) set[w] |= rows[w];
    }
    for (const auto& [r, number] : changed[k]) {
      erase(classes[answers_->reference(network_of(r).reference).answers[k]], r);
      add(classes, number, r);
    }
    test(classes);
  }
}

void Separator::signs(std::size_t s) {
  using readings::Outcome;
  const auto& signs = answers_->space().vehicle().signs;
  if (rows_->front().signs.empty()) return;
  for (std::size_t k = 0; k < signs.size(); ++k) {
    ++tests_;
    const auto& sense = answers_->instruments().sense(signs[k].sense);
    std::array<std::uint32_t, 3> numbers{};
    for (const auto truth : {SignTruth::absent, SignTruth::present, SignTruth::chatters}) {
      OutcomeTable::Distribution d{};
      std::size_t o = 0;
      for (const auto word : {Outcome::yes, Outcome::no, Outcome::chatters})
        d[o++] = (1 - sense.wrong_state) * readings::sign_probability(sense, word, truth) +
                 (word == Outcome::chatters ? 0 : sense.wrong_state / 2);
      numbers[static_cast<std::size_t>(truth)] = answers_->book().number(d);
    }
    Classes classes;
    for (std::size_t r = 0; r < rows_->size(); ++r)
      add(classes, numbers[(*rows_)[r].signs[s * signs.size() + k]], r);
    test(classes);
  }
}

void Separator::looks() {
  for (std::size_t k = 0; k < answers_->look_count(); ++k) {
    ++tests_;
    Classes classes;
    for (std::size_t r = 0; r < rows_->size(); ++r) add(classes, (*rows_)[r].looks[k], r);
    test(classes);
  }
}

std::vector<std::vector<std::int32_t>> Separator::link() const {
  const auto& rows = *rows_;
  std::vector<std::size_t> root(rows.size());
  std::iota(root.begin(), root.end(), std::size_t{0});
  const auto find = [&](std::size_t r) {
    while (root[r] != r) r = root[r] = root[root[r]];
    return r;
  };
  // Row 0 is the healthy vehicle: two faults that each look healthy link by themselves if they do.
  std::map<AnswerHash, std::size_t> by_likely;
  for (std::size_t x = 1; x < rows.size(); ++x) {
    const auto [entry, added] = by_likely.emplace(rows[x].likely, x);
    if (!added) root[find(x)] = find(entry->second);
    for (std::size_t y = x + 1; y < rows.size(); ++y)
      if (!separation_.apart(x, y)) root[find(y)] = find(x);
  }
  std::map<std::size_t, std::vector<std::int32_t>> sets;
  for (std::size_t x = 1; x < rows.size(); ++x) {
    auto& set = sets[find(x)];
    set.insert(set.end(), rows[x].faults.begin(), rows[x].faults.end());
  }
  std::vector<std::vector<std::int32_t>> groups;
  for (auto& [r, set] : sets) {
    std::sort(set.begin(), set.end());
    groups.push_back(std::move(set));
  }
  return groups;
}

std::vector<std::int32_t> Separator::undetected() const {
  std::vector<std::int32_t> result;
  for (std::size_t r = 1; r < rows_->size(); ++r)
    if (!separation_.apart(0, r))
      result.insert(result.end(), (*rows_)[r].faults.begin(), (*rows_)[r].faults.end());
  std::sort(result.begin(), result.end());
  return result;
}

}  // namespace

Grouping group_faults(FaultAnswers& answers, std::span<const std::int32_t> faults,
                      std::vector<Situation> situations, const Progress& progress) {
  const Progress collecting = part_of(progress, 0, 0.7);
  answers.collect(faults, std::move(situations), collecting);
  Separator separator(answers);
  const auto count = answers.situations().size();
  for (std::size_t s = 0; s < count; ++s) {
    report(progress, 0.7 + 0.3 * static_cast<double>(s) / static_cast<double>(count));
    separator.readings(s);
    if (!answers.situations()[s].isolated) separator.signs(s);
  }
  separator.looks();
  return {separator.link(), separator.undetected(), separator.tests(), separator.distinct_tests()};
}

}  // namespace faultloom::advice
