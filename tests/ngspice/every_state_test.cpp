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
#include <map>
#include <sstream>

/// Every state of every shipped vehicle: no fault and each single fault, in every combination of control
/// positions, against ngspice and a second implementation of the contacts' rules. Nothing is sampled.
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
  std::size_t dense_states = 0;
  std::size_t dense_networks = 0;
  double worst_relative = 0;  ///< of differences above 1 nV
  double worst_dense_relative = 0;
  double worst_run_relative = 0;
};

/// The error in units of what is allowed: 1e-6 relative or 1 uV.
double error_of(double ours, double theirs) { return std::abs(ours - theirs) / std::max(1e-6 * std::abs(theirs), 1e-6); }

double worst_error(const std::vector<double>& ours, const std::vector<double>& theirs) {
  double worst = 0;
  for (std::size_t t = 0; t < ours.size(); ++t) worst = std::max(worst, error_of(ours[t], theirs[t]));
  return worst;
}

class EveryState {
 public:
  explicit EveryState(const std::string& id)
      : vehicle_(shipped(id)),
        circuit_(vehicle_),
        solver_(circuit_),
        spice_(circuit_),
        combinations_(circuit::control_combinations(vehicle_)) {
    for (const auto& state : combinations_) stages_.push_back(solver_.stage(state));
  }

  void run(const std::string& id) {
    const auto begin = std::chrono::steady_clock::now();
    std::vector<std::vector<Faulty>> done;
    std::vector<circuit::Overrides> done_overrides;
    for (Index mode = vehicle::none; mode < static_cast<Index>(vehicle_.modes.size()); ++mode) {
      auto elements = with_fault(vehicle_, mode);
      const auto overrides = mode == vehicle::none ? circuit::Overrides{} : overrides_of(circuit_, std::span(&mode, 1));
      // Modes that make the same elements out of these are one network with two names.
      const auto known = std::find(done.begin(), done.end(), elements);
      if (known != done.end()) {
        EXPECT_EQ(overrides, done_overrides[static_cast<std::size_t>(known - done.begin())]) << mode_name(vehicle_, mode);
        continue;
      }
      done.push_back(elements);
      done_overrides.push_back(overrides);
      compare(mode, std::move(elements), overrides);
      if (testing::Test::HasFailure()) break;
    }
    const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - begin;
    std::cout << fmt::format(
        "{}: {} modes, {} distinct networks of elements, {} control combinations\n"
        "{} states ({} chatter), {} voltages compared, {} operating points by ngspice, worst relative error {:.2g}\n"
        "of these {} states ({} networks) needed extended precision, worst relative error {:.2g}\n"
        "in the run state with every fault against extended precision: worst relative error {:.2g}; {:.1f} s\n",
        id, vehicle_.modes.size(), done.size(), combinations_.size(), tally_.states, tally_.chattering, tally_.volts,
        spice_.runs(), tally_.worst_relative, tally_.dense_states, tally_.dense_networks, tally_.worst_dense_relative,
        tally_.worst_run_relative, seconds.count());
    EXPECT_EQ(tally_.states, done.size() * combinations_.size());
  }

 private:
  void compare(Index mode, std::vector<Faulty> elements, const circuit::Overrides& overrides) {
    NaiveVehicle naive(vehicle_, std::move(elements), [&](const auto& parts) { return spice_.volts(parts); });
    solver_.begin(overrides);
    dense_.clear();
    std::vector<double> ours(vehicle_.terminals.size());
    for (std::size_t s = 0; s < combinations_.size(); ++s) {
      const auto& rest = naive.settle(combinations_[s]);
      solver_.enter(stages_[s]);
      solver_.volts(ours);
      const auto where = [&] {
        return fmt::format("{} in combination {}", mode == vehicle::none ? "no fault" : vehicle::mode_name(vehicle_, mode), s);
      };
      ASSERT_EQ(difference(rest, solver_.settle(stages_[s])), "") << where();
      ++tally_.states;
      if (rest.chatters) ++tally_.chattering;
      compare_volts(naive, rest, ours, where);
      if (combinations_[s] == vehicle_.run_state) compare_run_state(dense_volts(vehicle_, naive.parts(rest.closed)), ours, where);
      if (testing::Test::HasFailure()) return;
    }
  }

  /// What differs, "" if nothing does.
  std::string difference(const Rest& rest, const circuit::Settled& settled) const {
    std::string text = rest.chatters == settled.chatters ? "" : "one of the two chatters; ";
    for (std::size_t c = 0; c < circuit_.contacts().size(); ++c) {
      const auto element = static_cast<std::size_t>(circuit_.contacts()[c]);
      const auto& name = vehicle_.elements[element].name;
      if (rest.closed[element] != settled.closed.test(c))
        text += fmt::format("{} is {}, expected the opposite; ", name, settled.closed.test(c) ? "closed" : "open");
      if (rest.chattering[element] != settled.chattering.test(c)) text += fmt::format("{} chatters or not; ", name);
    }
    return text;
  }

  template <typename Where>
  void compare_volts(NaiveVehicle& naive, const Rest& rest, const std::vector<double>& ours, const Where& where) {
    tally_.volts += ours.size();
    const auto* theirs = &naive.volts(rest);
    auto* worst = &tally_.worst_relative;
    if (worst_error(ours, *theirs) > 1) {
      const auto [entry, is_new] = dense_.try_emplace(rest.closed);
      if (is_new) entry->second = dense_volts(vehicle_, naive.parts(rest.closed));
      tally_.dense_networks += is_new ? 1U : 0U;
      ++tally_.dense_states;
      theirs = &entry->second;
      worst = &tally_.worst_dense_relative;
    }
    for (std::size_t t = 0; t < ours.size(); ++t) {
      EXPECT_LE(error_of(ours[t], (*theirs)[t]), 1) << where() << ", " << vehicle_.terminals[t].name << ": " << ours[t]
                                                    << " V, ngspice " << naive.volts(rest)[t] << " V";
      if (std::abs(ours[t] - (*theirs)[t]) > 1e-9)
        *worst = std::max(*worst, std::abs(ours[t] - (*theirs)[t]) / std::abs((*theirs)[t]));
    }
  }

  /// A second witness where most is switched on, and a sharper one: what ngspice allows for is its own error.
  template <typename Where>
  void compare_run_state(const std::vector<double>& exact, const std::vector<double>& ours, const Where& where) {
    for (std::size_t t = 0; t < ours.size(); ++t) {
      const double error = std::abs(ours[t] - exact[t]);
      EXPECT_LE(error, std::max(1e-9 * std::abs(exact[t]), 1e-9)) << where() << ", " << vehicle_.terminals[t].name;
      if (error > 1e-12) tally_.worst_run_relative = std::max(tally_.worst_run_relative, error / std::abs(exact[t]));
    }
  }

  vehicle::Vehicle vehicle_;
  circuit::Circuit circuit_;
  circuit::Solver solver_;
  Spice spice_;
  std::vector<vehicle::ControlState> combinations_;
  std::vector<circuit::Stage> stages_;
  std::map<Flags, std::vector<double>> dense_;  ///< of the present fault
  Tally tally_;
};

TEST(EveryState, SeedlingHauler) { EveryState("seedling-hauler").run("seedling-hauler"); }
TEST(EveryState, OrchidRunner) { EveryState("orchid-runner").run("orchid-runner"); }
TEST(EveryState, MulchTug) { EveryState("mulch-tug").run("mulch-tug"); }

}  // namespace
}  // namespace faultloom::witness
