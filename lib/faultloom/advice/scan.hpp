#pragma once

#include <faultloom/advice/next_step.hpp>
#include <faultloom/advice/repair_order.hpp>
#include <faultloom/advice/setup.hpp>
#include <span>
#include <vector>

namespace faultloom::advice {

/// A step that could be taken and what each hypothesis predicts for it.
struct Trial {
  Step step;
  Setup setup;             ///< empty state: any will do
  double own_minutes = 0;  ///< zones and change of setup aside
  double tries = 0;        ///< expected, if it is tried until a sign fails to come
  std::vector<Index> zones;
  /// Probability of each outcome, one row per code.
  const PredictionStore* store = nullptr;        ///< readings
  std::vector<OutcomeTable::Distribution> rows;  ///< signs and looks
  std::vector<std::int32_t> codes;               ///< by hypothesis
  /// By candidate, of what neither comes nor goes, if something comes and goes; else empty.
  std::vector<std::int32_t> plain;
  std::size_t outcomes = 0;

  [[nodiscard]] const OutcomeTable::Distribution& row(std::int32_t code) const {
    return store != nullptr ? store->distribution(static_cast<std::size_t>(step.instrument), code)
                            : rows[static_cast<std::size_t>(code)];
  }
  [[nodiscard]] double row_entropy_nat(std::int32_t code) const {
    return store != nullptr ? store->entropy_nat(static_cast<std::size_t>(step.instrument), code)
                            : OutcomeTable::entropy_nat(rows[static_cast<std::size_t>(code)]);
  }
};

/// Sums over hypotheses that every criterion is made of.
struct TrialScore {
  double information_nat = 0;
  double fix_usd = 0;      ///< expected repair cost if the truth were known after the step
  double entropy_nat = 0;  ///< expected entropy left
};

/// Of weights that sum to one.
[[nodiscard]] double entropy_nat(std::span<const Hypothesis> hypotheses);

/// One pass over the hypotheses.
/// @param entropy_before_nat  that of the hypotheses
[[nodiscard]] TrialScore score(const Trial& trial, std::span<const Hypothesis> hypotheses,
                               std::span<const double> fix_usd, double entropy_before_nat);

/// The trials that may be worth following, in their order: best in the estimate of the cost to the end,
/// with and without what has to be opened and moved first, and in information for money.
[[nodiscard]] std::vector<Trial> leading_trials(std::vector<Trial> trials, const LiveSet& live,
                                                const RepairCosts& costs,
                                                const std::vector<bool>& open_zones,
                                                std::size_t most);

/// Weights of the hypotheses after an outcome (not normalized; their sum is the outcome's probability).
void condition(const Trial& trial, std::size_t outcome, std::span<const Hypothesis> hypotheses,
               std::vector<double>& weights);

}  // namespace faultloom::advice
