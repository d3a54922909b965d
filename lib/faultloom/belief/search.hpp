#pragma once

#include <chrono>
#include <faultloom/base/progress.hpp>
#include <faultloom/belief/predictions.hpp>
#include <faultloom/belief/prior.hpp>
#include <map>

namespace faultloom::belief {

struct SearchOptions {
  /// The search goes on until what it has not seen is at most this share of everything.
  double bound = 1e-3;
  /// Budget: sets of faults looked at in one pass, and seconds; 0: no limit.
  std::size_t most_sets = 8000;
  /// The same, if more, while what was found best has several observations come about by mistakes alone:
  /// something that explains them has probably not been met yet.
  std::size_t most_sets_if_poor = 0;
  double most_seconds = 0;
  /// Also ends once a pass over some two to three times as many sets changes everything found by less
  /// than this share; 0: never.
  double least_growth = 1e-3;
  /// Sets of more faults than this are left out; negative: any number. Only for comparisons.
  int most_faults = -1;
  /// No fault counts as irrelevant and nothing is cut off: plain enumeration, for comparisons.
  bool exhaustive = false;
};

/// Faults that act alike on everything observed, as those of elements in series do: so many of them are
/// there, it can't be said which.
struct Pick {
  std::vector<std::int32_t> faults;
  std::size_t count = 1;  ///< of opens in series: or more, which makes no difference
  /// By context of their bundle and fault: P(the fault is one of those there | the kernel).
  std::vector<std::vector<double>> shares;
};

/// A set of faults the observations speak about, with whatever they say nothing about summed over.
struct Kernel {
  Candidate candidate;  ///< one fault for each that a pick counts
  std::vector<Pick> picks;
  Candidate seen;     ///< those of its faults that the observations speak about
  double weight = 0;  ///< prior probability times likelihood
  double likelihood = 0;
};

/// Weight of a resistance: the whole of a cell, or one of the points a cell was looked at more closely.
struct ResistanceWeight {
  std::int32_t fault = -1;
  double ohm = 0;
  double weight = 0;
};

/// What a search found. Weights are relative to the observations' ceilings.
struct Found {
  std::vector<Kernel> kernels;  ///< in order of discovery
  double total = 0;             ///< sum of the kernels' weights
  double outside = 0;           ///< the weight of everything else is at most this
  double no_fault = 0;          ///< weight of "no fault at all", or none that was not mended since
  double seen_mass = 0;         ///< prior probability of what the kernels stand for
  std::size_t sets = 0;         ///< sets of faults looked at
  /// Share of `total` that the last pass, over some three times as many sets, added to the one before.
  double growth = 1;
  bool complete = false;  ///< false: the budget ran out before `bound` was reached
  std::vector<ResistanceWeight> resistances;
  double quadrature_error = 0;  ///< estimated error of `total` from integrating over resistances
  /// Posterior weight of each fault by place, of each event by slot (Prior::place, event_slot).
  std::vector<double> faults;
  std::vector<double> events;
};

/// Best-first search over sets of faults of any size.
///
/// The sets are cut, without overlap, by the question "which of the faults that could matter here is the
/// first one there?": given the faults found so far, those that no observation could notice
/// (Relevance) stay undecided and are summed over, so that a kernel stands for itself and everything
/// unrelated to it. A branch is followed while its weight, or a small share of the best it could still
/// reach, is above a threshold, which falls from pass to pass until the sum of what is left at its best
/// is small enough, or nothing much changes any more, or a budget is gone. If all that was found leaves
/// much to mistakes, a climb from there looks for sets that do not, and the search is made once more with
/// branches that lead to these.
///
/// The best a branch could reach: an observation the present faults explain badly needs one more fault
/// that could change it; the chance of one is the sum of their priors.
/// Deterministic: depends on observations and prior alone, not on what is cached.
class Search {
 public:
  Search(Predictions& predictions, const Observations& observations, const Prior& prior,
         const SearchOptions& options, double unmodelled);

  /// @throws Error cancelled
  Found run(const Progress& progress);

 private:
  /// What a set of faults could at best become counts this much beside what it is.
  static constexpr double hope = 0.003;

