#include <faultloom/documents/wire_builder.hpp>

#include <faultloom/documents/part_builder.hpp>
#include <faultloom/vehicle/wire_gauge.hpp>

#include <fmt/format.h>

#include <utility>

namespace faultloom::documents {
namespace {

using vehicle::Component;
using vehicle::Index;
using vehicle::none;
using vehicle::Vehicle;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

const PartKind* series_kind(const KindCatalog& kinds, const std::string& id,
                            const std::string& pointer, std::vector<Problem>& problems) {
  const auto* kind = kinds.find(id);
  if (kind == nullptr) {
    problems.push_back({Code::reference,
                        fmt::format("Wires need the kind '{}', which the part kinds lack", id),
                        pointer});
    return nullptr;
  }
  for (const auto& mode : kind->modes)
    if (mode.earlier_work())
      problems.push_back(
          {Code::value,
           fmt::format("Mode '{}' of kind '{}' is earlier work, which a wire can't have; take "
                       "'cause' away",
                       mode.id, id),
           pointer});
  if (kind->elements.size() == 1 && kind->elements.front().type == KindElement::Type::resistor &&
      kind->terminals.size() == 2)
    return kind;
  problems.push_back(
      {Code::value,
       fmt::format("Kind '{}' must have two terminals and one resistor to be part of a wire", id),
       pointer});
  return nullptr;
}

/// One of the three things in series, with its own share of the element's resistance.
struct Link {
  const PartKind* kind;
  double ohm;
  Index component;
};

Component component_of(const WireUse& use, const PartKind& kind) {
  Component component;
  component.kind = kind.id;
  component.zone = use.zone;
  component.loom = use.loom;
  component.environment = use.environment;
  component.rate_factor = use.rate_factor;
  component.look_minutes = kind.look_minutes;
  component.look_false_alarm = kind.look_false_alarm;
  component.repair = kind.repair;
  component.cautions = kind.cautions;
  return component;
}

Index add_component(Vehicle& vehicle, Component component) {
  vehicle.components.push_back(std::move(component));
  return static_cast<Index>(vehicle.components.size() - 1);
}

Index add_conductor(const WireUse& use, const PartKind& kind, Vehicle& vehicle) {
  auto component = component_of(use, kind);
  component.id = use.id;
  component.title = use.title;
  component.type = Component::Type::wire;
  if (use.repair) component.repair = *use.repair;
  component.cautions.insert(component.cautions.end(), use.cautions.begin(), use.cautions.end());
  return add_component(vehicle, std::move(component));
}

/// A joint is looked at and remade where the part it sits on is, not where the wire runs.
Index add_joint(const WireUse& use, const PartKind& kind, const char* end, Index terminal,
                Index wire, Vehicle& vehicle) {
  auto component = component_of(use, kind);
  component.id = fmt::format("{}:{}", use.id, end);
  component.title =
      fmt::format("{} of {} at {}", kind.title, use.id, vehicle.terminals[at(terminal)].name);
  component.type = Component::Type::termination;
  component.wire = wire;
  const auto& owner = vehicle.components[at(vehicle.terminals[at(terminal)].component)];
  if (owner.zone != none) component.zone = owner.zone;
  return add_component(vehicle, std::move(component));
}

/// A change of one link seen from the element, which is longer by the other two.
vehicle::Change change_in_series(const KindChange& source, const PartUse& values, double own_ohm,
                                 Index element) {
  vehicle::Change change;
  change.element = element;
  change.open = source.open;
  if (source.add_ohm) change.add_ohm = value_of(*source.add_ohm, values);
  if (source.resistance_ohm) change.add_ohm += value_of(*source.resistance_ohm, values) - own_ohm;
  if (source.shorted_ohm) change.add_ohm += value_of(*source.shorted_ohm, values) - own_ohm;
  return change;
}

void add_modes(const Link& link, Index element, Vehicle& vehicle) {
  PartUse values;
  values.kind = link.kind;
  for (const auto& source : link.kind->modes) {
    if (source.touches != KindMode::Touches::nothing) continue;  // needs the whole loom
    auto mode = mode_from(source, link.component);
    for (const auto& change : source.changes)
      mode.changes.push_back(change_in_series(change, values, link.ohm, element));
    vehicle.components[at(link.component)].modes.push_back(
        static_cast<Index>(vehicle.modes.size()));
    vehicle.modes.push_back(std::move(mode));
  }
}

}  // namespace

WireKinds wire_kinds(const KindCatalog& kinds, const std::string& wire_class,
                     const std::string& pointer, std::vector<Problem>& problems) {
  const auto* conductor = series_kind(kinds, wire_class + "_wire", pointer, problems);
  const auto* joint = series_kind(kinds, wire_class + "_termination", pointer, problems);
  if (conductor == nullptr || joint == nullptr) return {};
  return {conductor, joint};
}

void add_wire(const WireUse& use, const WireKinds& kinds, Vehicle& vehicle) {
  PartUse joint_values;
  joint_values.kind = kinds.joint;
  const double joint_ohm = value_of(kinds.joint->elements.front().ohm, joint_values);
  const double conductor_ohm = vehicle::copper_resistance_ohm(use.area_mm2, use.length_metre);
  const auto element = static_cast<Index>(vehicle.elements.size());
  const Link wire{kinds.conductor, conductor_ohm, add_conductor(use, *kinds.conductor, vehicle)};
  const Link from{kinds.joint, joint_ohm,
                  add_joint(use, *kinds.joint, "from", use.from, wire.component, vehicle)};
  const Link to{kinds.joint, joint_ohm,
                add_joint(use, *kinds.joint, "to", use.to, wire.component, vehicle)};
  vehicle::Element conductor;
  conductor.name = use.id;
  conductor.a = use.from;
  conductor.b = use.to;
  conductor.ohm = conductor_ohm + 2 * joint_ohm;
  conductor.components = {wire.component, from.component, to.component};
  vehicle.elements.push_back(std::move(conductor));
  for (const auto& link : {wire, from, to}) {
    vehicle.components[at(link.component)].elements = {element};
    add_modes(link, element, vehicle);
  }
  vehicle.wires.push_back({.component = wire.component,
                           .from_end = from.component,
                           .to_end = to.component,
                           .element = element,
                           .length_metre = use.length_metre,
                           .area_mm2 = use.area_mm2,
                           .power = use.power});
  if (use.loom != none) vehicle.looms[at(use.loom)].wires.push_back(wire.component);
}

}  // namespace faultloom::documents
