#include "ngspice/naive_vehicle.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <set>
#include <stdexcept>
#include <utility>

namespace faultloom::witness {
namespace {

using vehicle::ElementType;
using Conducts = Faulty::Conducts;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

bool switches(const vehicle::Element& element) {
  return element.type == ElementType::contact || element.type == ElementType::diode;
}

void apply(const vehicle::Change& change, const vehicle::Element& element, Faulty& faulty) {
  if (change.emf_volt) faulty.emf_volt = *change.emf_volt;
  if (change.ohm) faulty.ohm = *change.ohm;
  if (change.reversed) {
    faulty.emf_volt = -faulty.emf_volt;
    faulty.senses_reversed = element.type == ElementType::diode;
  }
  if (change.shorted_ohm) {
    faulty.ohm = *change.shorted_ohm;
    faulty.emf_volt = 0;
    faulty.conducts = Conducts::always;
  }
  faulty.ohm += change.add_ohm;
  faulty.threshold_factor *= change.threshold_factor;
  if (change.stuck) faulty.conducts = *change.stuck ? Conducts::always : Conducts::never;
  if (change.open) faulty.conducts = Conducts::never;
}

}  // namespace

bool independent(const vehicle::Vehicle& vehicle, std::span<const Index> modes) {
  std::set<Index> changed;
  for (const auto mode : modes)
    for (const auto& change : vehicle.modes[at(mode)].changes)
      if (!changed.insert(change.element).second) return false;
  std::set<Index> left;
  for (const auto mode : modes)
    if (const auto control = vehicle.modes[at(mode)].control;
        control != vehicle::none && !left.insert(control).second)
      return false;
  return true;
}

std::vector<Faulty> with_faults(const vehicle::Vehicle& vehicle, std::span<const Index> modes) {
  if (!independent(vehicle, modes)) throw std::invalid_argument("an element is changed twice");
  std::vector<Faulty> elements;
  for (const auto& element : vehicle.elements) {
    const bool driven = element.type == ElementType::source || element.type == ElementType::diode;
    const auto conducts = element.dormant     ? Conducts::never
                          : switches(element) ? Conducts::by_rule
                                              : Conducts::always;
    elements.push_back({conducts, element.ohm, driven ? element.emf_volt : 0.0, 1, false});
  }
  for (const auto mode : modes)
    for (const auto& change : vehicle.modes[at(mode)].changes)
      apply(change, vehicle.elements[at(change.element)], elements[at(change.element)]);
  return elements;
}

vehicle::ControlState truly(const vehicle::Vehicle& vehicle, std::span<const Index> modes,
                            vehicle::ControlState state) {
  for (const auto mode : modes)
    if (const auto control = vehicle.modes[at(mode)].control; control != vehicle::none)
      state[at(control)] = vehicle.modes[at(mode)].position;
  return state;
}

NaiveVehicle::NaiveVehicle(const vehicle::Vehicle& vehicle, std::vector<Faulty> elements,
                           VoltsOf volts_of)
    : vehicle_(vehicle),
      elements_(std::move(elements)),
      volts_of_(std::move(volts_of)),
      counts_(vehicle.atoms.size(), false),
      governs_(vehicle.atoms.size(), vehicle.elements.size()) {
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    for (const auto atom : vehicle.elements[e].atoms) governs_[at(atom)] = e;
    if (!switches(vehicle.elements[e])) continue;
    for (const auto& op : vehicle.elements[e].closed_when.ops)
      if (op.type == vehicle::Condition::Op::Type::atom) counts_[at(op.index)] = true;
  }
}

std::vector<Part> NaiveVehicle::parts(const Flags& closed) const {
  std::vector<Part> parts;
  for (std::size_t e = 0; e < elements_.size(); ++e)
    parts.push_back(closed[e] ? Part{true, elements_[e].ohm, elements_[e].emf_volt} : Part{});
  return parts;
}

const std::vector<double>& NaiveVehicle::solve(const Flags& closed) {
  const auto found = solved_.find(closed);
  if (found != solved_.end()) return found->second;
  return solved_.emplace(closed, volts_of_(parts(closed))).first->second;
}

const Rest& NaiveVehicle::settle(const vehicle::ControlState& state) {
  const auto found = settled_.find(state);
  if (found != settled_.end()) return found->second;
  std::vector<std::size_t> sequence(vehicle_.controls.size());
  std::iota(sequence.begin(), sequence.end(), std::size_t{0});
  std::stable_sort(sequence.begin(), sequence.end(), [&](std::size_t a, std::size_t b) {
    return vehicle_.controls[a].order < vehicle_.controls[b].order;
  });
  std::reverse(sequence.begin(), sequence.end());
  for (const auto control : sequence) {
    if (state[control] == vehicle_.controls[control].rest) continue;
    auto before = state;
    before[control] = vehicle_.controls[control].rest;
    const auto rest = settle_from(settle(before), state);
    return settled_.emplace(state, rest).first->second;
  }
  const Rest nothing{Flags(elements_.size(), false), Flags(counts_.size(), false), {}, false};
  return settled_.emplace(state, settle_from(nothing, state)).first->second;
}

