#pragma once

#include <cstddef>
#include <span>
#include <vector>

/// How good stated probabilities were, once the truth is known.
namespace faultloom::rates {

/// One statement: a probability for something that turned out true or not.
struct Claim {
  double probability = 0;  ///< 0..1
  bool happened = false;
  std::size_t job = 0;  ///< claims of one job depend on each other; standard errors are over jobs
};

/// A mean with its standard error over jobs; 0 with fewer than two jobs.
struct Estimate {
  double mean = 0;
  double standard_error = 0;
};

/// Claims of about the same probability: a point of a reliability diagram.
struct ReliabilityBin {
  double low = 0;  ///< least and greatest probability in it
  double high = 0;
  double mean_probability = 0;
  double share_happened = 0;
  std::size_t claims = 0;
};

struct Scores {
  std::size_t jobs = 0;
  std::size_t claims = 0;
  Estimate log_loss;  ///< per job: sum over its claims of -ln P(what turned out) [nat]
  Estimate entropy;   ///< per job: what the log loss should be if the claims are right [nat]
  /// Log loss minus entropy. Zero within its error if the claims are right; above, they were too sure.
  Estimate excess;
  double brier = 0;  ///< mean over claims of (probability - outcome)^2
  /// Murphy's split over the bins: brier = reliability - resolution + uncertainty, but for what varies within
  /// a bin. [Murphy 1973]
  double reliability = 0;
  double resolution = 0;
  double uncertainty = 0;
  double calibration_error =
      0;  ///< mean over claims of |share that happened - mean probability| of the bin
  /// What the calibration error of right claims would be, for their number: sum over bins of n_b / n *
  /// sqrt(2 v_b / (pi n_b)), v_b the mean of p (1 - p) in the bin.
  double noise_floor = 0;
  std::vector<ReliabilityBin> bins;  ///< ascending
};

/// Scores claims over bins of equal numbers of claims; equal probabilities stay in one bin. A probability of
/// 0 or 1 counts as off by 1e-12 in the logarithm. @param bins  1 or more
/// O(n log n). @throws Error value  a probability outside 0..1, or no claim.
[[nodiscard]] Scores score(std::span<const Claim> claims, std::size_t bins = 10);

/// Log loss of each job, ascending by its number. O(n log n).
[[nodiscard]] std::vector<double> job_losses(std::span<const Claim> claims);

/// Mean of the differences first - second of paired numbers, with its standard error.
/// @throws Error value  unequal numbers. O(n).
[[nodiscard]] Estimate paired_difference(std::span<const double> first,
                                         std::span<const double> second);

}  // namespace faultloom::rates
