#pragma once

#include <cstdint>
#include <faultloom/base/progress.hpp>
#include <faultloom/rates/pooling.hpp>
#include <string>
#include <vector>

/// Rates from a history of closed jobs whose causes are known only in probability.
///
/// Expectation maximization. The causes of a job come with their probabilities under the rates the history
/// was looked at with; those are divided out and the current ones put in at each turn, so nothing the
/// program guessed counts as seen. What a cause leaves open adds no certainty: the shape of the result is
/// lowered by the variance that the counts have given the jobs (Louis 1982).
namespace faultloom::rates {

/// Something with a rate to learn: a kind of part, or what is left wrong now and then before a visit.
struct Line {
  std::string id;
  std::string group;           ///< lines of a group are pooled; "" : not pooled
  Gamma prior;                 ///< mean: rate under which the causes' probabilities were computed
  std::vector<double> shares;  ///< of its modes, sum one; under which they were computed
};

/// An environment: known multiplier, and whether it may be learned (the one that all are measured by may
/// not).
struct Surroundings {
  std::string id;
  double multiplier = 1;
  bool learned = false;
};

/// One way in which a failure may have come about.
struct Way {
  std::int32_t line = -1;
  std::int32_t mode = -1;  ///< of the line
  std::int32_t environment = -1;
  double share = 1;             ///< P(this way | the failure), under the rates used
  double counted = 1;           ///< part of it that counts for the line; the rest is an event's
  double exposure = 0;          ///< of this component, environment left out, in the line's unit
  std::int32_t component = -1;  ///< for the caller's own use
};

/// What may have been wrong: failures that were there together.
struct Cause {
  double probability = 0;  ///< given the entries, under the rates used
  std::vector<std::vector<Way>> failures;
};

/// Time at risk of all components of a line and one mode, as far as a failure would have been noticed.
struct AtRisk {
  std::int32_t line = -1;
  std::int32_t mode = -1;
  std::int32_t environment = -1;
  double exposure = 0;  ///< environment left out, in the line's unit
};

/// A closed job, or time without a failure.
struct Case {
  std::vector<Cause> causes;  ///< empty: nothing failed
  double outside = 0;         ///< P(not in the model); with the causes it sums to one
  std::vector<AtRisk> at_risk;
};

struct EstimateOptions {
  /// Only vehicles that broke are in the history: each case is given that something failed in it. Then only
  /// the proportions of rates can be learned; environments and the common level stay as they were.
  bool only_broken_seen = false;
  bool learn_environments = true;
  bool learn_shares = true;
  bool pool = true;
  double share_weight = 12;  ///< how many failures the shares of the modes count for at the start
  double environment_weight = 4;  ///< how many failures the multipliers count for at the start
  double log_dispersion_sigma = 0.5;
  int most_turns = 400;
  double tolerance = 1e-4;  ///< greatest change of the log of a rate in the last turn
};

struct LineEstimate {
  Gamma before;
  Gamma after;          ///< what was learned, moments matched
  double failures = 0;  ///< expected number counted for it
  double certain = 0;   ///< of these, what is left when the doubt about causes is taken off
  double exposure = 0;  ///< in its unit, environment and noticing included
  std::vector<double> shares;
  std::vector<double> mode_failures;
};

struct GroupEstimate {
  std::string id;
  Spread mean;  ///< factor by which the group is off, 1: as before
  Spread dispersion;
  bool has_law = false;
  PoolLaw law;  ///< the most probable one (type-II maximum likelihood), if anything failed
};

struct EnvironmentEstimate {
  Surroundings before;
  Gamma factor;  ///< on the multiplier before
  double failures = 0;
};

struct HistoryEstimate {
  std::vector<LineEstimate> lines;
  std::vector<GroupEstimate> groups;  ///< by id
  std::vector<EnvironmentEstimate> environments;
  int turns = 0;
  bool settled = true;
  /// Mean over cases with causes of the log of P(case | rates after) / P(case | rates before) [nat].
  double log_gain = 0;
  /// Standard deviation of the log of the common factor on all rates that the history leaves open; 0 unless
  /// only broken vehicles are seen. It is part of each line's variance.
  double common_sigma = 0;
};

/// @throws Error value  a number out of range; cancelled. O(turns * (ways + members of groups * 2,000)).
[[nodiscard]] HistoryEstimate estimate_rates(const std::vector<Line>& lines,
                                             const std::vector<Surroundings>& environments,
                                             const std::vector<Case>& cases,
                                             const EstimateOptions& options = {},
                                             const Progress& progress = {});

}  // namespace faultloom::rates
