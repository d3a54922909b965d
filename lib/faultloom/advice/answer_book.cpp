#include <faultloom/advice/answer_book.hpp>

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace faultloom::advice {

AnswerBook::AnswerBook(const readings::InstrumentSet& set, double nominal_volt)
    : by_code_(set.instruments.size()) {
  for (std::size_t i = 0; i < set.instruments.size(); ++i)
    tables_.emplace_back(set, static_cast<int>(i), nominal_volt);
}

std::uint32_t AnswerBook::number(const Distribution& distribution) {
  Key key{};
  for (std::size_t o = 0; o < key.size(); ++o)
    key[o] = static_cast<std::int16_t>(std::lround(distribution[o] * steps));
  const auto [entry, added] = known_.emplace(key, static_cast<std::uint32_t>(rows_.size()));
  if (added) {
    rows_.push_back(key);
    likely_.push_back(
        static_cast<std::uint8_t>(std::max_element(key.begin(), key.end()) - key.begin()));
    hashes_.push_back(static_cast<std::uint64_t>(boost::hash_range(key.begin(), key.end())));
  }
  return entry->second;
}

std::uint32_t AnswerBook::number(std::size_t instrument, const readings::Thevenin& port) {
  auto& table = tables_[instrument];
  const auto code = table.code(port);
  const auto place = static_cast<std::size_t>(code);
  auto& known = by_code_[instrument];
  if (place >= known.size()) known.resize(place + 1, -1);
  if (known[place] < 0) known[place] = number(table.distribution(code));
  return static_cast<std::uint32_t>(known[place]);
}

bool AnswerBook::apart(std::uint32_t x, std::uint32_t y) const {
  int twice = 0;
  for (std::size_t o = 0; o < OutcomeTable::most_outcomes; ++o)
    twice += std::abs(rows_[x][o] - rows_[y][o]);
  return twice >= 2 * told_apart * steps;
}

}  // namespace faultloom::advice
