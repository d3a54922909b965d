#include "unit/circuit/shipped.hpp"

#include <faultloom/circuit/elimination.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <iostream>
#include <limits>

/// What must hold in any network and any state, tried in random ones of the shipped vehicles.
namespace faultloom::circuit {
namespace {

using shipped::below;

constexpr int trials = 200;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

class Kirchhoff : public testing::TestWithParam<std::string> {
 protected:
  vehicle::Vehicle vehicle = shipped::read(GetParam());
  Circuit circuit{vehicle};
  Solver solver{circuit};
  std::mt19937_64 random{4711};
};

/// Current out of each node and what rounding the voltages to doubles alone may leave of it [A].
struct Residual {
  std::vector<double> sum;
  std::vector<double> rounding;
  double largest = 0;  ///< branch current

  Residual(const vehicle::Vehicle& vehicle, const BranchValues& values,
           const std::vector<double>& volts)
      : sum(volts.size(), 0), rounding(volts.size(), 0) {
    constexpr double epsilon = std::numeric_limits<double>::epsilon();
    for (std::size_t e = 0; e < values.siemens.size(); ++e) {
      const auto a = at(vehicle.elements[e].a);
      const auto b = at(vehicle.elements[e].b);
      const double ampere = values.siemens[e] * (volts[a] - volts[b]) - values.ampere[e];
      const double unsure = 4 * epsilon *
                            (values.siemens[e] * (std::abs(volts[a]) + std::abs(volts[b])) +
                             std::abs(values.ampere[e]));
      sum[a] += ampere;
      sum[b] -= ampere;
      rounding[a] += unsure;
      rounding[b] += unsure;
      largest = std::max(largest, std::abs(ampere));
    }
    for (std::size_t t = 0; t < volts.size(); ++t)
      sum[t] += volts[t] / vehicle.terminals[t].leakage_ohm;
  }
};

TEST_P(Kirchhoff, NoCurrentIsLostAtAnyNode) {
  double worst = 0;
  double worst_of_allowed = 0;
  for (int trial = 0; trial < trials; ++trial) {
    const auto stage = solver.stage(shipped::random_state(vehicle, random));
    const auto overrides = overrides_of(circuit, shipped::random_modes(vehicle, random));
    solver.begin(overrides);
    solver.enter(stage);
    const Residual residual(vehicle, shipped::values_of(solver), shipped::volts_of(solver));
    for (std::size_t t = 0; t < vehicle.terminals.size(); ++t) {
      if (static_cast<Index>(t) == vehicle.datum) continue;
      // 1e-9 of the largest current. Where next to nothing flows at all, a voltage rounded to a double times the
      // siemens of a thick wire is already more than that, whoever computes it.
      const double allowed = std::max(1e-9 * residual.largest, residual.rounding[t]);
      EXPECT_LE(std::abs(residual.sum[t]), allowed)
          << "trial " << trial << " at " << vehicle.terminals[t].name;
      if (residual.largest > 1e-3)
        worst = std::max(worst, std::abs(residual.sum[t]) / residual.largest);
      if (allowed > 0)
        worst_of_allowed = std::max(worst_of_allowed, std::abs(residual.sum[t]) / allowed);
    }
  }
  std::cout << GetParam() << ": worst residual " << worst
            << " of the largest current (where that is above 1 mA), " << worst_of_allowed
            << " of what is allowed\n";
}

/// The same vehicle with all resistances multiplied, and the currents that contacts watch divided.
vehicle::Vehicle scaled(vehicle::Vehicle vehicle, double factor) {
  for (auto& element : vehicle.elements) element.ohm *= factor;
  for (auto& terminal : vehicle.terminals) terminal.leakage_ohm *= factor;
  for (auto& atom : vehicle.atoms) {
    if (atom.type != vehicle::Atom::Type::amps) continue;
    atom.rises /= factor;
    atom.falls /= factor;
  }
  for (auto& mode : vehicle.modes)
    for (auto& change : mode.changes) {
      change.add_ohm *= factor;
      if (change.ohm) *change.ohm *= factor;
      if (change.shorted_ohm) *change.shorted_ohm *= factor;
    }
  return vehicle;
}

/// The largest relative difference of voltages after scaling, over random states and faults.
double effect_of_scaling(const vehicle::Vehicle& vehicle, double factor, std::mt19937_64& random) {
  const auto other = scaled(vehicle, factor);
  const Circuit circuit(vehicle);
  const Circuit other_circuit(other);
  Solver solver(circuit);
  Solver other_solver(other_circuit);
  double worst = 0;
  for (int trial = 0; trial < trials / 2; ++trial) {
    const auto state = shipped::random_state(vehicle, random);
    const auto modes = shipped::random_modes(vehicle, random);
    const auto stage = solver.stage(state);
    const auto other_stage = other_solver.stage(state);
    const auto overrides = overrides_of(circuit, modes);
    const auto other_overrides = overrides_of(other_circuit, modes);
    solver.begin(overrides);
    other_solver.begin(other_overrides);
    solver.enter(stage);
    other_solver.enter(other_stage);
    EXPECT_EQ(solver.settle(stage).closed, other_solver.settle(other_stage).closed)
        << "trial " << trial;
    const auto volts = shipped::volts_of(solver);
    const auto other_volts = shipped::volts_of(other_solver);
    for (std::size_t t = 0; t < volts.size(); ++t)
      if (volts[t] != other_volts[t])
        worst = std::max(worst, std::abs(volts[t] - other_volts[t]) / vehicle.nominal_volt);
  }
  return worst;
}

TEST_P(Kirchhoff, ScalingAllResistancesLeavesVoltagesAlone) {
  EXPECT_EQ(effect_of_scaling(vehicle, 64, random), 0.0);  // a power of two: not one bit changes
  EXPECT_LE(effect_of_scaling(vehicle, 3.7, random), 1e-12);
}

/// Representable numbers from one to the other.
std::uint64_t steps_between(double a, double b) {
  if (a == b) return 0;
  if ((a < 0) != (b < 0)) return std::numeric_limits<std::uint64_t>::max();
  const auto x = std::bit_cast<std::uint64_t>(a);
  const auto y = std::bit_cast<std::uint64_t>(b);
  return x < y ? y - x : x - y;
}

TEST_P(Kirchhoff, EliminatingAgainOnlyWhatAFaultTouchesChangesNothing) {
  const auto& plan = circuit.plan();
  std::uint64_t worst = 0;
  for (int trial = 0; trial < trials; ++trial) {
    const auto lifted = trial % 4 == 0 ? vehicle.isolation.lifted_elements : std::vector<Index>{};
    const auto stage = solver.stage(shipped::random_state(vehicle, random), lifted);
    const auto overrides = overrides_of(circuit, shipped::random_modes(vehicle, random));
    solver.begin(overrides);
    solver.enter(stage);
    std::vector<double> numeric(plan.numeric_size());
    std::vector<double> by_rank(at(plan.node_count()));
    eliminate_all(plan, shipped::values_of(solver), numeric);
    substitute_all(plan, numeric, by_rank);
    const auto volts = shipped::volts_of(solver);
    for (std::size_t t = 0; t < volts.size(); ++t) {
      const auto rank = circuit.rank_of_terminal(static_cast<Index>(t));
      worst = std::max(worst, steps_between(volts[t], rank < 0 ? 0.0 : by_rank[at(rank)]));
    }
    ASSERT_LE(worst, 4U) << "trial " << trial;
  }
  std::cout << GetParam() << ": worst difference " << worst << " units in the last place\n";
}

/// Everything a stage shows, for comparison bit by bit.
struct Shown {
  Bits closed;
  Bits atoms;
  Bits chattering;
  bool chatters = false;
  std::vector<double> volts;

