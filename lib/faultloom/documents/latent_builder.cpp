#include <faultloom/documents/latent_builder.hpp>

#include <faultloom/documents/part_builder.hpp>
#include <faultloom/documents/wording.hpp>

#include <fmt/format.h>

#include <map>
#include <utility>

namespace faultloom::documents {
namespace {

using vehicle::Change;
using vehicle::Component;
using vehicle::Element;
using vehicle::Index;
using vehicle::none;
using vehicle::Vehicle;

/// P(a look finds it | wires are swapped): colours or numbers at odds, from memory.
constexpr double swap_seen = 0.3;
constexpr double work_look_minutes = 2;
constexpr double work_false_alarm = 0.05;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

Change opened(Index element) {
  Change change;
  change.element = element;
  change.open = true;
  return change;
}

Change shorted(Index element, double ohm) {
  Change change;
  change.element = element;
  change.shorted_ohm = ohm;
  return change;
}

/// A dormant element from one terminal of a wire to another terminal, lifted with the wire.
Index add_dormant(const vehicle::Wire& wire, Index from, Index to, const std::string& to_name,
                  double ohm, Vehicle& vehicle) {
  Element element;
  element.name = vehicle.components[at(wire.component)].id + ">" + to_name;
  element.a = from;
  element.b = to;
  element.ohm = ohm;
  element.dormant = true;
  element.follows = wire.element;
  element.components = {wire.component};
  vehicle.elements.push_back(std::move(element));
  return static_cast<Index>(vehicle.elements.size()) - 1;
}

void add_mode(vehicle::Mode mode, Vehicle& vehicle) {
  vehicle.components[at(mode.component)].modes.push_back(static_cast<Index>(vehicle.modes.size()));
  vehicle.modes.push_back(std::move(mode));
}

/// Makes the modes of exchanged wires.
class Swapper {
 public:
  explicit Swapper(Vehicle& vehicle) : vehicle_(vehicle), wires_at_(vehicle.terminals.size()) {
    for (std::size_t w = 0; w < vehicle.wires.size(); ++w) {
      const auto& element = vehicle.elements[at(vehicle.wires[w].element)];
      wires_at_[at(element.a)].push_back(w);
      wires_at_[at(element.b)].push_back(w);
    }
    for (std::size_t c = 0; c < vehicle.components.size(); ++c)
      components_.emplace(vehicle.components[c].id, static_cast<Index>(c));
  }

  void add(const SwapUse& use) {
    const auto& at_a = wires_at_[at(use.a)];
    const auto& at_b = wires_at_[at(use.b)];
    if (at_a.size() != 1 || at_b.size() != 1 || at_a.front() == at_b.front()) return;
    // Copies: adding elements and components moves what is in the vehicle.
    const auto wire_a = vehicle_.wires[at_a.front()];
    const auto wire_b = vehicle_.wires[at_b.front()];
    if (use.control_only && (wire_a.power || wire_b.power)) return;
    const auto far_a = far_end(wire_a, use.a);
    const auto far_b = far_end(wire_b, use.b);
    if (far_a == far_b) return;
    vehicle::Mode mode;
    mode.id = fmt::format("swapped_{}_{}", use.a_name, use.b_name);
    mode.title = fmt::format("Wires at {} and {} swapped", use.a_name, use.b_name);
    mode.component = work_component(use);
    mode.seen = swap_seen;
    mode.per_visit = "swapped";
    mode.changes = {opened(wire_a.element), opened(wire_b.element), rerouted(wire_a, far_a, use.b),
                    rerouted(wire_b, far_b, use.a)};
    auto& elements = vehicle_.components[at(mode.component)].elements;
    for (const auto& change : mode.changes) elements.push_back(change.element);
    add_mode(std::move(mode), vehicle_);
  }

 private:
  [[nodiscard]] Index far_end(const vehicle::Wire& wire, Index near) const {
    const auto& element = vehicle_.elements[at(wire.element)];
    return element.a == near ? element.b : element.a;
  }

  Change rerouted(const vehicle::Wire& wire, Index from, Index to) {
    const double ohm = vehicle_.elements[at(wire.element)].ohm;
    return shorted(add_dormant(wire, from, to, vehicle_.terminals[at(to)].name, ohm, vehicle_),
                   ohm);
  }

  Index work_component(const SwapUse& use) {
    const auto next = static_cast<Index>(vehicle_.components.size());
    const auto [found, fresh] = components_.emplace(use.work.id, next);
    if (fresh) vehicle_.components.push_back(use.work);
    return found->second;
  }

  Vehicle& vehicle_;
  std::vector<std::vector<std::size_t>> wires_at_;  ///< by terminal, into Vehicle::wires
  std::map<std::string, Index> components_;
};

/// Adds the modes of one wire that touch `to`.
void add_touch(const PartKind& kind, KindMode::Touches what, Index w, Index to,
               const std::string& to_name, Vehicle& vehicle) {
  const auto wire = vehicle.wires[at(w)];
  const auto from = vehicle.elements[at(wire.element)].b;
  if (to == none || from == to) return;
  PartUse values;
  values.kind = &kind;
  auto element = none;
  for (const auto& source : kind.modes) {
    if (source.touches != what) continue;
    const double ohm = value_of(source.touch_ohm, values);
    if (element == none) element = add_dormant(wire, from, to, to_name, ohm, vehicle);
    auto mode = mode_from(source, wire.component);
    mode.changes = {shorted(element, ohm)};
    add_mode(std::move(mode), vehicle);
  }
  if (element != none) vehicle.components[at(wire.component)].elements.push_back(element);
}

}  // namespace

vehicle::Component earlier_work_at(const vehicle::Component& owner, double minutes,
                                   double price_usd) {
  Component work;
  work.id = owner.id + ":work";
  work.title = "Earlier work at " + inside_sentence(owner.title);
  work.kind = "earlier_work";
  work.type = Component::Type::earlier_work;
  work.zone = owner.zone;
  work.loom = owner.loom;
  work.connector = owner.connector;
  work.environment = owner.environment;
  work.cautions = owner.cautions;
  work.look_minutes = work_look_minutes;
  work.look_false_alarm = work_false_alarm;
  work.repair = {"put_right", minutes, price_usd};
  return work;
}

void add_swaps(const std::vector<SwapUse>& uses, Vehicle& vehicle) {
  Swapper swapper(vehicle);
  for (const auto& use : uses) swapper.add(use);
}

void add_touches(const PartKind& conductor, Vehicle& vehicle) {
  std::map<Index, Index> wire_of;
  for (std::size_t w = 0; w < vehicle.wires.size(); ++w)
    if (!vehicle.wires[w].power) wire_of.emplace(vehicle.wires[w].component, static_cast<Index>(w));
  for (const auto& loom : vehicle.looms) {
    std::vector<Index> wires;
    for (const auto component : loom.wires)
      if (const auto found = wire_of.find(component); found != wire_of.end())
        wires.push_back(found->second);
    for (std::size_t i = 0; i < wires.size(); ++i) {
      add_touch(conductor, KindMode::Touches::negative, wires[i], vehicle.datum, "negative",
                vehicle);
      if (i + 1 == wires.size() && wires.size() <= 2) continue;
      const auto& next = vehicle.wires[at(wires[(i + 1) % wires.size()])];
      add_touch(conductor, KindMode::Touches::neighbour, wires[i],
                vehicle.elements[at(next.element)].b, vehicle.components[at(next.component)].id,
                vehicle);
    }
  }
}

}  // namespace faultloom::documents
