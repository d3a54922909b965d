#pragma once

#include <faultloom/advice/outcome_table.hpp>
#include <faultloom/belief/belief.hpp>
#include <map>
#include <memory>
#include <span>
#include <unordered_map>
#include <utility>
#include <vector>

namespace faultloom::advice {

using vehicle::Index;

/// What sets of faults show in every combination of control positions, kept from one question to the
/// next: most suspects of a job are still suspects after its next reading. One per thread and Belief.
/// What it answers depends on the question alone, not on what was asked before.
class PredictionStore {
 public:
  /// The port between two terminals that probes get to. `element` is the branch between them, none for
  /// a terminal against the datum.
  struct Place {
    Index red = vehicle::none;
    Index black = vehicle::none;
    Index element = vehicle::none;
  };
  /// Ports of one contact state, by place, as numbers of port().
  struct Network {
    Bits closed;
    bool isolated = false;
    std::vector<std::uint32_t> ports;
  };
  struct Row {
    std::vector<Network> networks;
    std::vector<std::uint16_t> network_of;  ///< by situation
    std::vector<std::uint8_t> signs;        ///< readings::SignTruth by situation and sign
    /// By wire element with an end off, pack isolated: ports by place of lift_places().
    std::map<Index, std::vector<std::uint32_t>> lifted;
    /// By bridged element in the run state: readings::SignTruth by sign.
    std::map<Index, std::vector<std::uint8_t>> bridged;
    std::uint64_t used = 0;
  };

  explicit PredictionStore(const belief::Belief& belief);

  /// Combinations of control positions, first control slowest; the last situation after them is all
  /// at rest with the pack isolated, if the vehicle says how.
  [[nodiscard]] const std::vector<vehicle::ControlState>& states() const { return states_; }
  [[nodiscard]] bool can_isolate() const { return can_isolate_; }
  [[nodiscard]] std::size_t situation_count() const {
    return states_.size() + (can_isolate_ ? 1 : 0);
  }
  [[nodiscard]] const std::vector<Place>& places() const { return places_; }
  /// Where ohms are read while an end of this wire is off: across what it was connected to.
  [[nodiscard]] const std::vector<Place>& lift_places(Index element);

  /// Rows of candidates, valid until the next call.
  [[nodiscard]] std::vector<Row*> rows(circuit::Solver& solver,
                                       std::span<const belief::Candidate> candidates,
                                       const Progress& progress = {});
  /// Adds to the rows of the same candidates what lifting and bridging show.
  void add_lift(circuit::Solver& solver, std::span<const belief::Candidate> candidates,
                std::span<Row* const> rows, Index element);
  void add_bridge(circuit::Solver& solver, std::span<const belief::Candidate> candidates,
                  std::span<Row* const> rows, Index element);

  /// What a number stands for: volts and ohms in steps finer than any instrument needs.
  [[nodiscard]] const circuit::Thevenin& port(std::uint32_t number) const { return ports_[number]; }
  /// Code of a port for an instrument: equal codes mean distributions that are equal for planning.
  [[nodiscard]] std::int32_t code(std::size_t instrument, std::uint32_t port);
  /// Probability of each outcome, misreadings included, to 1/256.
  [[nodiscard]] const OutcomeTable::Distribution& distribution(std::size_t instrument,
                                                               std::int32_t code) const {
    return readers_[instrument].distributions[static_cast<std::size_t>(code)];
  }
  [[nodiscard]] double entropy_nat(std::size_t instrument, std::int32_t code) const {
    return readers_[instrument].entropies_nat[static_cast<std::size_t>(code)];
  }
  /// Code of a mixture of two codes, so many `share_steps` of the first one.
  [[nodiscard]] std::int32_t mixed(std::size_t instrument, std::int32_t a, std::int32_t b,
                                   std::int32_t steps);
  static constexpr std::int32_t share_steps = 32;
  [[nodiscard]] const OutcomeTable& table(std::size_t instrument) const {
    return readers_[instrument].table;
  }

 private:
  struct Reader {
    explicit Reader(OutcomeTable own) : table(std::move(own)) {}

    OutcomeTable table;
    std::vector<std::int32_t> by_port;
    std::vector<std::int32_t> by_raw;
    std::map<std::vector<int>, std::int32_t> classes;
    std::map<std::array<std::int32_t, 3>, std::int32_t> mixtures;
    std::vector<OutcomeTable::Distribution> distributions;
    std::vector<double> entropies_nat;  ///< of the distributions

    void add(const OutcomeTable::Distribution& distribution) {
      distributions.push_back(distribution);
      entropies_nat.push_back(OutcomeTable::entropy_nat(distribution));
    }
  };

  void fill(circuit::Solver& solver, const belief::Candidate& candidate, Row& row);
  void find_spreads(circuit::Solver& solver);
  void make_readers();
  std::uint32_t number(const circuit::Thevenin& port);
  void begin(circuit::Solver& solver, const belief::Candidate& candidate,
             std::span<const circuit::Override> more);

  const belief::FaultSpace* space_;
  const readings::InstrumentSet* set_;
  std::vector<vehicle::ControlState> states_;
  bool can_isolate_ = false;
  std::vector<Place> places_;
  std::map<Index, std::vector<Place>> lift_places_;
  std::map<std::vector<std::int32_t>, std::unique_ptr<Row>> rows_;
  std::uint64_t clock_ = 0;
  std::unordered_map<std::uint64_t, std::uint32_t> numbers_;
  std::vector<circuit::Thevenin> ports_;
  std::vector<Reader> readers_;
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
  std::vector<double> volt_;
  std::vector<double> ohm_;
  std::vector<double> element_ohm_;
  std::vector<double> transfer_;
  std::vector<double> spread_;  ///< by place
};

}  // namespace faultloom::advice
