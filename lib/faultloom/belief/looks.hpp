#pragma once

#include <faultloom/readings/entry.hpp>
#include <map>
#include <span>
#include <vector>

namespace faultloom::belief {

using vehicle::Index;

/// Visual inspections. What a look shows depends on the state of the looked-at component alone, so looks
/// act on the odds of its modes and never touch the circuit. Looking twice is not independent: with the
/// chance `repeat_correlation` the second look sees what the first one saw.
class Looks {
 public:
  Looks() = default;
  Looks(const vehicle::Vehicle& vehicle, std::span<const readings::Entry> entries,
        std::span<const double> mode_priors, double repeat_correlation);

  /// Odds of each mode after all looks, relative to "nothing failed and the looks were as they were".
  [[nodiscard]] std::vector<double> updated(std::span<const double> odds) const;
  /// P(all looks | every component good).
  [[nodiscard]] double if_healthy() const;
  /// P(all looks) before any evidence.
  [[nodiscard]] double marginal() const;
  /// Upper bound of P(all looks | anything).
  [[nodiscard]] double ceiling() const;
  /// The same looks less one entry.
  [[nodiscard]] Looks without(std::size_t entry) const;
  /// P(the look's outcome does not fit its component | evidence): damage reported at a good component,
  /// or "clean" at one whose fault would as a rule be seen.
  [[nodiscard]] double misreading(std::size_t entry, std::span<const double> mode_posteriors,
                                  std::span<const double> component_posteriors) const;

 private:
  struct Look {
    std::size_t entry;
    bool damage;
  };
  [[nodiscard]] double joint(const std::vector<Look>& looks, double seen) const;

  const vehicle::Vehicle* vehicle_ = nullptr;
  std::map<Index, std::vector<Look>> by_component_;
  std::vector<double> priors_;
  double repeat_correlation_ = 0;
};

}  // namespace faultloom::belief
