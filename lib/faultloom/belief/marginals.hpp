#pragma once

#include <faultloom/belief/candidates.hpp>
#include <span>
#include <vector>

namespace faultloom::belief {

/// Sum of mode odds by class.
[[nodiscard]] std::vector<double> class_odds(const Candidates& candidates,
                                             std::span<const double> mode_odds);

/// Prior odds of a candidate against "no fault": 1 for no fault itself.
[[nodiscard]] double prior_weight(const Candidates& candidates, const Candidate& candidate,
                                  std::span<const double> mode_odds,
                                  std::span<const double> class_odds);

/// Splits weights of candidates over the modes they stand for. Results are sums in the unit of the
/// weights. Complexity: O(candidates), and pairs of modes where classes share a component or a wire.
class MarginalSum {
 public:
  MarginalSum(const Candidates& candidates, std::span<const Candidate> list);

  /// By mode: weight of all candidates that contain it.
  [[nodiscard]] std::vector<double> modes(std::span<const double> weights,
                                          std::span<const double> mode_odds,
                                          std::span<const double> class_odds) const;
  /// By component: its modes exclude each other, so their sums add up.
  [[nodiscard]] std::vector<double> components(std::span<const double> mode_sums) const;
  /// By wire: weight of all candidates in which the conductor or a termination failed.
  [[nodiscard]] std::vector<double> wires(std::span<const double> weights,
                                          std::span<const double> mode_odds,
                                          std::span<const double> class_odds) const;

 private:
  const Candidates* candidates_;
  std::vector<Candidate> list_;
  std::vector<Index> wire_of_mode_;
};

}  // namespace faultloom::belief
