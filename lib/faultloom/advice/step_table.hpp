#pragma once

#include <chrono>
#include <faultloom/advice/policy.hpp>
#include <faultloom/advice/step_problem.hpp>
#include <memory>
#include <vector>

namespace faultloom::advice {

/// Everything that could be done next at a job, put to the planner. Refers to the belief, the store and
/// the constraints, which must outlive it.
class StepTable {
 public:
  /// @throws Error cancelled
  StepTable(belief::Belief& belief, PredictionStore& store, const belief::Posterior& posterior,
            const Prices& prices, const Constraints& constraints, const Progress& progress);
  StepTable(const StepTable&) = delete;
  StepTable& operator=(const StepTable&) = delete;

  [[nodiscard]] const LiveSet& live() const noexcept { return live_; }
  [[nodiscard]] const RepairCosts& costs() const noexcept { return costs_; }
  [[nodiscard]] const Constraints& constraints() const noexcept { return *constraints_; }
  [[nodiscard]] const TrialFactory& factory() const noexcept { return *factory_; }
  /// In the order of the problem's tests.
  [[nodiscard]] const std::vector<Trial>& trials() const noexcept { return trials_; }
  [[nodiscard]] std::size_t distinct() const noexcept { return distinct_; }
  [[nodiscard]] const std::vector<bool>& open_zones() const noexcept { return open_zones_; }
  /// The way back from the policy's problem, which itself is no longer in here.
  [[nodiscard]] const StepProblem& made() const noexcept { return made_; }
  [[nodiscard]] const Policy& policy() const noexcept { return *policy_; }
  /// Of Constraints::budget_seconds since the table was begun, 0 or more; infinite without one.
  [[nodiscard]] double seconds_left() const;

 private:
  std::chrono::steady_clock::time_point started_ = std::chrono::steady_clock::now();
  const Constraints* constraints_;
  LiveSet live_;
  RepairCosts costs_;
  std::vector<bool> open_zones_;
  std::unique_ptr<TrialFactory> factory_;
  std::vector<Trial> trials_;
  std::size_t distinct_ = 0;
  StepProblem made_;
  std::unique_ptr<const Policy> policy_;
};

/// How the planner compares steps of a vehicle. Without Constraints::budget_seconds, for which the table keeps
/// the time.
[[nodiscard]] PolicyOptions step_policy(const Constraints& constraints);

/// Sums of weight by component, the likeliest first, at most three; `vehicle::none` stands for nothing broken.
/// @param components  by hypothesis
/// @param weights     by hypothesis, need not be normalized
[[nodiscard]] std::vector<Step::Leader> leading_components(
    std::span<const std::vector<Index>> components, std::span<const double> weights);

}  // namespace faultloom::advice
