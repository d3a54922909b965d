#pragma once

#include <faultloom/circuit/solver.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <initializer_list>
#include <string>
#include <vector>

/// Builds vehicles of a handful of elements, for which hand calculations exist.
namespace faultloom::rig {

using vehicle::Index;

/// Parts of conditions.
[[nodiscard]] vehicle::Condition control_in(Index control, std::initializer_list<Index> positions);
[[nodiscard]] vehicle::Condition atom_true(Index atom);
[[nodiscard]] vehicle::Condition negated(vehicle::Condition condition);
[[nodiscard]] vehicle::Condition all_of(std::initializer_list<vehicle::Condition> conditions);
[[nodiscard]] vehicle::Condition any_of(std::initializer_list<vehicle::Condition> conditions);

/// Every node leaks through 1e12 ohm, so that hand calculations may forget about it; node "0" is the datum.
class Rig {
 public:
  Rig();

  /// The terminal of that name, made on first use.
  Index node(const std::string& name);
  Index resistor(const std::string& a, const std::string& b, double ohm);
  Index source(const std::string& a, const std::string& b, double emf_volt, double ohm);
  Index contact(const std::string& a, const std::string& b, double ohm,
                vehicle::Condition closed_when);
  Index diode(const std::string& anode, const std::string& cathode, double forward_volt,
              double ohm);
  /// Two positions: 0 at rest, 1.
  Index control(const std::string& id, int order);
  /// V(a) - V(b) with hysteresis.
  Index volts(const std::string& a, const std::string& b, double rises, double falls);
  Index amps(Index element, double rises, double falls, bool stays = false);
  /// A mode that sets one member of one element's change.
  template <typename Member, typename Value>
  Index mode(Index element, Member vehicle::Change::*member, Value value) {
    vehicle::Change change;
    change.element = element;
    change.*member = value;
    return mode(change);
  }

  [[nodiscard]] const vehicle::Vehicle& vehicle() const { return vehicle_; }
  [[nodiscard]] vehicle::Vehicle& vehicle() { return vehicle_; }

 private:
  Index mode(const vehicle::Change& change);
  Index add(vehicle::Element element, const std::string& a, const std::string& b);

  vehicle::Vehicle vehicle_;
};

/// A finished rig and its solver.
struct Running {
  explicit Running(const Rig& rig) : vehicle(rig.vehicle()), circuit(vehicle), solver(circuit) {
    vehicle.index_names();
  }
  Running(const Running&) = delete;
  Running& operator=(const Running&) = delete;

  /// Puts these modes in and enters the state.
  const circuit::Settled& enter(const vehicle::ControlState& state,
                                const std::vector<Index>& modes = {},
                                const std::vector<Index>& lifted = {});
  [[nodiscard]] double volt(const std::string& node) { return solver.volt(vehicle.terminal(node)); }
  /// Whether the rule wants an element, a contact or diode, closed.
  [[nodiscard]] bool closed(const circuit::Settled& settled, Index element) const {
    return settled.closed.test(static_cast<std::size_t>(circuit.contact_of(element)));
  }

  vehicle::Vehicle vehicle;
  circuit::Circuit circuit;
  circuit::Solver solver;
  circuit::Overrides overrides;
};

}  // namespace faultloom::rig