  friend bool operator==(const Shown&, const Shown&) = default;
};

Shown shown(Solver& solver, Stage stage) {
  solver.enter(stage);
  const auto& settled = solver.settle(stage);
  return {settled.closed, settled.atoms, settled.chattering, settled.chatters,
          shipped::volts_of(solver)};
}

TEST_P(Kirchhoff, SettlingTwiceGivesTheSame) {
  for (int trial = 0; trial < trials; ++trial) {
    const auto stage = solver.stage(shipped::random_state(vehicle, random));
    const auto overrides = overrides_of(circuit, shipped::random_modes(vehicle, random));
    solver.begin(overrides);
    const auto first = shown(solver, stage);
    EXPECT_EQ(shown(solver, stage), first) << "asked again";
    solver.begin(overrides);
    EXPECT_EQ(shown(solver, stage), first) << "settled again";
    Solver fresh(circuit);
    const auto fresh_stage = fresh.stage(solver.positions(stage));
    fresh.begin(overrides);
    EXPECT_EQ(shown(fresh, fresh_stage), first) << "by a solver that knows no other stage";
  }
}

TEST_P(Kirchhoff, TheOrderInWhichStagesAreAskedDoesNotMatter) {
  std::vector<vehicle::ControlState> states;
  for (int i = 0; i < 12; ++i) states.push_back(shipped::random_state(vehicle, random));
  std::vector<Stage> stages;
  for (const auto& state : states) stages.push_back(solver.stage(state));
  Solver backward(circuit);
  std::vector<Stage> backward_stages(states.size());
  for (std::size_t i = states.size(); i-- > 0;) backward_stages[i] = backward.stage(states[i]);
  for (int trial = 0; trial < trials / 4; ++trial) {
    const auto overrides = overrides_of(circuit, shipped::random_modes(vehicle, random));
    solver.begin(overrides);
    std::vector<Shown> expected;
    for (const auto stage : stages) expected.push_back(shown(solver, stage));
    backward.begin(overrides);
    for (std::size_t i = states.size(); i-- > 0;)
      EXPECT_EQ(shown(backward, backward_stages[i]), expected[i])
          << "trial " << trial << " state " << i;
    for (int again = 0; again < 12; ++again) {
      const auto i = below(states.size(), random);
      EXPECT_EQ(shown(solver, stages[i]), expected[i])
          << "trial " << trial << " state " << i << " once more";
    }
  }
}

// A stage registered in the middle of the work doesn't disturb the present candidate.
TEST_P(Kirchhoff, RegisteringAStageKeepsTheCandidate) {
  const auto stage = solver.stage(vehicle.run_state);
  for (int trial = 0; trial < 20; ++trial) {
    const auto overrides = overrides_of(circuit, shipped::random_modes(vehicle, random));
    solver.begin(overrides);
    const auto before = shown(solver, stage);
    const auto another = solver.stage(shipped::random_state(vehicle, random));
    EXPECT_EQ(shown(solver, stage), before);
    Solver fresh(circuit);
    const auto fresh_stage = fresh.stage(solver.positions(another));
    fresh.begin(overrides);
    EXPECT_EQ(shown(solver, another), shown(fresh, fresh_stage));
  }
}

// A lead across an element against the same vehicle with a resistor soldered in there.
TEST_P(Kirchhoff, ALeadIsAResistorBesideTheElement) {
  std::size_t compared = 0;
  while (compared < 12) {
    const auto element = static_cast<Index>(below(vehicle.elements.size(), random));
    const auto& own = vehicle.elements[at(element)];
    if (own.type == vehicle::ElementType::source) continue;
    ++compared;
    auto soldered = vehicle;
    vehicle::Element lead;
    lead.name = "lead";
    lead.a = own.a;
    lead.b = own.b;
    lead.ohm = 1 / lead_siemens;
    soldered.elements.push_back(lead);
    const Circuit other_circuit(soldered);
    Solver other(other_circuit);
    for (int trial = 0; trial < 15; ++trial) {
      const auto state = shipped::random_state(vehicle, random);
      const auto modes = shipped::random_modes(vehicle, random);
      const auto overrides = overrides_of(circuit, modes);
      const auto settings = settings_of(vehicle, modes);
      solver.begin(overrides, settings);
      const auto stage = solver.stage(state, {}, std::span(&element, 1));
      EXPECT_EQ(solver.lead(stage, element), lead_siemens);
      const auto other_overrides = overrides_of(other_circuit, modes);
      other.begin(other_overrides, settings);
      const auto other_stage = other.stage(state);
      EXPECT_EQ(solver.settle(stage).closed, other.settle(other_stage).closed);
      solver.enter(stage);
      other.enter(other_stage);
      const auto volts = shipped::volts_of(solver);
      const auto expected = shipped::volts_of(other);
      for (std::size_t v = 0; v < volts.size(); ++v)
        EXPECT_NEAR(volts[v], expected[v], 1e-9 * std::max(1.0, std::abs(expected[v])))
            << own.name << " at " << vehicle.terminals[v].name;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Vehicles, Kirchhoff, testing::ValuesIn(shipped::ids),
                         [](const auto& instance) {
                           auto name = instance.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

}  // namespace
}  // namespace faultloom::circuit
