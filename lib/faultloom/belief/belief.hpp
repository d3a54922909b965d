#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/belief/posterior.hpp>
#include <faultloom/belief/search.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/rates/rates.hpp>
#include <list>
#include <memory>

namespace faultloom::belief {

struct Options {
  SearchOptions search;
  /// Fill EntryReport::decibans and predictive, by asking again without each entry; in their order, until the
  /// time of the search is over.
  bool weigh_entries = false;
  /// Fill EntryReport::by_slip and misreading.
  bool judge_entries = true;
  /// Fill Posterior::swings.
  bool find_swings = false;
  /// Fill Posterior::as_found and modes_as_found.
  bool note_as_found = false;
};

/// The evidence of a job.
struct Evidence {
  std::vector<readings::Entry> entries;
  rates::Exposure exposure;
  std::vector<Repair> repairs{};  ///< in the order made; Entry::epoch refers to them
};

/// Turns evidence into a posterior. Keeps what sets of faults predict for readings seen before, so a
/// further reading costs little. One per thread; the objects it refers to must outlive it.
///
/// The result depends only on the set of entries and on which repairs each came after: not on their order,
/// nor on what was asked before. Faults in it are numbers in the vehicle's own FaultSpace.
/// (A budget in seconds is the exception.)
class Belief {
 public:
  Belief(const FaultSpace& space, const readings::InstrumentSet& instruments,
         const rates::Rates& rates);

  /// @throws Error reading   an entry's instrument and outcome do not fit; entries that repeat or contradict
  ///                         each other by the hundred, so that their probability is below every number
  ///               reference unknown environment
  ///               cancelled
  /// Complexity: one circuit settlement per set of faults and state on first sight; how many sets
  /// depends on how much the evidence leaves open.
  Posterior posterior(const Evidence& evidence, const Options& options = {},
                      const Progress& progress = {});

  [[nodiscard]] circuit::Solver& solver() noexcept { return solver_; }
  [[nodiscard]] const FaultSpace& space() const noexcept { return *space_; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const noexcept {
    return *instruments_;
  }
  [[nodiscard]] const rates::Rates& rates() const noexcept { return *rates_; }

  /// Prior odds of each mode against "component is good", before any evidence.
  [[nodiscard]] std::vector<double> prior_odds(const rates::Exposure& exposure) const;

 private:
  /// A course of repairs, and what is predicted under it.
  struct Course {
    Course(std::vector<Repair> made, const FaultSpace& vehicle, circuit::Solver& solver,
           const readings::InstrumentSet& instruments, const Intermittence& intermittence);

    std::vector<Repair> repairs;
    std::unique_ptr<FaultSpace> own;  ///< none without repairs
    const FaultSpace* space;
    std::vector<std::int32_t> known_as;  ///< by fault: the same one in the vehicle's space
    Predictions predictions;

    /// What no repair has mended of a candidate, in the vehicle's own numbers.
    [[nodiscard]] Candidate now(const Candidate& candidate) const;
  };
  /// A prior with what is worked out from it once.
  struct Ground {
    std::string key;
    std::shared_ptr<Course> course;
    Looks looks;
    Cues cues;
    std::unique_ptr<Prior> prior;
    double looks_marginal = 1;
    /// By place of a fault: its modes.
    std::vector<std::vector<Prior::ModeShare>> shares;
    /// No fault and one typical fault of each variable, with their prior weights, sum one.
    std::vector<std::pair<Candidate, double>> typical;
  };
  struct Work;

  std::shared_ptr<Course> course(const Evidence& evidence);
  const Ground& ground(const Evidence& evidence);
  void add_up(const Work& work, Posterior& result) const;
  void name_members(const Kernel& kernel, const Work& work, Posterior& result) const;
  void find_swings(const Work& work, Posterior& result) const;
  void note_as_found(const Work& work, Posterior& result) const;
  void keep_to_now(const Work& work, Posterior& result) const;
  void spread(const Work& work, Posterior& result) const;
  void report_repairs(const Work& work, Posterior& result) const;
  void report_resistances(const Work& work, Posterior& result) const;
  void judge(Work& work, Posterior& result);
  void weigh(const Work& work, const Options& options, Posterior& result, const Progress& progress);

  const FaultSpace* space_;
  const readings::InstrumentSet* instruments_;
  const rates::Rates* rates_;
  circuit::Solver solver_;
  std::list<std::shared_ptr<Course>> courses_;  ///< used last comes first
  std::list<std::unique_ptr<Ground>> grounds_;  ///< used last comes first
};

}  // namespace faultloom::belief
