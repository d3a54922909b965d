#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/belief/posterior.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/forecast.hpp>
#include <map>
#include <memory>
#include <unordered_map>

namespace faultloom::belief {

struct Options {
  /// Total probability, relative to the rest, of pairs that may be left out of the sum because even the
  /// best possible outcome of their remaining readings leaves them this small. 0 sums everything.
  /// What is left out is part of Posterior::bound.
  double prune = 1e-10;
  bool pairs = true;          ///< false: no fault and singles only
  bool weigh_entries = true;  ///< fill EntryReport::decibans
};

/// The evidence of a job.
struct Evidence {
  std::vector<readings::Entry> entries;
  rates::Exposure exposure;
};

/// Turns evidence into a posterior. Keeps what each reading would have been under each candidate, so a
/// further reading costs little. One per thread; the objects it refers to must outlive it.
///
/// The result depends only on the set of entries: not on their order, nor on what was asked before.
class Belief {
 public:
  Belief(const Candidates& candidates, const readings::InstrumentSet& instruments,
         const rates::Rates& rates);

  /// @throws Error reading   an entry's instrument and outcome do not fit
  ///               reference unknown environment
  ///               cancelled
  /// Complexity: one circuit settlement per candidate and state on first sight, then a product.
  Posterior posterior(const Evidence& evidence, const Options& options = {},
                      const Progress& progress = {});

  [[nodiscard]] circuit::Solver& solver() noexcept { return solver_; }
  [[nodiscard]] const Candidates& candidates() const noexcept { return *candidates_; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const noexcept {
    return *instruments_;
  }

  /// Prior odds of each mode against "component is good", before any evidence.
  [[nodiscard]] std::vector<double> prior_odds(const rates::Exposure& exposure) const;

 private:
  /// Numbers of one group of readings for every candidate: total, then for each entry of the group the
  /// total without it and the proper share. NaN: not computed yet.
  struct Column {
    std::size_t stride = 0;
    std::vector<double> values;
    std::uint64_t last_used = 0;
  };
  struct Term {
    Candidate candidate;
    double likelihood = 0;  ///< of the electrical evidence
  };
  struct Work;

  std::vector<Column*> columns_for(const readings::Forecast& forecast);
  void forget_old_columns();
  void fill(Work& work, const Candidate& candidate, std::size_t number);
  bool likelihood(Work& work, const Candidate& candidate, double weight, double cutoff,
                  double& out);
  void sum_singles(Work& work);
  void sum_pairs(Work& work, const Options& options, const Progress& progress);
  void finish(Work& work, const Options& options, Posterior& result);
  void add_up(Work& work, Posterior& result) const;
  void split_over_modes(Work& work, Posterior& result) const;
  void report_reading(Work& work, const Options& options, std::size_t g, std::size_t i,
                      Posterior& result) const;
  void report_look(Work& work, const Options& options, std::size_t i, Posterior& result) const;

  const Candidates* candidates_;
  const readings::InstrumentSet* instruments_;
  const rates::Rates* rates_;
  circuit::Solver solver_;
  std::unordered_map<std::string, std::unique_ptr<Column>> columns_;
  std::uint64_t clock_ = 0;
};

}  // namespace faultloom::belief
