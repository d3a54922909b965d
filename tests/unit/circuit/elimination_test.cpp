#include "unit/circuit/exact.hpp"
#include "unit/circuit/shipped.hpp"

#include <faultloom/circuit/elimination.hpp>
#include <faultloom/circuit/observability.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <iostream>

namespace faultloom::circuit {
namespace {

using shipped::below;
using shipped::unit;

double log_uniform(double low, double high, std::mt19937_64& random) {
  return std::exp(std::log(low) + unit(random) * (std::log(high) - std::log(low)));
}

struct Random {
  std::int32_t nodes = 0;
  std::vector<Branch> branches;
  BranchValues values;
  std::vector<double> leakage;

  void add(std::int32_t a, std::int32_t b, double siemens, double emf_volt = 0) {
    branches.push_back({a, b, emf_volt != 0});
    values.siemens.push_back(siemens);
    values.ampere.push_back(siemens * emf_volt);
  }
};

/// A tree, so that opening one of its branches cuts the network in two, with some loops and sources added.
Random random_network(std::mt19937_64& random) {
  Random r;
  r.nodes = static_cast<std::int32_t>(20 + below(41, random));
  const auto any = [&] {
    return static_cast<std::int32_t>(below(static_cast<std::size_t>(r.nodes), random));
  };
  for (std::int32_t i = 0; i < r.nodes; ++i) r.leakage.push_back(log_uniform(1e-10, 1e-7, random));
  for (std::int32_t i = 1; i < r.nodes; ++i) {
    const auto earlier = static_cast<std::int32_t>(below(static_cast<std::size_t>(i), random));
    const auto fate = below(10, random);
    r.add(i, earlier, fate == 0 ? 0.0 : fate == 1 ? 1e-10 : log_uniform(1e-10, 1e3, random));
  }
  for (auto loops = below(static_cast<std::size_t>(r.nodes), random); loops > 0; --loops) {
    const auto a = any();
    const auto b = any();
    if (a != b) r.add(a, b, log_uniform(1e-10, 1e3, random));
  }
  for (auto sources = 1 + below(3, random); sources > 0; --sources)
    r.add(any(), -1, log_uniform(1e-6, 1e3, random), 1 + 99 * unit(random));
  return r;
}

double relative_error(double ours, const exact::Real& theirs) {
  if (theirs == 0) return ours == 0 ? 0.0 : INFINITY;
  return static_cast<double>(abs((exact::Real(ours) - theirs) / theirs));
}

// No subtraction happens, so the spread of thirteen decades between conductances does no harm.
TEST(Elimination, KeepsEveryVoltageOfRandomNetworks) {
  std::mt19937_64 random(20260101);
  double worst = 0;
  std::size_t compared = 0;
  for (int trial = 0; trial < 300; ++trial) {
    const auto r = random_network(random);
    const auto ours = solve_network(r.nodes, r.branches, r.values, r.leakage);
    const auto theirs = exact::Network(r.nodes, r.branches, r.values, r.leakage).volts();
    for (std::size_t i = 0; i < ours.size(); ++i) {
      worst = std::max(worst, relative_error(ours[i], theirs[i]));
      ++compared;
    }
    ASSERT_LE(worst, 1e-12) << "trial " << trial;
  }
  std::cout << "300 networks, " << compared << " voltages, worst relative error " << worst << "\n";
}

//       E1        E2             Ek
//  0 --||--R1- 1 --||--R2- 2 ... --||--Rk- k      nothing but leakage ties any node to the datum
TEST(Elimination, KeepsChainsOfSourcesThatFloatOnLeakage) {
  std::mt19937_64 random(7);
  double worst = 0;
  for (int trial = 0; trial < 100; ++trial) {
    Random r;
    r.nodes = static_cast<std::int32_t>(3 + below(20, random));
    double emf_volt = 0;
    for (std::int32_t i = 0; i < r.nodes; ++i)
      r.leakage.push_back(log_uniform(1e-10, 1e-7, random));
    for (std::int32_t i = 1; i < r.nodes; ++i) {
      const double cell = 2 + 10 * unit(random);
      emf_volt += cell;
      r.add(i, i - 1, log_uniform(1e-1, 1e3, random), cell);
    }
    const auto ours = solve_network(r.nodes, r.branches, r.values, r.leakage);
    const auto theirs = exact::Network(r.nodes, r.branches, r.values, r.leakage).volts();
    for (std::size_t i = 0; i < ours.size(); ++i)
      worst =
          std::max(worst, static_cast<double>(abs(exact::Real(ours[i]) - theirs[i])) / emf_volt);
  }
  EXPECT_LE(worst, 1e-12);
  std::cout << "100 floating chains, worst error " << worst << " of the EMF\n";
}

// 12 V behind 1 ohm, 3 ohm to the datum, no leakage worth mentioning: 9 V.
TEST(Elimination, DividesAVoltage) {
  const std::vector<Branch> branches{{0, -1, true}, {0, -1, false}};
  const BranchValues values{{1.0, 1.0 / 3}, {12.0, 0.0}};
  const std::vector<double> leakage{1e-18};
  EXPECT_NEAR(solve_network(1, branches, values, leakage)[0], 9.0, 1e-14);
}

// A branch from a node to itself or from the datum to itself carries nothing.
TEST(Elimination, IgnoresBranchesWithBothEndsOnOneNode) {
  const std::vector<Branch> branches{{0, -1, true}, {0, 0, true}, {-1, -1, true}};
  const BranchValues values{{1.0, 5.0, 5.0}, {12.0, 60.0, 60.0}};
  const std::vector<double> leakage{1.0};
  EXPECT_EQ(solve_network(1, branches, values, leakage)[0], 6.0);
}

struct PortCase {
  std::string vehicle;
  bool isolated;
  bool faulty;
};

class Port : public testing::TestWithParam<PortCase> {};

// Thevenin voltage and resistance of random pairs of terminals, and of the two ends of random elements, whose
// small resistance sits on top of the megohms to the datum.
TEST_P(Port, AgreesWithFiftyDigits) {
  const auto vehicle = shipped::read(GetParam().vehicle);
  const Circuit circuit(vehicle);
  Solver solver(circuit);
  const auto lifted =
      GetParam().isolated ? vehicle.isolation.lifted_elements : std::vector<Index>{};
  const auto stage =
      solver.stage(GetParam().isolated ? vehicle.rest_state() : vehicle.run_state, lifted);
  std::mt19937_64 random(99);
  const auto overrides = GetParam().faulty
                             ? overrides_of(circuit, shipped::random_modes(vehicle, random))
                             : Overrides{};
  solver.begin(overrides);
  solver.enter(stage);
  const auto network = exact::network_of(vehicle);
  const exact::Network exact(static_cast<std::int32_t>(network.leakage_siemens.size()),
                             network.branches, shipped::values_of(solver), network.leakage_siemens);
  const auto volts = exact.volts();
  const auto volt = [&](Index t) {
    const auto node = network.node_of[static_cast<std::size_t>(t)];
    return node < 0 ? exact::Real(0) : volts[static_cast<std::size_t>(node)];
  };
  double worst_ohm = 0;
  double worst_volt = 0;
  for (int pair = 0; pair < 60; ++pair) {
    auto a = static_cast<Index>(below(vehicle.terminals.size(), random));
    auto b = static_cast<Index>(below(vehicle.terminals.size(), random));
    if (pair % 2 == 0) {
      const auto& element = vehicle.elements[below(vehicle.elements.size(), random)];
      a = element.a;
      b = element.b;
    }
    if (a == b) continue;
    const auto port = solver.port(a, b);
    const auto ohm = exact.resistance(network.node_of[static_cast<std::size_t>(a)],
                                      network.node_of[static_cast<std::size_t>(b)]);
    const double ohm_error = relative_error(port.ohm, ohm);
    const double volt_error =
        static_cast<double>(abs(exact::Real(port.volt) - (volt(a) - volt(b))));
    EXPECT_LE(ohm_error, 1e-9) << vehicle.terminals[static_cast<std::size_t>(a)].name << " to "
                               << vehicle.terminals[static_cast<std::size_t>(b)].name << ": "
                               << port.ohm << " ohm";
    EXPECT_LE(volt_error, 1e-12 * vehicle.nominal_volt);
    worst_ohm = std::max(worst_ohm, ohm_error);
    worst_volt = std::max(worst_volt, volt_error);
  }
  std::cout << "60 ports, worst error " << worst_ohm << " of the resistance, " << worst_volt
            << " V\n";
}

INSTANTIATE_TEST_SUITE_P(Vehicles, Port,
                         testing::Values(PortCase{"mulch-tug", false, false},
                                         PortCase{"mulch-tug", false, true},
                                         PortCase{"mulch-tug", true, false},
                                         PortCase{"seedling-hauler", false, false},
                                         PortCase{"seedling-hauler", true, false}));

}  // namespace
}  // namespace faultloom::circuit