Rest NaiveVehicle::settle_from(const Rest& before, const vehicle::ControlState& state) {
  // What happens next depends on the contacts and the memory alone: coming back to a pair means a cycle.
  std::vector<std::pair<Flags, Flags>> seen;
  std::pair<Flags, Flags> now{contacts(before.memory, state), before.memory};
  while (std::find(seen.begin(), seen.end(), now) == seen.end()) {
    seen.push_back(now);
    now.second = remember(now.first, now.second);
    now.first = contacts(now.second, state);
    if (now.first == seen.back().first)
      return {now.first, now.second, Flags(elements_.size(), false), false};
  }
  Rest rest{{}, {}, Flags(elements_.size(), false), true};
  auto lowest = now;
  for (auto i = std::find(seen.begin(), seen.end(), now); i != seen.end(); ++i) {
    for (std::size_t e = 0; e < elements_.size(); ++e)
      if (i->first[e] != now.first[e]) rest.chattering[e] = true;
    if (lower(i->first, lowest.first) ||
        (i->first == lowest.first && lower(i->second, lowest.second)))
      lowest = *i;
  }
  rest.closed = lowest.first;
  rest.memory = lowest.second;
  return rest;
}

bool NaiveVehicle::lower(const Flags& a, const Flags& b) const {
  // As binary numbers whose first contact or atom is the lowest digit, in groups of 64 contacts or atoms.
  std::vector<std::size_t> digits;
  const bool of_elements = a.size() == elements_.size();
  for (std::size_t i = 0; i < a.size(); ++i)
    if (!of_elements || switches(vehicle_.elements[i])) digits.push_back(i);
  for (std::size_t group = 0; group < digits.size(); group += 64)
    for (auto d = std::min(group + 64, digits.size()); d-- > group;)
      if (a[digits[d]] != b[digits[d]]) return b[digits[d]];
  return false;
}

Flags NaiveVehicle::contacts(const Flags& memory, const vehicle::ControlState& state) const {
  Flags closed(elements_.size());
  for (std::size_t e = 0; e < elements_.size(); ++e)
    closed[e] = elements_[e].conducts == Conducts::always ||
                (elements_[e].conducts == Conducts::by_rule &&
                 holds(vehicle_.elements[e].closed_when, memory, state));
  return closed;
}

Flags NaiveVehicle::remember(const Flags& closed, const Flags& memory) {
  const auto& volts = solve(closed);
  Flags result = memory;
  for (std::size_t i = 0; i < memory.size(); ++i) {
    if (!counts_[i]) continue;
    const auto& atom = vehicle_.atoms[i];
    const auto* owner = governs_[i] < elements_.size() ? &elements_[governs_[i]] : nullptr;
    const double factor = owner == nullptr ? 1 : owner->threshold_factor;
    double value = 0;
    if (atom.type == vehicle::Atom::Type::volts) {
      value = volts[at(atom.a)] - volts[at(atom.b)];
      if (owner != nullptr && owner->senses_reversed) value = -value;
      if (atom.either_way) value = std::abs(value);
    } else if (closed[at(atom.element)]) {
      const auto& element = vehicle_.elements[at(atom.element)];
      const auto& faulty = elements_[at(atom.element)];
      value =
          std::abs((volts[at(element.a)] - volts[at(element.b)] - faulty.emf_volt) / faulty.ohm);
    }
    result[i] =
        value >= atom.rises * factor || (memory[i] && (atom.stays || value > atom.falls * factor));
  }
  return result;
}

bool NaiveVehicle::holds(const vehicle::Condition& condition, const Flags& memory,
                         const vehicle::ControlState& state) const {
  using Type = vehicle::Condition::Op::Type;
  std::vector<bool> stack;
  for (const auto& op : condition.ops) {
    const bool joins = op.type == Type::all || op.type == Type::any;
    const auto operands = static_cast<std::ptrdiff_t>(joins                     ? op.count
                                                      : op.type == Type::negate ? 1
                                                                                : 0);
    const auto first = stack.end() - operands;
    bool value = false;
    if (op.type == Type::constant) value = op.count != 0;
    if (op.type == Type::control) value = (op.mask >> at(state[at(op.index)]) & 1U) != 0;
    if (op.type == Type::atom) value = memory[at(op.index)];
    if (op.type == Type::all) value = std::find(first, stack.end(), false) == stack.end();
    if (op.type == Type::any) value = std::find(first, stack.end(), true) != stack.end();
    if (op.type == Type::negate) value = !stack.back();
    stack.erase(first, stack.end());
    stack.push_back(value);
  }
  return stack.back();
}

}  // namespace faultloom::witness
