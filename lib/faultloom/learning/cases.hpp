#pragma once

#include <faultloom/belief/belief.hpp>
#include <faultloom/rates/estimate.hpp>
#include <faultloom/rates/rates.hpp>
#include <map>
#include <string>
#include <vector>

/// From jobs of a vehicle to what rates::estimate_rates() learns from, and what rates mean to a ranking.
namespace faultloom::learning {

using vehicle::Index;

/// The lines of a rates document: its kinds in order, then what is left wrong before visits
/// (`per_visit` entries, one line each with one mode).
struct Lines {
  std::vector<rates::Line> lines;
  std::vector<rates::Surroundings> environments;  ///< the first is the unnamed one, multiplier one
  std::size_t kind_count = 0;
  std::map<std::string, std::int32_t, std::less<>> kinds;      ///< by kind: line
  std::map<std::string, std::int32_t, std::less<>> per_visit;  ///< by entry: line
  std::map<std::string, std::int32_t, std::less<>> named;      ///< by environment
  std::vector<std::vector<std::string>> modes;                 ///< by line: ids of its modes
};

/// Environments with a multiplier other than one may be learned. A `per_visit` chance counts as one found in
/// 1 / chance visits. Kinds with a share of zero for each mode, and chances of zero, are left out.
[[nodiscard]] Lines lines_of(const rates::Rates& rates);

/// By mode: the chance that the vehicle is brought in because of it. One if a single fault of that mode stops it
/// driving in some way in which a sound vehicle does, as far as the mode's resistances do;
/// `otherwise` for the rest. Solves the circuit for each fault in each driving state.
[[nodiscard]] std::vector<double> noticed_modes(const belief::FaultSpace& space,
                                                const readings::InstrumentSet& instruments,
                                                double otherwise, const Progress& progress = {});

/// Turns jobs of one vehicle into cases. Keeps references to its arguments.
class CaseMaker {
 public:
  CaseMaker(const vehicle::Vehicle& vehicle, const rates::Rates& rates, const Lines& lines,
            std::vector<double> noticed);

  /// Components at risk for so long. @param visit  a job, in which what is left wrong can be met too
  /// @throws Error reference  unknown environment
  [[nodiscard]] std::vector<rates::AtRisk> at_risk(const rates::Exposure& exposure,
                                                   bool visit) const;
  /// A job whose entries were weighed: what was wrong as the vehicle came in, with its probabilities.
  [[nodiscard]] rates::Case weighed(const belief::Posterior& posterior,
                                    const rates::Exposure& exposure) const;
  /// A job whose failures were seen. Each failure is a list of modes of one component, of which one it was.
  [[nodiscard]] rates::Case confirmed(const std::vector<std::vector<Index>>& failures,
                                      const rates::Exposure& exposure) const;

  [[nodiscard]] const std::vector<double>& noticed() const noexcept { return noticed_; }

 private:
  /// What a mode is to the lines; line -1 if it has no rate.
  [[nodiscard]] rates::Way way(Index mode, const rates::Exposure& exposure) const;

  const vehicle::Vehicle* vehicle_;
  const rates::Rates* rates_;
  const Lines* lines_;
  std::vector<double> noticed_;
  std::vector<std::pair<std::int32_t, std::int32_t>> place_;  ///< by mode: line, mode of the line
};

}  // namespace faultloom::learning
