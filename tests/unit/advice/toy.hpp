#pragma once

#include <faultloom/advice/splitter.hpp>
#include <faultloom/advice/testability.hpp>
#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/instruments_reader.hpp>
#include <faultloom/documents/rates_reader.hpp>
#include <faultloom/rates/rates.hpp>

#include <string>
#include <utility>
#include <vector>

/// Small circuits to tell the faults of, and what it takes to do so.
namespace faultloom::advice {

inline std::size_t at(Index i) { return static_cast<std::size_t>(i); }

inline readings::InstrumentSet shop() {
  return documents::read_instruments(documents::embedded_document("instruments"));
}

/// 24 V pack between P and N (the datum); parts are added between terminals, each can go open.
struct Toy {
  vehicle::Vehicle v;

  Toy() {
    v.nominal_volt = 24;
    v.datum = terminal("N");
    const auto pack = part("B1", "P", "N", 0.05);
    v.elements[at(pack)].type = vehicle::ElementType::source;
    v.elements[at(pack)].emf_volt = 24;
    v.modes.clear();
    v.components[0].modes.clear();
    v.isolation.lifted_elements = {pack};
  }
  Index terminal(const std::string& name) {
    for (std::size_t t = 0; t < v.terminals.size(); ++t)
      if (v.terminals[t].name == name) return static_cast<Index>(t);
    v.terminals.push_back({.name = name, .leakage_ohm = 1e8});
    return static_cast<Index>(v.terminals.size() - 1);
  }
  Index part(const std::string& id, const std::string& a, const std::string& b, double ohm) {
    const auto component = static_cast<Index>(v.components.size());
    const auto element = static_cast<Index>(v.elements.size());
    vehicle::Element e;
    e.name = id;
    e.a = terminal(a);
    e.b = terminal(b);
    e.ohm = ohm;
    e.components = {component};
    v.elements.push_back(e);
    vehicle::Component c;
    c.id = id;
    c.elements = {element};
    c.terminals = {e.a, e.b};
    c.modes = {static_cast<Index>(v.modes.size())};
    for (const auto t : c.terminals)
      if (v.terminals[at(t)].component == vehicle::none) v.terminals[at(t)].component = component;
    v.components.push_back(c);
    vehicle::Mode mode;
    mode.id = "open";
    mode.component = component;
    vehicle::Change change;
    change.element = element;
    change.open = true;
    mode.changes = {change};
    v.modes.push_back(mode);
    return element;
  }
  void make_wire(Index element, bool power) {
    const auto component = v.elements[at(element)].components.front();
    v.components[at(component)].type = vehicle::Component::Type::wire;
    vehicle::Wire wire;
    wire.component = component;
    wire.element = element;
    wire.power = power;
    v.wires.push_back(wire);
  }
  void hide(const std::string& name) { v.terminals[at(terminal(name))].reachable = false; }
};

struct Running {
  explicit Running(vehicle::Vehicle from)
      : v(std::move(from)), circuit(v), space(circuit), solver(circuit), set(shop()) {
    v.index_names();
  }
  Running(const Running&) = delete;
  Running& operator=(const Running&) = delete;

  vehicle::Vehicle v;
  circuit::Circuit circuit;
  belief::FaultSpace space;
  circuit::Solver solver;
  readings::InstrumentSet set;
};

/// Prior by fault.
inline std::vector<double> priors(const Running& r) {
  const auto rates = documents::read_rates(documents::embedded_document("rates"));
  const auto modes = rates::mode_priors(r.v, rates, {});
  std::vector<double> weights(r.space.faults().size());
  for (std::size_t m = 0; m < modes.size(); ++m)
    for (const auto& cell : r.space.cells_of(static_cast<Index>(m)))
      weights[at(cell.fault)] += modes[m] * cell.share;
  return weights;
}

}  // namespace faultloom::advice
