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
        double repeat_correlation);

  /// P(all looks at the component | it is good).
  [[nodiscard]] double if_good(Index component) const;
  /// P(all looks at the mode's component | the mode).
  [[nodiscard]] double if_faulty(Index mode) const;
  /// P(all looks) when nothing else is known; `mode_priors` by mode.
  [[nodiscard]] double marginal(std::span<const double> mode_priors) const;
  /// P(the look's outcome does not fit its component | evidence): damage reported at a good component,
  /// or "clean" at one whose fault would as a rule be seen.
  [[nodiscard]] double misreading(const readings::Entry& look,
                                  std::span<const double> mode_posteriors,
                                  std::span<const double> component_posteriors) const;

 private:
  [[nodiscard]] double joint(const std::vector<bool>& damage, double seen) const;

  const vehicle::Vehicle* vehicle_ = nullptr;
  std::map<Index, std::vector<bool>> by_component_;  ///< true: damage
  double repeat_correlation_ = 0;
};

}  // namespace faultloom::belief
