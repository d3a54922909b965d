#include <faultloom/circuit/observability.hpp>

#include "ngspice/naive_vehicle.hpp"
#include "ngspice/spice.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <iostream>
#include <random>

/// Relays wired at random, most of which never come to rest: what the shipped vehicles don't do.
namespace faultloom::witness {
namespace {

using Op = vehicle::Condition::Op;

constexpr Index relays = 5;
constexpr Index controls = 3;

//   12 V --[0.1]-- plus --contact k-- coil k --[100]-- 0        a relay is up from 8 V and down at 4 V
//                            coil k --[150]-- coil k+1          neighbours hold each other in between
// Contact k closes by some control and two relays, each upright or negated.
vehicle::Vehicle random_relays(std::mt19937_64& random) {
  vehicle::Vehicle v;
  v.id = "relays";
  v.datum = 0;
  const auto terminal = [&](std::string name) {
    v.terminals.push_back({.name = std::move(name), .leakage_ohm = 1e8});
    return static_cast<Index>(v.terminals.size() - 1);
  };
  const auto element = [&](std::string name, vehicle::ElementType type, Index a, Index b,
                           double ohm) {
    vehicle::Element e;
    e.name = std::move(name);
    e.type = type;
    e.a = a;
    e.b = b;
    e.ohm = ohm;
    v.elements.push_back(std::move(e));
  };
  terminal("0");
  const auto plus = terminal("plus");
  element("pack", vehicle::ElementType::source, plus, v.datum, 0.1);
  v.elements.back().emf_volt = 12;
  for (Index c = 0; c < controls; ++c)
    v.controls.push_back(
        {.id = fmt::format("c{}", c), .title = "", .positions = {"off", "on"}, .order = c});
  for (Index k = 0; k < relays; ++k) {
    const auto coil = terminal(fmt::format("coil{}", k));
    element(fmt::format("winding{}", k), vehicle::ElementType::resistor, coil, v.datum, 100);
    if (k > 0)
      element(fmt::format("bridge{}", k), vehicle::ElementType::resistor, coil - 1, coil, 150);
    v.atoms.push_back({.a = coil, .b = v.datum, .rises = 8, .falls = 4});
    element(fmt::format("contact{}", k), vehicle::ElementType::contact, plus, coil, 0.1);
    auto& ops = v.elements.back().closed_when.ops;
    ops.push_back(
        {.type = Op::Type::control, .index = static_cast<Index>(random() % controls), .mask = 2});
    for (int operand = 0; operand < 2; ++operand) {
      ops.push_back({.type = Op::Type::atom, .index = static_cast<Index>(random() % relays)});
      if (random() % 2 == 0) ops.push_back({.type = Op::Type::negate});
    }
    ops.push_back({.type = random() % 2 == 0 ? Op::Type::any : Op::Type::all, .count = 2});
    ops.push_back({.type = random() % 4 == 0 ? Op::Type::any : Op::Type::all, .count = 2});
  }
  return v;
}

TEST(RelayLogic, RestsAndChattersAsASecondImplementationSays) {
  std::mt19937_64 random(5);
  std::size_t states = 0;
  std::size_t chattering = 0;
  for (int trial = 0; trial < 100; ++trial) {
    const auto v = random_relays(random);
    const circuit::Circuit circuit(v);
    circuit::Solver solver(circuit);
    Spice spice(circuit);
    NaiveVehicle naive(v, with_faults(v, {}),
                       [&](const auto& parts) { return spice.volts(parts); });
    std::vector<double> ours(v.terminals.size());
    for (const auto& state : circuit::control_combinations(v)) {
      const auto stage = solver.stage(state);
      solver.enter(stage);
      solver.volts(ours);
      const auto& settled = solver.settle(stage);
      const auto& rest = naive.settle(state);
      ASSERT_EQ(settled.chatters, rest.chatters) << "trial " << trial;
      for (std::size_t c = 0; c < circuit.contacts().size(); ++c) {
        const auto e = static_cast<std::size_t>(circuit.contacts()[c]);
        ASSERT_EQ(settled.closed.test(c), rest.closed[e]) << "trial " << trial << " contact " << c;
        ASSERT_EQ(settled.chattering.test(c), rest.chattering[e]) << "trial " << trial;
      }
      const auto& theirs = naive.volts(rest);
      for (std::size_t t = 0; t < ours.size(); ++t) EXPECT_NEAR(ours[t], theirs[t], 1e-6);
      ++states;
      chattering += rest.chatters ? 1U : 0U;
    }
  }
  EXPECT_GT(chattering, 50U);
  EXPECT_LT(chattering, states - 50);
  std::cout << fmt::format("{} states, {} of them chatter\n", states, chattering);
}

}  // namespace
}  // namespace faultloom::witness
