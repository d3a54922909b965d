#pragma once

#include <faultloom/belief/faults.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/entry.hpp>
#include <map>
#include <span>
#include <utility>
#include <vector>

namespace faultloom::belief {

/// Visual inspections. What a look shows depends on the state of the looked-at component alone, so looks
/// act on the odds of its modes and never touch the circuit. Looking twice is not independent: with the
/// chance `repeat_correlation` the second look sees what the first one saw. A look speaks of the life that
/// the component was in.
class Looks {
 public:
  Looks() = default;
  Looks(const FaultSpace& space, std::span<const readings::Entry> entries,
        double repeat_correlation);

  /// P(all looks at the component in a life | it was good).
  [[nodiscard]] double if_good(Index component, std::size_t life = 0) const;
  /// P(all looks at the mode's component in a life | the mode).
  [[nodiscard]] double if_faulty(Index mode, std::size_t life = 0) const;
  /// P(all looks) when nothing else is known; `mode_priors` by mode, scaled to what `repair` says in all
  /// for what a repair left.
  [[nodiscard]] double marginal(std::span<const double> mode_priors,
                                const rates::RepairRisk& repair) const;
  /// P(the look's outcome does not fit its component | evidence): damage reported at a good component,
  /// or "clean" at one whose fault would as a rule be seen.
  [[nodiscard]] double misreading(const readings::Entry& look,
                                  std::span<const double> mode_posteriors,
                                  std::span<const double> component_posteriors) const;

 private:
  [[nodiscard]] double joint(const std::vector<bool>& damage, double seen) const;

  const vehicle::Vehicle* vehicle_ = nullptr;
  /// By component and life; true: damage.
  std::map<std::pair<Index, std::size_t>, std::vector<bool>> by_component_;
  double repeat_correlation_ = 0;
};

}  // namespace faultloom::belief
