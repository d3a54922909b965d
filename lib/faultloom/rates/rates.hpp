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
  std::string group{};  ///< class of kinds that are off by about the same factor; "" : none

  /// Mean failures per 10^6 h.
  [[nodiscard]] double mean() const { return gamma_shape / gamma_rate_million_hours; }
};

/// Something that happens to a loom or a connector as a whole (pinch, rodent, water, heat) and damages
/// several of its members at once.
struct Event {
  enum class On { loom, connector };
  std::string title;
  On on = On::loom;
  double gamma_shape = 0;  ///< as in KindRate
  double gamma_rate_million_hours = 0;
  double expected_hits = 3;  ///< members damaged by one event, on average; at most half of all
  /// By mode id of the member: share of the hits. Sums to one; modes a member lacks never come up.
  std::map<std::string, double, std::less<>> mode_shares;
  std::string source;

  [[nodiscard]] double mean() const { return gamma_shape / gamma_rate_million_hours; }
};

/// A yes/no answer of the driver's ("only one direction dead", "died while charging").
struct Cue {
  std::string title;
  /// P(yes | a component of this kind is the cause), by kind id.
  std::map<std::string, double, std::less<>> kinds;
  double otherwise = 0.5;  ///< P(yes | anything else, or nothing, is the cause)
  std::string source;
};

/// How faults that come and go behave, those of every kind alike.
struct Intermittence {
  double persistence = 0.6;  ///< chance that one stays as it is throughout a visit, unless provoked
  double wiggle = 0.55;      ///< chance that wiggling brings one out where it would have kept quiet
  double heat = 0.45;        ///< the same for warming up
  double wet = 0.45;         ///< the same for spraying with water
  std::string source;
};

/// What becomes of a repair.
struct RepairRisk {
  double defect = 0.03;       ///< chance that what was repaired or fitted new is faulty afterwards
  double left_wrong = 0.003;  ///< chance that a setting is wrong after it was put right
  std::string source;

  /// Chance that a component of this type is faulty after its repair.
  [[nodiscard]] double after(vehicle::Component::Type type) const {
    return type == vehicle::Component::Type::setting ? left_wrong : defect;
  }
};

struct Rates {
  double exposure_hours = 500;  ///< running hours since the vehicle was last known good
  double not_in_model = 0.03;   ///< prior probability of a cause that no kind describes
  std::map<std::string, double, std::less<>> environments;  ///< multiplier by name
  std::map<std::string, KindRate, std::less<>> kinds;
  /// Probability that this was done or left so before the visit, by Mode::per_visit.
  std::map<std::string, double, std::less<>> per_visit;
  std::map<std::string, Event, std::less<>> events;
  std::map<std::string, Cue, std::less<>> cues;
  double cue_weight =
      0.6;  ///< exponent on cue likelihoods: cues are hearsay and depend on each other
  double cue_limit_deciban =
      10;  ///< all cues together weigh no more than this for or against anything
  Intermittence intermittence;
  RepairRisk repair;
};

/// What the job says about the time at risk.
struct Exposure {
  double hours = 0;         ///< 0: the rates document's own
  std::string environment;  ///< "" : multiplier one
};

/// Prior probability of each mode of the vehicle, in mode order, events and cues left aside. Modes of
/// one component exclude each other: P(component failed) = 1 - exp(-rate * environment * factor *
/// hours / 10^6), split by share. Kinds and modes without a rate never fail. A mode with a `per_visit` entry
/// has that probability times its share instead, 0 if there is no such entry; a component with such
/// modes whose sum is above 0.9 is scaled by 1 / (1 + sum). Components fail independently.
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
