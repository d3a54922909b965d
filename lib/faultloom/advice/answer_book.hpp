#pragma once

#include <array>
#include <boost/container_hash/hash.hpp>
#include <cstdint>
#include <faultloom/advice/ambiguity.hpp>
#include <faultloom/advice/outcome_table.hpp>
#include <faultloom/base/mix.hpp>
#include <unordered_map>
#include <vector>

namespace faultloom::advice {

/// What each instrument answers at a port, numbered so that equal answers have equal numbers: the
/// distributions of outcomes are rounded, whatever was asked before. Only a cache: the numbers depend on
/// the order of asking, what is said of them does not.
class AnswerBook {
 public:
  using Distribution = OutcomeTable::Distribution;

  AnswerBook(const readings::InstrumentSet& set, double nominal_volt);

  /// Number of the answer to this distribution.
  std::uint32_t number(const Distribution& distribution);
  /// Number of what an instrument (index into the set) answers at a port. O(1).
  std::uint32_t number(std::size_t instrument, const readings::Thevenin& port);

  /// Most probable outcome, ties to the first.
  [[nodiscard]] std::uint8_t likely(std::uint32_t number) const { return likely_[number]; }
  /// The same for equal answers, in whatever order they were first met.
  [[nodiscard]] std::uint64_t hash(std::uint32_t number) const { return hashes_[number]; }
  /// Whether their total variation distance reaches `told_apart`.
  [[nodiscard]] bool apart(std::uint32_t x, std::uint32_t y) const;

 private:
  using Key = std::array<std::int16_t, OutcomeTable::most_outcomes>;
  static constexpr double steps = 400;

  std::vector<OutcomeTable> tables_;                ///< by instrument
  std::vector<std::vector<std::int64_t>> by_code_;  ///< by instrument and code of its table
  std::unordered_map<Key, std::uint32_t, boost::hash<Key>> known_;
  std::vector<Key> rows_;
  std::vector<std::uint8_t> likely_;
  std::vector<std::uint64_t> hashes_;
};

}  // namespace faultloom::advice
