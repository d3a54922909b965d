#pragma once

#include <faultloom/advice/place_ports.hpp>
#include <faultloom/advice/scan.hpp>
#include <map>
#include <set>
#include <unordered_map>

namespace faultloom::advice {

/// Terminals that are logic or sensor signals: those of components that warn of a lamp there, and of
/// others that their wires and connectors lead to, if nothing else is joined there.
[[nodiscard]] std::vector<bool> logic_level_terminals(const vehicle::Vehicle& vehicle);

/// How the controls stand after the last reading or sign of these; at rest if there is none.
[[nodiscard]] Setup setup_after(const vehicle::Vehicle& vehicle,
                                std::span<const readings::Entry> entries);

/// Builds all trials that constraints allow and that tell live candidates apart; equal predictions at a
/// higher cost are dropped.
class TrialFactory {
 public:
  TrialFactory(belief::Belief& belief, PredictionStore& store, const LiveSet& live,
               const RepairCosts& costs, const Constraints& constraints,
               const std::vector<bool>& open_zones);

  [[nodiscard]] std::vector<Trial> make(const Progress& progress);
  [[nodiscard]] std::size_t compared() const noexcept { return compared_; }
  [[nodiscard]] std::string label(const Trial& trial, std::size_t outcome) const;
  [[nodiscard]] const Setup& present() const noexcept { return present_; }

 private:
  /// Situations in which no live candidate shows anything else to an instrument.
  struct Alike {
    std::vector<std::uint16_t> networks;  ///< by candidate
    Setup setup;                          ///< the cheapest of them
    double minutes = 0;
    std::vector<vehicle::ControlState> states;
  };
  /// What an entry did, without what came of it.
  struct Deed {
    int instrument = -1;
    Index red = vehicle::none;
    Index black = vehicle::none;
    bool isolated = false;
    Index lifted = vehicle::none;
    Index bridged = vehicle::none;
    Index sign = vehicle::none;
    Index component = vehicle::none;
    Index wiggled_zone = vehicle::none;
    bool caught = false;  ///< when a sign failed to come
    vehicle::ControlState state;
    friend auto operator<=>(const Deed&, const Deed&) = default;  // NOLINT
  };
  void remember(const readings::Entry& entry);
  void add_readings(const Alike& alike);
  void add_signs(std::size_t situation);
  void add_looks();
  void add_tries();
  void add_try(std::size_t sign, std::size_t situation, Index zone);
  /// A sign that fails to come when something that comes and goes is at work.
  struct Failing {
    std::size_t situation = 0;
    std::size_t sign = 0;
    std::vector<bool>
        shows;           ///< by hypothesis: whether it tells the fault at work from a quiet one
    double weight = 0;   ///< sum of theirs
    double minutes = 0;  ///< to get the controls there
  };
  [[nodiscard]] std::vector<Failing> failing_signs() const;
  void add_catches();
  void add_catches_of(const Failing& failing);
  void add_lifts();
  void add_bridges();
  [[nodiscard]] std::vector<Alike> alike_states() const;
  void offer_places(std::span<const PredictionStore::Place> places, const Alike& alike,
                    std::span<const std::uint32_t* const> ports);
  /// @param pattern  of the ports at place `p`, by candidate; they are not all the same
  void offer(const PredictionStore::Place& place, const Alike& alike, std::size_t pattern,
             std::span<const std::uint32_t* const> ports, std::size_t p);
  [[nodiscard]] bool repeats_terminal(const PredictionStore::Place& place) const;
  /// Prices it; false if it takes too long.
  bool settle(Trial& trial) const;
  [[nodiscard]] bool kept_for(int instrument, double minutes) const;
  void keep(Trial&& trial, const std::vector<std::int32_t>& by_candidate);
  void keep(Trial&& trial, const std::vector<std::int32_t>& by_candidate, std::uint64_t hash);
  void price(Trial& trial) const;
  /// To get the probes there, zones that are closed included.
  [[nodiscard]] double place_minutes(const PredictionStore::Place& place) const;
  void set_codes(Trial& trial, std::span<const std::int32_t> by_candidate) const;
  /// Code of what comes and goes: at work with a chance, else quiet.
  [[nodiscard]] std::int32_t mixed_code(
      Trial& trial, std::int32_t lively, std::int32_t quiet, double shows,
      std::map<std::vector<std::int32_t>, std::int32_t>& known) const;
  [[nodiscard]] Trial sign_trial(std::size_t sign) const;
  /// @param code_of  of the test itself, by candidate
  void offer_caught(Trial&& trial, const Failing& failing, std::span<const std::int32_t> code_of);
  [[nodiscard]] bool allowed(Index zone) const;
  [[nodiscard]] bool reachable(Index terminal) const;
  [[nodiscard]] bool usable(std::size_t instrument, const PredictionStore::Place& place,
                            bool isolated) const;
  [[nodiscard]] bool made(const Step& step, Index lifted_element,
                          std::span<const vehicle::ControlState> states) const;
  [[nodiscard]] Index lifted_end(Index element) const;
  [[nodiscard]] std::vector<Index> heaviest_suspects(std::size_t most) const;

  belief::Belief* belief_;
  PredictionStore* store_;
  const LiveSet* live_;
  const RepairCosts* costs_;
  const Constraints* constraints_;
  const std::vector<bool>* open_zones_;
  Setup present_;
  std::vector<bool> logic_;  ///< by terminal
  std::set<Deed> deeds_;
  std::multiset<Deed> tries_;  ///< those of the last visit
  int visit_ = 0;              ///< number of the last one
  std::vector<PredictionStore::Row*> rows_;
  std::vector<Trial> trials_;
  /// By hash of the predictions: these by candidate, and the trial.
  std::unordered_map<std::uint64_t, std::vector<std::pair<std::vector<std::int32_t>, std::size_t>>>
      known_;
  /// The same of what is caught when a sign fails to come, by hypothesis.
  std::map<std::pair<int, std::vector<std::int32_t>>, std::size_t> known_caught_;
  std::unordered_map<std::size_t, double> shown_;  ///< hash of ports by candidate -> minutes
  PlacePorts at_place_;
  std::vector<std::int32_t> live_codes_;
  std::size_t compared_ = 0;
};

}  // namespace faultloom::advice
