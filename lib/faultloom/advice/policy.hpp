#pragma once

#include <faultloom/advice/decision_problem.hpp>
#include <faultloom/base/progress.hpp>
#include <limits>
#include <memory>
#include <vector>

namespace faultloom::advice {

struct PolicyOptions {
  /// Tests followed to the end of the job, by the quick estimate; two more by information for money.
  std::size_t candidates = 8;
  /// Actions compared at every later decision on the way down to this depth; below it the quick estimate
  /// decides alone.
  std::size_t later_candidates = 4;
  std::size_t later_depth = 1;
  std::size_t hypotheses = 96;  ///< heaviest ones that are followed
  std::size_t tests = 96;       ///< most useful ones that are followed
  /// Branches less probable than this are estimated, not followed.
  double least_reach = 1e-4;
  /// Hypotheses with less than this share of a branch are left out of it.
  double least_weight = 1e-6;
  std::size_t alternatives = 3;
  std::size_t most_nodes =
      0;  ///< decisions looked into before the best so far has to do; 0: no limit
  double most_seconds = std::numeric_limits<double>::infinity();
  bool exhaustive = false;  ///< follow every test, for comparison
};

/// An action and what it leads to.
struct DecisionOption {
  DecisionAction action;
  double cost_usd = 0;   ///< of the action alone, zones and change of setup included
  double total_usd = 0;  ///< expected, of the action and everything after it
};

struct Decision {
  /// Cheapest first; the first is the advice. Empty if nothing can be done. At most 1 + alternatives.
  std::vector<DecisionOption> options;
  double repair_only_usd = 0;  ///< expected, without a further test
  std::size_t nodes = 0;       ///< decisions looked into
  bool cut_short = false;      ///< a budget ended the comparison early
};

/// What can come of an action.
struct DecisionBranch {
  std::size_t outcome = 0;  ///< of a test; of a repair 0: runs, 1: does not
  double probability = 0;
  bool ends = false;
  double extra_usd = 0;  ///< expected, on top of the action's cost: parts used up, comebacks
  DecisionState state;   ///< if it does not end
};

class DecisionChart;

/// Chooses actions for a problem. Immutable, so threads may share it.
///
/// A quick estimate ranks all actions: their cost, and for each outcome the smaller of repairing in
/// probability-over-cost order and of mending what is wrong while paying for the uncertainty left at the
/// price of the cheapest bit (entropy as in Warnquist and Nyberg). The best few are then followed to the
/// end of the job, the quick estimate deciding on the way (a nested rollout, after Tu and Pattipati),
/// over the heaviest hypotheses, and the least total wins. Repairs are compared like tests: stopping
/// to test is no special case. Deterministic unless `most_seconds` ends it.
class Policy {
 public:
  /// @param problem  codes within rows, indices within lists; every hypothesis has a cure
  explicit Policy(DecisionProblem problem);

  [[nodiscard]] const DecisionProblem& problem() const noexcept { return *problem_; }

  /// Nothing done yet, everything closed.
  [[nodiscard]] DecisionState start() const;

  /// @throws Error cancelled
  /// Complexity: one pass over hypotheses and tests, then nodes times followed hypotheses times tests.
  [[nodiscard]] Decision choose(const DecisionState& state, const PolicyOptions& options = {},
                                const Progress& progress = {}) const;

  /// Cost of the action alone.
  [[nodiscard]] double cost(const DecisionState& state, DecisionAction action) const;

  /// All outcomes that are possible, with the state after each.
  [[nodiscard]] std::vector<DecisionBranch> branches(const DecisionState& state,
                                                     DecisionAction action) const;

 private:
  [[nodiscard]] std::vector<DecisionBranch> after_repair(const DecisionState& state,
                                                         std::int32_t index) const;

  std::shared_ptr<const DecisionProblem> problem_;
  std::shared_ptr<const DecisionChart> chart_;
};

}  // namespace faultloom::advice
