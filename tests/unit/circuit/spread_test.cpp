#include "unit/circuit/shipped.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace faultloom::circuit {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// The overrides with one element's own resistance multiplied, what faults added to it left as it is.
Overrides stretched(const Overrides& overrides, const Solver& solver, Index element,
                    double factor) {
  const double healthy_ohm = 1 / solver.circuit().healthy().siemens[at(element)];
  Override item;
  item.element = element;
  item.siemens = 1 / (1 / solver.branch(element).first + healthy_ohm * (factor - 1));
  auto result = overrides;
  const auto place = std::lower_bound(result.begin(), result.end(), element,
                                      [](const Override& o, Index e) { return o.element < e; });
  if (place != result.end() && place->element == element) {
    place->siemens = item.siemens;
  } else {
    result.insert(place, item);
  }
  return result;
}

// Law of propagation of uncertainty for uncorrelated inputs, its sensitivities as numerical derivatives:
// JCGM 100:2008 (GUM), 5.1.2 equation (10) and 5.1.4 note 2 - from memory.
TEST(SpreadPort, IsWhatEveryPartOnItsOwnComesTo) {
  constexpr double h = 1e-5;
  std::size_t spread = 0;
  for (const auto& name : shipped::ids) {
    const auto vehicle = shipped::read(name);
    const Circuit circuit(vehicle);
    ASSERT_FALSE(circuit.toleranced().empty());
    Solver solver(circuit);
    const auto stage = solver.stage(vehicle.run_state);
    std::mt19937_64 random(8);
    for (int round = 0; round < 6; ++round) {
      const auto overrides =
          round == 0 ? Overrides{} : overrides_of(circuit, shipped::random_modes(vehicle, random));
      for (int pair = 0; pair < 20; ++pair) {
        const auto a = static_cast<Index>(shipped::below(vehicle.terminals.size(), random));
        const auto b = static_cast<Index>(shipped::below(vehicle.terminals.size(), random));
        if (a == b) continue;
        solver.begin(overrides);
        solver.enter(stage);
        const auto port = solver.spread_port(a, b);
        const auto plain = solver.port(a, b);
        EXPECT_EQ(port.volt, plain.volt);
        EXPECT_EQ(port.ohm, plain.ohm);
        double volt_square = 0;
        double ohm_square = 0;
        for (const auto& item : circuit.toleranced()) {
          solver.begin(overrides);
          solver.enter(stage);
          const double siemens = solver.branch(item.element).first;
          if (siemens == 0 || siemens > circuit.healthy().siemens[at(item.element)]) continue;
          const auto more = stretched(overrides, solver, item.element, 1 + h);
          const auto less = stretched(overrides, solver, item.element, 1 - h);
          solver.begin(more);
          solver.enter(stage);
          const auto high = solver.port(a, b);
          solver.begin(less);
          solver.enter(stage);
          const auto low = solver.port(a, b);
          volt_square += std::pow(item.sigma * (high.volt - low.volt) / (2 * h), 2);
          ohm_square += std::pow(item.sigma * (high.ohm - low.ohm) / (2 * h), 2);
        }
        EXPECT_NEAR(port.volt_sigma, std::sqrt(volt_square), 1e-4 * port.volt_sigma + 1e-7)
            << vehicle.terminals[at(a)].name << " to " << vehicle.terminals[at(b)].name;
        EXPECT_NEAR(port.ohm_sigma, std::sqrt(ohm_square),
                    1e-4 * port.ohm_sigma + 1e-7 + 1e-9 * port.ohm);
        if (port.volt_sigma > 0.1) ++spread;
      }
    }
  }
  EXPECT_GT(spread, 20U);
}

// The mid point of two resistances in series, 52 V across both: its relative spread is the other one's
// share times the root of the sum of squares of theirs.
TEST(SpreadPort, OfTheMiddleOfAMotorIsThatOfADivider) {
  const auto vehicle = shipped::read("seedling-hauler");
  const Circuit circuit(vehicle);
  Solver solver(circuit);
  solver.enter(solver.stage(vehicle.run_state));
  const auto of = [&](const std::string& name) {
    const auto found = std::find_if(vehicle.elements.begin(), vehicle.elements.end(),
                                    [&](const auto& e) { return e.name == name; });
    return static_cast<Index>(found - vehicle.elements.begin());
  };
  const auto& field = vehicle.elements[at(of("M1.field"))];
  const auto& armature = vehicle.elements[at(of("M1.armature"))];
  const auto port = solver.spread_port(field.a, field.b);
  const double share = armature.ohm / (armature.ohm + field.ohm);
  const double relative = share * std::hypot(field.tolerance / 2, armature.tolerance / 2);
  EXPECT_GT(relative, 0.1);
  // What lies between the pack and the motor takes a few per cent of the current.
  EXPECT_NEAR(port.volt_sigma / port.volt, relative, 0.1 * relative);
}

}  // namespace
}  // namespace faultloom::circuit
