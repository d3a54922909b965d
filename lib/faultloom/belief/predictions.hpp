#pragma once

#include <array>
#include <faultloom/belief/beta_rule.hpp>
#include <faultloom/belief/faults.hpp>
#include <faultloom/belief/observations.hpp>
#include <faultloom/belief/relevance.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/slip.hpp>
#include <map>
#include <optional>
#include <string>
#include <tuple>
#include <unordered_map>
#include <vector>

namespace faultloom::belief {

using rates::Intermittence;

/// Probability of the observations under sets of faults, kept between questions.
///
/// Values depend on the set and the observation alone, never on what was asked before.
///
/// Repairs cut a job into epochs: a group of observations is predicted by those faults of a candidate that
/// were there in its epoch. A resistance that outlasts a repair is looked at in each epoch on its own.
class Predictions {
 public:
  Predictions(const FaultSpace& space, circuit::Solver& solver,
              const readings::InstrumentSet& instruments, Intermittence intermittence);

  /// Makes these the observations that group numbers refer to. They must stay alive.
  void observe(const Observations& observations);

  /// Probability of all observations under a set of faults exactly as it stands, each relative to its
  /// ceiling.
  [[nodiscard]] double likelihood(const Candidate& candidate);
  /// What limits the likelihood of a set of faults that contains another: groups on whose proper reading
  /// nothing further bears, or only one fault that is not strong, with slips at their best. `groups`
  /// marks the ones to count. O(groups), times the nodes of the rule for intermittent faults.
  [[nodiscard]] double ceiling_without_help(const Candidate& candidate, std::uint64_t groups);
  /// A lower estimate of the same for one group, at no cost: nothing at all bears on it.
  [[nodiscard]] double ceiling_untouched(const Candidate& candidate, std::size_t g);
  /// What a group can reach at most, relative to its ceiling, whatever else breaks: no voltage anywhere
  /// exceeds what the sources add up to, and no fault raises that.
  [[nodiscard]] double ceiling_with_help(const Candidate& candidate, std::size_t g);
  /// Number of an element in Relevant::signatures, -1 if no fault touches it.
  [[nodiscard]] std::int32_t place(Index element) const { return relevance_.place(element); }
  /// Group numbers from this on are not told apart in such a mark.
  static constexpr std::size_t most_marked = 64;
  /// A group's probability under the candidate relative to its ceiling, without the others.
  [[nodiscard]] double group(const Candidate& candidate, std::size_t g);

  /// Share of each slip, or none, with an entry in the candidate's likelihood; they sum to one.
  [[nodiscard]] std::array<double, readings::slip_count> slips_of(const Candidate& candidate,
                                                                  std::size_t entry);

  /// Faults that could change what a group should show, given the candidate: properly read, or at all.
  struct Relevant {
    Bits proper;
    Bits strong;  ///< see Relevance::Bearing
    Bits any;
    std::vector<std::uint32_t> signatures;  ///< see Relevance::signatures
    std::vector<bool> lively;               ///< see Relevance::lively
    /// Most the group can be, relative to its ceiling, with at most one fault that is not strong.
    double weakly = 1;
  };
  [[nodiscard]] const Relevant& relevant(const Candidate& candidate, std::size_t g);

  /// Likelihood if a fault's resistance were this instead of its cell's representative. O(epochs).
  [[nodiscard]] double at_resistance(const Candidate& candidate, std::int32_t fault, double ohm);

  /// Faults of the set that come and go, at most; more are not followed.
  static constexpr std::size_t most_intermittent = 2;
  [[nodiscard]] std::size_t intermittent_count(const Candidate& candidate) const;

  /// As often it is worth trying at once to see something that comes and goes.
  static constexpr int catching_tries = 20;
  /// How the faults of a set that come and go stand, given the entries.
  struct Swing {
    double now = 1;          ///< P(all of them are at work in a further try of the visit)
    double again = 1;        ///< the same, if they were in the try before it
    double after_quiet = 0;  ///< ... if they were not
    double caught = 1;       ///< P(they are in one at least of `catching_tries` further tries)
    /// By zone: P(all of them are at work in a try in which things are wiggled there).
    std::vector<double> wiggled;
  };
  /// O(zones x groups). @param visit  number of the visit that goes on
  [[nodiscard]] Swing swing(const Candidate& candidate, int visit);

