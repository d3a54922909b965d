#pragma once

#include <faultloom/advice/decision_problem.hpp>
#include <faultloom/advice/repair_order.hpp>
#include <faultloom/advice/trials.hpp>
#include <span>
#include <vector>

namespace faultloom::advice {

/// The trials and repairs of a job as a problem for the planner, and the way back.
struct StepProblem {
  DecisionProblem problem;
  DecisionState state;  ///< where the job stands
  /// By repair of the problem: component; none: prove that it runs.
  std::vector<Index> components;
  std::vector<Setup> setups;  ///< by number of the problem
  /// By test of the problem (in the order of the trials) and its outcome: outcomes of the trial that mean
  /// the same.
  std::vector<std::vector<std::vector<std::size_t>>> outcomes;
};

/// Hypotheses that no trial and no repair tells apart become one; what is left after a repair is added
/// with no weight. Complexity: hypotheses times trials.
[[nodiscard]] StepProblem make_step_problem(const belief::FaultSpace& space, const LiveSet& live,
                                            std::span<const Trial> trials, const RepairCosts& costs,
                                            const std::vector<bool>& open_zones,
                                            const Setup& present, const Constraints& constraints);

/// Minutes of a repair with the trial run after it, zones that are still closed included.
[[nodiscard]] double repair_minutes(const RepairCosts& costs, Index component,
                                    const std::vector<bool>& open_zones);

}  // namespace faultloom::advice
