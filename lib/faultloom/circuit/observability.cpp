#include <faultloom/circuit/observability.hpp>

#include <algorithm>
#include <cmath>

namespace faultloom::circuit {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// What can be noticed in one state.
struct Picture {
  std::vector<double> volt;
  std::vector<double> ohm;
  std::vector<bool> signs;
  bool chatters = false;
};

void take(Solver& solver, Stage stage, bool with_ohm, Picture& picture) {
  const auto& vehicle = solver.circuit().vehicle();
  picture.volt.resize(vehicle.terminals.size());
  picture.ohm.resize(vehicle.terminals.size());
  solver.enter(stage);
  solver.volts(picture.volt);
  if (with_ohm) solver.resistances(picture.ohm);
  picture.chatters = solver.settle(stage).chatters;
  picture.signs.clear();
  for (const auto& sign : vehicle.signs) picture.signs.push_back(solver.holds(sign.when));
}

bool differs(const vehicle::Vehicle& vehicle, const Picture& a, const Picture& b, bool with_ohm) {
  if (a.chatters != b.chatters || a.signs != b.signs) return true;
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t) {
    if (!vehicle.terminals[t].reachable) continue;
    if (std::abs(a.volt[t] - b.volt[t]) > 1e-3) return true;
    if (with_ohm && std::abs(a.ohm[t] - b.ohm[t]) > 0.01 * a.ohm[t]) return true;
  }
  return false;
}

std::string pointer_to(const vehicle::Vehicle& vehicle, const vehicle::Component& component) {
  using Type = vehicle::Component::Type;
  switch (component.type) {
    case Type::part:
      return "/parts/" + pointer_token(component.id);
    case Type::wire:
      return "/wires/" + pointer_token(component.id);
    case Type::termination:
      return "/wires/" + pointer_token(vehicle.components[at(component.wire)].id);
    case Type::contact:
      return "/connectors/" + pointer_token(component.connector);
    case Type::setting:
      return "/controls/" + pointer_token(component.id);
    case Type::earlier_work:
      return "/parts/" + pointer_token(component.id.substr(0, component.id.find(':')));
  }
  return "";
}

}  // namespace

std::vector<vehicle::ControlState> control_combinations(const vehicle::Vehicle& vehicle) {
  std::vector<vehicle::ControlState> states{vehicle::ControlState{}};
  for (const auto& control : vehicle.controls) {
    std::vector<vehicle::ControlState> longer;
    for (const auto& state : states)
      for (std::size_t p = 0; p < control.positions.size(); ++p) {
        longer.push_back(state);
        longer.back().push_back(static_cast<Index>(p));
      }
    states = std::move(longer);
  }
  return states;
}

std::vector<bool> observable_modes(const Circuit& circuit, const Progress& progress) {
  const auto& vehicle = circuit.vehicle();
  std::vector<bool> shows(vehicle.modes.size(), false);
  for (std::size_t m = 0; m < shows.size(); ++m)
    shows[m] = vehicle.modes[m].seen >
               vehicle.components[at(vehicle.modes[m].component)].look_false_alarm + 0.05;
  Solver solver(circuit);
  const Overrides none_changed;
  Picture healthy;
  Picture faulty;
  auto states = control_combinations(vehicle);
  for (std::size_t s = 0; s <= states.size(); ++s) {
    report(progress, static_cast<double>(s) / static_cast<double>(states.size() + 1));
    const bool isolated = s == states.size();  // ohms count where they can be read
    const auto stage = isolated
                           ? solver.stage(vehicle.rest_state(), vehicle.isolation.lifted_elements)
                           : solver.stage(states[s]);
    solver.begin(none_changed);
    take(solver, stage, isolated, healthy);
    for (std::size_t m = 0; m < shows.size(); ++m) {
      if (shows[m]) continue;
      const auto mode = static_cast<Index>(m);
      const auto overrides = overrides_of(circuit, std::span(&mode, 1));
      const auto settings = settings_of(vehicle, std::span(&mode, 1));
      if (overrides.empty() && settings.empty()) continue;
      solver.begin(overrides, settings);
      take(solver, stage, isolated, faulty);
      shows[m] = differs(vehicle, healthy, faulty, isolated);
    }
  }
  return shows;
}

std::vector<Problem> silent_modes(const Circuit& circuit, const Progress& progress) {
  const auto& vehicle = circuit.vehicle();
  const auto shows = observable_modes(circuit, progress);
  std::vector<Problem> problems;
  for (std::size_t m = 0; m < shows.size(); ++m) {
    // What earlier hands may have left is not the vehicle's design; a lost diode shows in no steady state.
    if (shows[m] || !vehicle.modes[m].per_visit.empty()) continue;
    const auto& component = vehicle.components[at(vehicle.modes[m].component)];
    problems.push_back(
        {Code::silent_mode,
         "Mode '" + vehicle.modes[m].id + "' of '" + component.id + "' (kind '" + component.kind +
             "') changes nothing that can be read or seen; add a probe point or drop the mode",
         pointer_to(vehicle, component)});
  }
  return problems;
}

}  // namespace faultloom::circuit
