#pragma once

#include <cstdint>
#include <faultloom/advice/step_table.hpp>
#include <vector>

namespace faultloom::advice {

struct PlanOptions {
  std::size_t depth = 8;   ///< most steps one after another, at least 1
  double residual = 0.02;  ///< branches less probable than this, from the start, are not followed
  std::size_t most_steps = 60;  ///< in all, at least 1; the most probable ones are kept
};

/// How the job stands after an outcome that no further step of the plan follows.
enum class Standing {
  goes_on,    ///< it is followed by a step
  runs,       ///< it runs: check what is due after a repair and close
  repair,     ///< repair this and prove it
  verify,     ///< nothing looks broken: prove that it runs
  ask_again,  ///< too rare or too far: ask again with what was found
  stuck       ///< nothing can be done within the constraints
};

/// What comes after one outcome of a step.
struct PlanBranch {
  std::vector<std::size_t> outcomes;  ///< of the policy's problem that it stands for
  double reach = 0;                   ///< probability from the start
  double extra_usd = 0;               ///< expected: parts used up, comebacks
  double to_go_usd = 0;               ///< expected, from here to the end of the job
  Standing standing = Standing::ask_again;
  std::int32_t step = DecisionProblem::none;  ///< goes_on: place among the plan's steps
  Index component = vehicle::none;            ///< repair
};

/// A step of a plan. Its minutes, zones and cost are from where the job then stands, its expected total is
/// that of the tree below it.
struct PlanStep {
  Step step;
  DecisionAction action;             ///< of the policy's problem
  double reach = 0;                  ///< probability of coming here
  std::size_t level = 0;             ///< steps before it
  double spent_usd = 0;              ///< as the policy counts it, what depends on the outcome aside
  std::vector<PlanBranch> branches;  ///< one for each of `step.results`
};

struct Plan {
  /// The first is the start, the others by falling probability of coming there; parents before children.
  std::vector<PlanStep> steps;
  double expected_usd = 0;     ///< of the whole job, leaves at what the policy expects from there
  double repair_only_usd = 0;  ///< repairing in the best order without a test
  double open_share = 0;       ///< probability that the plan ends before the job does
  bool cut_short = false;      ///< it has as many steps as it may have
};

/// The planner's advice unrolled: what to do first, and after each outcome what then.
///
/// The first step is that of next_step(). Later ones are chosen in the same way among the trials that were
/// worth a look at the start, with zones open and controls as the branch left them. What the constraints
/// forbid where it stands, and a repair that was made before on the branch, ends the branch. Outcomes below
/// 0.005 are told as one. Deterministic unless a budget in seconds ends comparisons.
/// @param progress  asked at every step and leaf
/// @throws Error no_step    as next_step()
///               cancelled
/// Complexity: one Policy::choose() for each step and leaf.
[[nodiscard]] Plan make_plan(const StepTable& table, const PlanOptions& options,
                             const Progress& progress = {});

}  // namespace faultloom::advice
