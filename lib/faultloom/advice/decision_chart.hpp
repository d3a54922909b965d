#pragma once

#include <bit>
#include <cstdint>
#include <faultloom/advice/decision_problem.hpp>
#include <span>
#include <vector>

namespace faultloom::advice {

/// What follows from a problem alone, worked out once.
class DecisionChart {
 public:
  explicit DecisionChart(const DecisionProblem& problem);

  struct Hypothesis {
    std::vector<std::int32_t> repairs;  ///< on the way to the end
    double rest_usd = 0;
    double mend_usd = 0;  ///< all of it, zones aside
    std::uint64_t zones = 0;
  };
  struct Repair {
    double attempt_usd = 0;  ///< as often as it has to be made on average
    std::uint64_t zones = 0;
  };
  struct Test {
    std::uint64_t zones = 0;
    double cost_usd = 0;           ///< with zones that are not remembered
    std::vector<double> log_rows;  ///< logarithms of `rows`
    std::vector<double> row_entropies_nat;
  };
  std::vector<Hypothesis> hypotheses;
  std::vector<Repair> repairs;
  std::vector<Test> tests;
  /// Zones beyond these are paid for at each use.
  static constexpr std::size_t most_zones = 64;

  [[nodiscard]] double zones_usd(std::uint64_t zones) const {
    double sum = 0;
    for (; zones != 0; zones &= zones - 1)
      sum += problem_->zone_usd[static_cast<std::size_t>(std::countr_zero(zones))];
    return sum;
  }

 private:
  std::uint64_t zones_of(std::span<const std::int32_t> zones, double& beyond_usd) const;

  const DecisionProblem* problem_;
};

}  // namespace faultloom::advice
