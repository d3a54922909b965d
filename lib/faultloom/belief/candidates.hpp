#pragma once

#include <faultloom/circuit/circuit.hpp>
#include <vector>

namespace faultloom::belief {

using vehicle::Index;
using vehicle::none;

/// Fault modes that change the circuit in exactly the same way: no electrical reading tells them apart,
/// only a look or a lifted wire end does.
struct ModeClass {
  std::vector<Index> modes;
  circuit::Overrides overrides;
};

/// A set of at most two mode classes: none, one or two of `a` and `b` are set, a <= b.
struct Candidate {
  std::int32_t a = -1;
  std::int32_t b = -1;

  friend bool operator==(const Candidate&, const Candidate&) = default;
};

/// The singles and pairs of a circuit's fault modes, merged into classes. Immutable; shared by threads.
///
/// Candidates are numbered 0 for no fault, 1..n for singles, then pairs in row order, so that a column
/// of numbers, one per candidate, is a plain array.
class Candidates {
 public:
  explicit Candidates(const circuit::Circuit& circuit);

  [[nodiscard]] const circuit::Circuit& circuit() const noexcept { return *circuit_; }
  [[nodiscard]] const std::vector<ModeClass>& classes() const noexcept { return classes_; }
  [[nodiscard]] std::int32_t class_of(Index mode) const {
    return class_of_[static_cast<std::size_t>(mode)];
  }
  [[nodiscard]] std::size_t single_count() const noexcept { return classes_.size(); }
  /// No fault, singles and pairs together.
  [[nodiscard]] std::size_t count() const noexcept {
    return 1 + classes_.size() + classes_.size() * (classes_.size() + 1) / 2;
  }
  [[nodiscard]] std::size_t number_of(const Candidate& candidate) const;

  /// Writes the overrides of a candidate; `out` keeps its memory.
  void overrides(const Candidate& candidate, circuit::Overrides& out) const;

  /// Whether some mode of one class excludes some mode of the other (same component).
  [[nodiscard]] bool share_component(std::int32_t a, std::int32_t b) const {
    return shared_.test(static_cast<std::size_t>(a) * classes_.size() +
                        static_cast<std::size_t>(b));
  }

  /// Sum of products of odds over the pairs of modes, one from each class, that do not exclude each
  /// other: with odds relative to "no fault", the prior weight of the pair. O(1) unless classes share a
  /// component. `class_odds[c]` is the sum of the class's mode odds.
  [[nodiscard]] double pair_odds(std::int32_t a, std::int32_t b, std::span<const double> mode_odds,
                                 std::span<const double> class_odds) const;

  /// Calls visit(mode, other, product) for every such pair of modes.
  template <typename Visit>
  void for_each_pair(std::int32_t a, std::int32_t b, std::span<const double> mode_odds,
                     const Visit& visit) const {
    const auto& first = classes_[static_cast<std::size_t>(a)].modes;
    const auto& second = classes_[static_cast<std::size_t>(b)].modes;
    const auto& modes = circuit_->vehicle().modes;
    for (std::size_t i = 0; i < first.size(); ++i)
      for (std::size_t j = a == b ? i + 1 : 0; j < second.size(); ++j) {
        const auto m = static_cast<std::size_t>(first[i]);
        const auto n = static_cast<std::size_t>(second[j]);
        if (modes[m].component != modes[n].component)
          visit(first[i], second[j], mode_odds[m] * mode_odds[n]);
      }
  }

 private:
  const circuit::Circuit* circuit_;
  std::vector<ModeClass> classes_;
  std::vector<std::int32_t> class_of_;
  Bits shared_;
};

}  // namespace faultloom::belief
