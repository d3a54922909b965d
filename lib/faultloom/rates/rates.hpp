#pragma once

#include <faultloom/vehicle/vehicle.hpp>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

/// How often things fail: a Gamma distribution of failures per million hours for each part kind, split
/// over the kind's modes, and the prior probability that follows for a given exposure.
namespace faultloom::rates {

using vehicle::Index;

struct KindRate {
  double gamma_shape = 0;                                  ///< failures, may be fractional, > 0
  double gamma_rate_million_hours = 0;                     ///< exposure behind them [10^6 h], > 0
  std::map<std::string, double, std::less<>> mode_shares;  ///< sum to one
  std::string source;

  /// Mean failures per 10^6 h.
  [[nodiscard]] double mean() const { return gamma_shape / gamma_rate_million_hours; }
};

struct Rates {
  double exposure_hours = 500;  ///< running hours since the vehicle was last known good
  double not_in_model = 0.03;   ///< prior probability of a cause that no kind describes
  std::map<std::string, double, std::less<>> environments;  ///< multiplier by name
  std::map<std::string, KindRate, std::less<>> kinds;
};

/// What the job says about the time at risk.
struct Exposure {
  double hours = 0;         ///< 0: the rates document's own
  std::string environment;  ///< "" : multiplier one
};

/// Prior probability of each mode of the vehicle, in mode order. Modes of one component exclude each
/// other: P(component failed) = 1 - exp(-rate * environment * factor * hours / 10^6), split by share.
/// Components fail independently. Kinds and modes without a rate never fail.
/// @throws Error reference  unknown environment. Complexity O(modes log kinds).
[[nodiscard]] std::vector<double> mode_priors(const vehicle::Vehicle& vehicle, const Rates& rates,
                                              const Exposure& exposure);

/// Probability that each component failed, in component order: sums of its modes' priors.
[[nodiscard]] std::vector<double> component_priors(const vehicle::Vehicle& vehicle,
                                                   std::span<const double> mode_priors);

/// P(more than `most` of the independent components failed), by the Poisson-binomial recursion on the
/// counts 0..most and a directly summed tail, so that no digits are lost when the tail is small.
[[nodiscard]] double probability_of_more_than(std::span<const double> component_priors, int most);

}  // namespace faultloom::rates
