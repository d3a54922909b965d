#include "ngspice/dense.hpp"
#include "ngspice/naive_vehicle.hpp"
#include "ngspice/spice.hpp"

#include <faultloom/circuit/observability.hpp>
#include <faultloom/documents/vehicle_reader.hpp>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <fstream>
#include <iostream>
#include <random>
#include <span>
#include <sstream>

/// Every state of every shipped vehicle: no fault and each single fault, earlier work and setting left wrong, in every combination of control
/// positions, against ngspice and a second implementation of the contacts' rules. Nothing of that is
/// sampled; of the pairs of faults, far too many, some are tried too.
namespace faultloom::witness {
namespace {

vehicle::Vehicle shipped(const std::string& id) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/vehicles/" + id + ".json");
  std::stringstream text;
  text << file.rdbuf();
  return documents::read_vehicle(text.str(), documents::default_kinds());
}

/// Counts that the test prints.
struct Tally {
  std::size_t states = 0;
  std::size_t chattering = 0;
  std::size_t volts = 0;
  double worst_relative = 0;      ///< of differences above 1 nV
  double worst_run_relative = 0;  ///< against extended precision, of differences above 1 pV
};

class EveryState {
 public:
  explicit EveryState(const std::string& id)
      : vehicle_(shipped(id)),
        circuit_(vehicle_),
        solver_(circuit_),
        spice_(circuit_),
        combinations_(circuit::control_combinations(vehicle_)),
        unmoved_(vehicle_.controls.size(), vehicle::none) {
    for (const auto& state : combinations_) stages_.push_back(solver_.stage(state));
  }

  /// No fault and every single fault.
  void singles() {
    const auto begin = Clock::now();
    std::vector<Situation> done;
    std::vector<circuit::Overrides> done_overrides;
    for (Index mode = vehicle::none; mode < static_cast<Index>(vehicle_.modes.size()); ++mode) {
      const auto modes = mode == vehicle::none ? std::vector<Index>{} : std::vector<Index>{mode};
      const Situation situation{with_faults(vehicle_, modes), truly(vehicle_, modes, unmoved_)};
      const auto overrides = overrides_of(circuit_, modes);
      // Modes that make the same elements and settings out of these are one network with two names.
      const auto known = std::find(done.begin(), done.end(), situation);
      if (known != done.end()) {
        EXPECT_EQ(overrides, done_overrides[static_cast<std::size_t>(known - done.begin())])
            << mode;
        continue;
      }
      done.push_back(situation);
      done_overrides.push_back(overrides);
      compare(modes, situation.elements, overrides);
      if (testing::Test::HasFailure()) return;
    }
    EXPECT_EQ(tally_.states, done.size() * combinations_.size());
    std::cout << fmt::format(
        "{}: {} modes, {} distinct networks and settings, {} control combinations\n", vehicle_.id,
        vehicle_.modes.size(), done.size(), combinations_.size());
    print(begin);
  }

  /// Random pairs of faults that don't share an element.
  void pairs(int count) {
    const auto begin = Clock::now();
    std::mt19937_64 random(1);
    for (int done = 0; done < count && !testing::Test::HasFailure();) {
      const std::vector<Index> modes{static_cast<Index>(random() % vehicle_.modes.size()),
                                     static_cast<Index>(random() % vehicle_.modes.size())};
      if (!independent(vehicle_, modes)) continue;
      compare(modes, with_faults(vehicle_, modes), overrides_of(circuit_, modes));
      ++done;
    }
    std::cout << fmt::format("{}: {} pairs of faults\n", vehicle_.id, count);
    print(begin);
  }

 private:
  using Clock = std::chrono::steady_clock;

  /// What a mode makes of the vehicle.
  struct Situation {
    std::vector<Faulty> elements;
    vehicle::ControlState left;  ///< position of controls left wrong, none for others

    friend bool operator==(const Situation&, const Situation&) = default;
  };

  void print(Clock::time_point begin) const {
    const std::chrono::duration<double> seconds = Clock::now() - begin;
    std::cout << fmt::format(
        "  {} states ({} chatter), {} voltages compared, {} operating points by ngspice, worst "
        "relative error {:.2g}\n"
        "  run state against extended precision: worst relative error {:.2g}; {:.1f} s\n",
        tally_.states, tally_.chattering, tally_.volts, spice_.runs(), tally_.worst_relative,
        tally_.worst_run_relative, seconds.count());
  }

