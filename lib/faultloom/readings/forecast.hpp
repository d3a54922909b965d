#pragma once

#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/response.hpp>
#include <optional>
#include <span>
#include <vector>

namespace faultloom::readings {

/// Probability of one entry's outcome under one candidate, and the share of it that is a proper reading.
struct EntryProbability {
  double total = 0;       ///< P(outcome | candidate), mixture over all ways to misread
  double proper = 0;      ///< P(read properly and outcome | candidate)
  double no_contact = 0;  ///< the same for each way of misreading
  double wrong_neighbour = 0;
  double wrong_state = 0;
  double gross = 0;
};

/// What the readings and signs of a job should have been under any candidate.
///
/// Built once for a list of entries; looks and cues are none of its business. Entries that repeat the same
/// reading (instrument, terminals, state, visit, provocation) form one group: with the chance
/// `repeat_correlation` the hand makes the same mistake each time, otherwise a fresh one. Groups are
/// independent given a candidate.
class Forecast {
 public:
  /// `entries` must be informative readings or signs; the solver registers their stages.
  /// @throws Error reading  a look or a cue among them
  Forecast(circuit::Solver& solver, const InstrumentSet& instruments, std::vector<Entry> entries);

  [[nodiscard]] std::size_t entry_count() const noexcept { return entries_.size(); }
  [[nodiscard]] const std::vector<Entry>& entries() const noexcept { return entries_; }
  [[nodiscard]] std::size_t group_count() const noexcept { return groups_.size(); }
  /// Entry indices of a group.
  [[nodiscard]] const std::vector<std::size_t>& group(std::size_t g) const { return groups_[g]; }
  /// Upper bound of a group's probability over all circuits.
  [[nodiscard]] double group_ceiling(std::size_t g) const { return ceilings_[g]; }

  /// Probability of every entry under a candidate. O(stages settled + ports read).
  void evaluate(const circuit::Overrides& overrides, std::span<EntryProbability> out,
                std::span<const circuit::Setting> settings = {});

  /// Number that each entry's instrument should show, the entry properly read [V], [ohm] or [A]; not a
  /// number for words and signs.
  void shown_numbers(const circuit::Overrides& overrides, std::span<double> out,
                     std::span<const circuit::Setting> settings = {});

  /// The same for the entries of the groups in `needed`; the others are left as they are.
  void evaluate_groups(const circuit::Overrides& overrides,
                       std::span<const circuit::Setting> settings, const Bits& needed,
                       std::span<EntryProbability> out);

  /// Probability of a group from its entries.
  [[nodiscard]] double group_probability(std::size_t g, std::span<const EntryProbability> entries,
                                         std::optional<std::size_t> without = {}) const;
  /// Probability of the group's outcomes from a cause that nothing describes: properly read, they may be
  /// anything up to `nominal_volt`; slips as usual, at what a typical reading would give.
  [[nodiscard]] double group_anything(std::size_t g, double nominal_volt) const;
  /// Upper bound of the probability of a single meter or lamp reading if the instrument had this voltage
  /// across it, which good parts spread by up to `volt_sigma`, and no voltage exceeded `most_volt`;
  /// slips at their best.
  [[nodiscard]] double group_at(std::size_t g, double volt, double most_volt,
                                double volt_sigma) const;
  /// Upper bound of the group's probability over all circuits in which no voltage exceeds `volt`.
  [[nodiscard]] double group_below(std::size_t g, double volt) const;
  /// Upper bound of the group's probability if the circuit predicted the same for proper readings, but
  /// anything at all for slips (a neighbouring terminal, a control not moved).
  [[nodiscard]] double group_slips_at_best(std::size_t g,
                                           std::span<const EntryProbability> entries) const;
  /// P(entry was read properly and the group's outcomes | candidate).
  [[nodiscard]] double group_proper(std::size_t g, std::size_t entry,
                                    std::span<const EntryProbability> entries) const;

 private:
  struct Plan {
    circuit::Stage stage = vehicle::none;
    circuit::Stage before = vehicle::none;  ///< stage without the last control moved
    std::vector<Index> near;                ///< neighbours of the red terminal
    EntryProbability shares;                ///< prior probability of each way of reading
    double without_contact = 0;             ///< P(outcome | no contact)
  };
  struct Work {
    Thevenin before;
    SignTruth sign_before = SignTruth::absent;
  };

  /// Parts of a group's probability: all hands fresh, or the same slip each time.
  struct Repeats {
    double fresh = 1;
    double same_proper = 0;
    double same_other = 0;
    std::size_t count = 0;
  };

  void plan_entry(const Entry& entry);
  [[nodiscard]] double most_from(const Instrument& instrument, const Entry& entry,
                                 double volt) const;
  [[nodiscard]] const Instrument& instrument_of(const Entry& entry) const;
  [[nodiscard]] Repeats repeated(std::size_t g, std::span<const EntryProbability> entries,
                                 std::optional<std::size_t> without) const;
  void read_sign(std::size_t i, EntryProbability& out);
  /// Chance that the control moved last was not really moved before this sign was noted.
  [[nodiscard]] double wrong_state_share(std::size_t i) const;
  void make_groups();
  void read_before(std::size_t i);
  void read(std::size_t i, EntryProbability& out);
  [[nodiscard]] Thevenin port_of(const Entry& entry, Index red);
  void walk(const circuit::Overrides& overrides, std::span<const circuit::Setting> settings,
            const Bits* needed, std::span<EntryProbability> out);

  circuit::Solver* solver_;
  const InstrumentSet* instruments_;
  std::vector<Entry> entries_;
  std::vector<Plan> plans_;
  std::vector<Work> work_;
  std::vector<circuit::Stage> stages_;           ///< needed stages, parents first
  std::vector<std::vector<std::size_t>> reads_;  ///< by position in stages_: entries complete here
  std::vector<std::vector<std::size_t>> reads_before_;  ///< entries whose wrong state is this stage
  std::vector<std::vector<std::size_t>> groups_;
  std::vector<std::size_t> group_of_;
  std::vector<double> ceilings_;
  std::vector<double> entry_ceilings_;
};

}  // namespace faultloom::readings