  /// How far sets that contain a candidate can do better than it does.
  struct Outlook {
    struct Group {
      std::size_t number;
      double strong;  ///< chance of a fault that could by itself make it right
      double weak;    ///< chance of a fault that could help in that
      double alone;   ///< its ceiling with no strong fault and at most one weak one
      /// Chance of more help than that, with none or with one weak fault there already.
      [[nodiscard]] double help(bool started) const {
        return std::min(1.0, strong + (started ? weak : 0.5 * weak * weak));
      }
      double cap;  ///< its ceiling whatever happens
    };
    double capped = 1;                              ///< product of all caps
    mutable std::map<std::uint64_t, double> known;  ///< of intermittent ones, by mark of the groups
    std::vector<Group> groups;                      ///< least help first
    bool intermittent = false;
  };
  [[nodiscard]] static Candidate with(const Candidate& candidate, std::int32_t fault);
  [[nodiscard]] double best_with(const Candidate& candidate, const Outlook& outlook,
                                 std::uint64_t helped, std::uint64_t started);
  [[nodiscard]] bool mended(const Candidate& candidate) const;
  [[nodiscard]] double capped(const Candidate& candidate) const;
  [[nodiscard]] double limit(const Candidate& candidate, const Assignment& assignment, double more);
  Found passes(std::size_t most_sets);
  void walk();
  Found named(Found best);
  /// A set of faults and what it weighs, others aside.
  struct Weighed {
    Candidate candidate;
    double weight = 0;
  };
  [[nodiscard]] std::vector<Candidate> climb(const Found& found);
  [[nodiscard]] std::vector<Weighed> climb_from(std::vector<Candidate> starts);
  [[nodiscard]] double weight_of(const Candidate& candidate);
  [[nodiscard]] std::vector<Weighed> one_more(const Candidate& candidate, double least);
  void look_at_one();
  void visit(const Candidate& candidate, Assignment assignment);
  void expand(const Candidate& candidate, Assignment& assignment, double likelihood);
  void conclude(const Candidate& candidate, Assignment& assignment, double likelihood);
  void settle(const Candidate& candidate, const Candidate& seen, const Assignment& assignment,
              double likelihood);
  void account(const Assignment& assignment, double weight);
  /// Mean likelihood over the cells of the candidate's resistances, and the error of it.
  struct Refined {
    double likelihood = 0;
    double error = 0;
    std::vector<ResistanceWeight> points;  ///< shares of the mean
  };
  const Refined& refined(const Candidate& candidate, double likelihood);
  [[nodiscard]] double density(std::int32_t fault, double ohm) const;
  void find_chances(const Assignment& assignment);
  [[nodiscard]] double help(const Bits& relevant) const;
  [[nodiscard]] bool open(std::int32_t fault, const Assignment& assignment) const;
  /// Faults to branch on, alike ones together.
  struct Marks;
  struct Next {
    std::vector<std::int32_t> faults;
    int misfits = 0;            ///< groups the candidate explains badly and the faults could change
    int groups = 0;             ///< groups the faults could change
    std::uint64_t helped = 0;   ///< groups they could make right
    std::uint64_t started = 0;  ///< groups they could help with
    double chance = 0;
    bool intermittent = false;
    bool looked_at = false;  ///< predicted with the first of the faults
    double likelihood = 0;
    double found = 0;  ///< weight of that, if it is worth the name
  };
  [[nodiscard]] std::vector<Next> ordered(const Candidate& candidate, const Assignment& assignment,
                                          Outlook& outlook);
  void look_ahead(const Candidate& candidate, const Assignment& assignment, double likelihood,
                  const Outlook& outlook, std::vector<Next>& list);
  void tell_apart(const Candidate& candidate, Next& next, std::vector<Next>& others);
  [[nodiscard]] std::uint64_t metered_groups() const;
  [[nodiscard]] std::vector<std::int32_t> kinds_of_faults() const;
  void forget(Outlook& outlook, const Next& next, const Assignment& assignment) const;
  void gather(std::vector<Next>& list, const std::vector<std::uint64_t>& signatures,
              const std::vector<bool>& lively) const;
  void pick(const Next& next, std::size_t count, bool exactly, Assignment& inside);
  void follow(const Candidate& candidate, const Assignment& assignment, const Next& next,
              std::size_t count, bool exactly, double best);
  [[nodiscard]] bool leads(const Next& next) const;
  [[nodiscard]] std::vector<std::vector<std::int32_t>> goals_beyond(const Next& next,
                                                                    std::size_t count) const;
  [[nodiscard]] bool stops_the_rest(std::int32_t fault) const;
  void put_out(std::span<const std::int32_t> faults);
  void take_back(std::size_t to);
  [[nodiscard]] bool out_of_budget() const;
  [[nodiscard]] bool is_poor(const Found& found) const;
  void finish(Found& found) const;

  Predictions* predictions_;
  const Observations* observations_;
  const Prior* prior_;
  SearchOptions options_;
  double unmodelled_;
  Progress progress_;
  std::vector<readings::Entry> runs_;  ///< "does it run?": kernels are told apart by it as well
  Relevance run_relevance_;
  std::vector<bool> between_sources_;              ///< by element
  std::vector<std::int32_t> kinds_;                ///< by fault, see kinds_of_faults()
  std::uint64_t metered_;                          ///< see metered_groups()
  std::vector<std::vector<std::int32_t>> shorts_;  ///< by variable: faults that join what was apart

  /// Where a fault's numbers are: Prior::place of its first context, from one context to the next, and
  /// the slots of its variable.
  struct Spot {
    std::size_t place;
    std::size_t stride;
    std::size_t slot;
    std::size_t contexts;
  };
  std::vector<Spot> spots_;  ///< by fault

  bool naming_ = false;  ///< in the last pass: split and refine what weighs most
  double threshold_ = 0;
  std::size_t looked_at_ = 0;    ///< sets in all passes
  std::size_t most_sets_ = 0;    ///< in the present pass
  double scale_ = 0;             ///< total of the pass before
  std::vector<Candidate> aims_;  ///< sets that branches lead to, whatever they weigh on the way
  /// Of those that the present branch leads to: the faults that are still to come.
  std::vector<std::vector<std::int32_t>> goals_;
  std::map<Candidate, Refined> refined_;
  Found found_;
  std::vector<double> factors_;    ///< by slot, of the assignment in hand
  std::vector<double> chances_;    ///< by fault, the same
  std::vector<double> free_;       ///< by slot
  std::vector<double> excluded_;   ///< by place
  std::vector<std::int32_t> out_;  ///< faults decided upon, on the way to the present branch
  std::vector<Pick> picks_;        ///< what is there, on the way to the present branch
  Bits is_out_;
  std::chrono::steady_clock::time_point start_;
};

}  // namespace faultloom::belief
