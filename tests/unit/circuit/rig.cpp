#include "unit/circuit/rig.hpp"

#include <utility>

namespace faultloom::rig {
namespace {

using vehicle::Condition;
using Op = Condition::Op;

Condition joined(Op::Type type, std::initializer_list<Condition> conditions) {
  Condition result;
  for (const auto& condition : conditions)
    result.ops.insert(result.ops.end(), condition.ops.begin(), condition.ops.end());
  result.ops.push_back({.type = type, .count = static_cast<int>(conditions.size())});
  return result;
}

}  // namespace

Condition control_in(Index control, std::initializer_list<Index> positions) {
  Op op{.type = Op::Type::control, .index = control};
  for (const auto p : positions) op.mask |= std::uint64_t{1} << static_cast<unsigned>(p);
  return {{op}};
}

Condition atom_true(Index atom) { return {{{.type = Op::Type::atom, .index = atom}}}; }

Condition negated(Condition condition) {
  condition.ops.push_back({.type = Op::Type::negate});
  return condition;
}

Condition all_of(std::initializer_list<Condition> conditions) {
  return joined(Op::Type::all, conditions);
}
Condition any_of(std::initializer_list<Condition> conditions) {
  return joined(Op::Type::any, conditions);
}

Rig::Rig() { vehicle_.datum = node("0"); }

Index Rig::node(const std::string& name) {
  for (std::size_t t = 0; t < vehicle_.terminals.size(); ++t)
    if (vehicle_.terminals[t].name == name) return static_cast<Index>(t);
  vehicle_.terminals.push_back({.name = name, .leakage_ohm = 1e12});
  return static_cast<Index>(vehicle_.terminals.size() - 1);
}

Index Rig::add(vehicle::Element element, const std::string& a, const std::string& b) {
  element.a = node(a);
  element.b = node(b);
  element.name = a + "-" + b;
  vehicle_.elements.push_back(std::move(element));
  return static_cast<Index>(vehicle_.elements.size() - 1);
}

Index Rig::resistor(const std::string& a, const std::string& b, double ohm) {
  vehicle::Element element;
  element.ohm = ohm;
  return add(std::move(element), a, b);
}

Index Rig::source(const std::string& a, const std::string& b, double emf_volt, double ohm) {
  vehicle::Element element;
  element.type = vehicle::ElementType::source;
  element.ohm = ohm;
  element.emf_volt = emf_volt;
  return add(std::move(element), a, b);
}

Index Rig::contact(const std::string& a, const std::string& b, double ohm, Condition closed_when) {
  vehicle::Element element;
  element.type = vehicle::ElementType::contact;
  element.ohm = ohm;
  for (const auto& op : closed_when.ops)
    if (op.type == Op::Type::atom) element.atoms.push_back(op.index);
  element.closed_when = std::move(closed_when);
  return add(std::move(element), a, b);
}

Index Rig::diode(const std::string& anode, const std::string& cathode, double forward_volt,
                 double ohm) {
  const auto atom = volts(anode, cathode, forward_volt, forward_volt);
  vehicle::Element element;
  element.type = vehicle::ElementType::diode;
  element.ohm = ohm;
  element.emf_volt = forward_volt;
  element.closed_when = atom_true(atom);
  element.atoms = {atom};
  return add(std::move(element), anode, cathode);
}

Index Rig::control(const std::string& id, int order) {
  vehicle_.controls.push_back(
      {.id = id, .title = id, .positions = {"rest", "moved"}, .order = order});
  return static_cast<Index>(vehicle_.controls.size() - 1);
}

Index Rig::volts(const std::string& a, const std::string& b, double rises, double falls) {
  vehicle_.atoms.push_back({.a = node(a), .b = node(b), .rises = rises, .falls = falls});
  return static_cast<Index>(vehicle_.atoms.size() - 1);
}

Index Rig::amps(Index element, double rises, double falls, bool stays) {
  vehicle_.atoms.push_back({.type = vehicle::Atom::Type::amps,
                            .element = element,
                            .rises = rises,
                            .falls = falls,
                            .stays = stays});
  return static_cast<Index>(vehicle_.atoms.size() - 1);
}

Index Rig::mode(const vehicle::Change& change) {
  vehicle::Mode mode;
  mode.id = "m" + std::to_string(vehicle_.modes.size());
  mode.changes = {change};
  vehicle_.modes.push_back(std::move(mode));
  return static_cast<Index>(vehicle_.modes.size() - 1);
}

const circuit::Settled& Running::enter(const vehicle::ControlState& state,
                                       const std::vector<Index>& modes,
                                       const std::vector<Index>& lifted) {
  const auto stage = solver.stage(state, lifted);
  overrides = overrides_of(circuit, modes);
  solver.begin(overrides);
  solver.enter(stage);
  return solver.settle(stage);
}

}  // namespace faultloom::rig