  void compare(std::span<const Index> modes, std::vector<Faulty> elements,
               const circuit::Overrides& overrides) {
    NaiveVehicle naive(vehicle_, std::move(elements),
                       [&](const auto& parts) { return spice_.volts(parts); });
    solver_.begin(overrides, circuit::settings_of(vehicle_, modes));
    std::vector<double> ours(vehicle_.terminals.size());
    for (std::size_t s = 0; s < combinations_.size(); ++s) {
      const auto state = truly(vehicle_, modes, combinations_[s]);
      const auto& rest = naive.settle(state);
      solver_.enter(stages_[s]);
      solver_.volts(ours);
      const auto where = [&] { return name_of(modes) + fmt::format("in combination {}", s); };
      ASSERT_EQ(difference(rest, solver_.settle(stages_[s])), "") << where();
      ++tally_.states;
      if (rest.chatters) ++tally_.chattering;
      compare_volts(naive, rest, ours, where);
      if (state == vehicle_.run_state)
        compare_run_state(dense_volts(vehicle_, naive.parts(rest.closed)), ours, where);
      if (testing::Test::HasFailure()) return;
    }
  }

  std::string name_of(std::span<const Index> modes) const {
    std::string text;
    for (const auto mode : modes) text += vehicle::mode_name(vehicle_, mode) + " ";
    return text.empty() ? "no fault " : text;
  }

  /// What differs, "" if nothing does.
  std::string difference(const Rest& rest, const circuit::Settled& settled) const {
    std::string text = rest.chatters == settled.chatters ? "" : "one of the two chatters; ";
    for (std::size_t c = 0; c < circuit_.contacts().size(); ++c) {
      const auto element = static_cast<std::size_t>(circuit_.contacts()[c]);
      const auto& name = vehicle_.elements[element].name;
      if (rest.closed[element] != settled.closed.test(c))
        text += fmt::format("{} is {}, expected the opposite; ", name,
                            settled.closed.test(c) ? "closed" : "open");
      if (rest.chattering[element] != settled.chattering.test(c))
        text += fmt::format("{} chatters or not; ", name);
    }
    return text;
  }

  template <typename Where>
  void compare_volts(NaiveVehicle& naive, const Rest& rest, const std::vector<double>& ours,
                     const Where& where) {
    tally_.volts += ours.size();
    const auto& theirs = naive.volts(rest);
    for (std::size_t t = 0; t < ours.size(); ++t) {
      const double error = std::abs(ours[t] - theirs[t]);
      EXPECT_LE(error, std::max(1e-6 * std::abs(theirs[t]), 1e-6))
          << where() << ", " << vehicle_.terminals[t].name << ": " << ours[t] << " V, ngspice "
          << theirs[t] << " V";
      if (error > 1e-9)
        tally_.worst_relative = std::max(tally_.worst_relative, error / std::abs(theirs[t]));
    }
  }

  /// A second witness where most is switched on, and a sharper one: what ngspice allows for is its own error.
  template <typename Where>
  void compare_run_state(const std::vector<double>& exact, const std::vector<double>& ours,
                         const Where& where) {
    for (std::size_t t = 0; t < ours.size(); ++t) {
      const double error = std::abs(ours[t] - exact[t]);
      EXPECT_LE(error, std::max(1e-9 * std::abs(exact[t]), 1e-9))
          << where() << ", " << vehicle_.terminals[t].name;
      if (error > 1e-12)
        tally_.worst_run_relative = std::max(tally_.worst_run_relative, error / std::abs(exact[t]));
    }
  }

  vehicle::Vehicle vehicle_;
  circuit::Circuit circuit_;
  circuit::Solver solver_;
  Spice spice_;
  std::vector<vehicle::ControlState> combinations_;
  std::vector<circuit::Stage> stages_;
  const vehicle::ControlState unmoved_;
  Tally tally_;
};

TEST(EveryState, SeedlingHauler) { EveryState("seedling-hauler").singles(); }
TEST(EveryState, OrchidRunner) { EveryState("orchid-runner").singles(); }
TEST(EveryState, MulchTug) { EveryState("mulch-tug").singles(); }
TEST(PairsOfFaults, SeedlingHauler) { EveryState("seedling-hauler").pairs(60); }
TEST(PairsOfFaults, OrchidRunner) { EveryState("orchid-runner").pairs(60); }
TEST(PairsOfFaults, MulchTug) { EveryState("mulch-tug").pairs(60); }

}  // namespace
}  // namespace faultloom::witness