  [[nodiscard]] circuit::Solver& solver() noexcept { return *solver_; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const noexcept {
    return *instruments_;
  }

 private:
  struct Cell {
    bool known = false;
    bool relevance_known = false;
    double value = 0;          ///< of the group, not relative
    double slips_at_best = 0;  ///< value if all slips showed what was noted
    std::vector<readings::EntryProbability> entries;
    Relevant relevant;
    Relevant joint;  ///< of a candidate with intermittent faults, of which this set has all at work
    bool joint_known = false;
  };
  struct Node {
    std::vector<Cell> cells;  ///< by slot
    /// The same at the resistances that suit the present observations best, if a cell hides them.
    std::vector<Cell> tuned;
    std::vector<std::pair<std::int32_t, double>> ohms;  ///< by fault
    double mean_share = 1;          ///< mean likelihood over the cells, as a share of the best
    std::uint64_t checked_for = 0;  ///< observations that it was tuned for, or found not to need it
    bool is_tuned = false;
    double source_volt = -1;  ///< sum of the sources' EMFs; below zero: not worked out
  };
  struct Hash {
    std::size_t operator()(const std::vector<std::int32_t>& faults) const {
      return boost::hash_range(faults.begin(), faults.end());
    }
  };
  /// The candidate with each set of its intermittent faults at work.
  struct Blend {
    std::vector<Node*> nodes;  ///< by bit mask of the intermittent ones, then epoch observed
    std::vector<std::int32_t> intermittent;
    [[nodiscard]] std::size_t masks() const { return std::size_t{1} << intermittent.size(); }
  };
  /// An entry to count as come about in one way only.
  struct Exception {
    std::size_t entry;
    readings::Slip slip;
  };

  /// What the faults there in the e-th epoch observed predict for it.
  Node& node(const std::vector<std::int32_t>& faults, std::size_t e);
  void predict(Node& node, std::size_t e);
  Node& node_of(const Blend& blend, std::size_t mask, std::size_t g) const {
    return *blend.nodes[mask * epochs_.size() + epoch_of_[g]];
  }
  Blend blend(const Candidate& candidate);
  const Relevant& relevant_of(const std::vector<std::int32_t>& active, Node& node, std::size_t g);
  [[nodiscard]] double source_volt(std::span<const std::int32_t> faults) const;
  [[nodiscard]] std::vector<std::int32_t> active_of(const Candidate& candidate,
                                                    const Blend& mixture, std::size_t mask,
                                                    std::size_t e) const;
  [[nodiscard]] std::vector<std::int32_t> alive(std::span<const std::int32_t> faults,
                                                std::size_t e) const;
  [[nodiscard]] double mean_share(const Blend& blend, std::size_t mask) const;
  /// Tries beside the entries, in all of which everything that comes and goes is at work, or in none.
  struct Further {
    int visit = 0;
    int count = 0;
    const readings::Entry* provocation = nullptr;  ///< null: nothing was done to bring it out
    bool quiet = false;                            ///< in none
  };
  /// All that a likelihood depends on beside the predictions of a group.
  struct SeenAs {
    std::size_t slot;
    int visit;
    readings::Entry::Provocation provocation;
    Index provoked_zone;
    int epoch;
    std::vector<std::optional<Observations::Companion>> companions;  ///< by member
    friend bool operator==(const SeenAs&, const SeenAs&) = default;
  };
  double likelihood(const Blend& blend, const std::optional<Exception>& exception);
  double integrate(const Blend& blend, const std::optional<Exception>& exception,
                   const Further& further);
  double product_at(const Blend& blend, std::span<const double> duty,
                    const std::optional<Exception>& exception, const Further& further);
  std::vector<double> told(const Blend& blend, std::span<const double> weight,
                           const Observations::Companion& companion);
  const BetaRule& rule(std::int32_t fault);
  double group_value(std::size_t g, std::span<const readings::EntryProbability> entries,
                     const std::optional<Exception>& exception) const;
  [[nodiscard]] double provoked(std::int32_t fault, const readings::Entry& entry,
                                double duty) const;
  Cell& cell(Node& node, std::size_t g) {
    return node.is_tuned && node.checked_for == generation_ ? node.tuned[g] : node.cells[slots_[g]];
  }
  void tune(const std::vector<std::int32_t>& faults, Node& node, std::size_t e);
  bool hidden(const std::vector<std::int32_t>& faults, std::int32_t fault,
              std::span<const std::pair<std::int32_t, double>> ohms, std::size_t e);
  void overrides_at(std::span<const std::int32_t> faults,
                    std::span<const std::pair<std::int32_t, double>> ohms);
  void forget_if_full();
  void find_epochs();

  const FaultSpace* space_;
  circuit::Solver* solver_;
  const readings::InstrumentSet* instruments_;
  Intermittence intermittence_;
  Relevance relevance_;
  double most_volt_;                        ///< sum of the sources' EMFs, each at its highest
  std::vector<std::int32_t> relevance_of_;  ///< candidate its stages were worked out for
  std::uint64_t relevance_made_ = 0;  ///< and `made_` at that time: the solver moved on since?
  const Observations* observations_ = nullptr;
  std::unordered_map<std::string, std::size_t> slot_of_;
  std::size_t slot_count_ = 0;
  std::vector<std::size_t> slots_;     ///< by group
  std::vector<int> epochs_;            ///< those observed, ascending; at least one
  std::vector<std::size_t> epoch_of_;  ///< by group: place in epochs_
  std::vector<Bits> alive_;            ///< by place in epochs_: the faults that may be there
  std::vector<SeenAs> seen_as_;        ///< by group
  std::unordered_map<std::vector<std::int32_t>, Node, Hash> nodes_;
  /// Of candidates, for the present observations.
  std::unordered_map<std::vector<std::int32_t>, double, Hash> likelihoods_;
  std::map<std::pair<double, double>, BetaRule> rules_;
  std::map<std::pair<std::size_t, double>, double> capped_;  ///< by slot and source voltage
  std::vector<readings::EntryProbability> scratch_;
  std::vector<std::int32_t> scratch_key_;
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
  std::size_t relevances_ = 0;    ///< kept in nodes_: what takes most of the memory
  std::uint64_t made_ = 0;        ///< counts calls of predict()
  std::uint64_t generation_ = 0;  ///< counts changes of the observations
  std::vector<double> low_shown_;
  std::vector<double> high_shown_;
};

}  // namespace faultloom::belief
