#pragma once

#include <faultloom/learning/cases.hpp>
#include <faultloom/rates/scores.hpp>
#include <optional>
#include <vector>

namespace faultloom::learning {

/// Chances of a job's components under other rates, exactly: the weight of each set of faults is a product of
/// odds, so it is scaled by what the rates change in them, and nothing has to be searched anew.
class Reweighing {
 public:
  /// @param one  the job, from CaseMaker::weighed(); kept by reference like the lines
  Reweighing(const Lines& lines, const rates::Case& one, std::size_t component_count);

  /// By component: P(it is part of what is wrong and matters | entries), with each rate multiplied by a
  /// factor. Components that no entry bears on are not counted. O(causes). @param factors  by line
  [[nodiscard]] std::vector<double> components(std::span<const double> factors) const;
  /// The same with one line's rate multiplied.
  [[nodiscard]] std::vector<double> components(std::int32_t line, double factor) const;
  /// d components / d ln(rate of the line).
  [[nodiscard]] std::vector<double> derivative(std::int32_t line) const;
  /// Lines that have a component at risk in the job, ascending.
  [[nodiscard]] std::vector<std::int32_t> lines() const;

 private:
  const Lines* lines_;
  const rates::Case* case_;
  std::size_t component_count_;
  std::vector<double> expected_;  ///< by line: failures expected in the job
};

/// How far one rate can be off before another component leads.
struct LeaderInterval {
  std::optional<double>
      low;  ///< factor on the rate below which the leader changes; none down to 1/1000
  std::optional<double> high;  ///< above which; none up to 1000
};
/// @param leader  the component that leads under the rates as they are
[[nodiscard]] LeaderInterval leader_interval(const Reweighing& job, std::int32_t line,
                                             Index leader);

/// What knowing a line's rate exactly would save in this job, if components had to be repaired one after the
/// other by chance over cost until it runs: expected cost of the order by the rate as known, minus that of the
/// order by the rate as it is, mean over five quantiles of the Gamma distribution. An upper limit, since
/// readings tell causes apart as well. In the unit of `costs`. @param costs  of each component's repair, > 0
[[nodiscard]] double value_of_knowing(const Reweighing& job, const Lines& lines, std::int32_t line,
                                      std::span<const double> costs);

}  // namespace faultloom::learning
