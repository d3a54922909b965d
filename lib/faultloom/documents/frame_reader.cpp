#include <faultloom/documents/scope.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/part_builder.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using vehicle::Index;
using vehicle::none;

constexpr std::size_t max_positions = 64;  // a condition keeps them in one 64-bit word

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

Index position_of(const vehicle::Control& control, std::string_view name) {
  const auto found = std::find(control.positions.begin(), control.positions.end(), name);
  return found == control.positions.end() ? none
                                          : static_cast<Index>(found - control.positions.begin());
}

/// Index of the position, or none and a problem.
Index find_position(const vehicle::Control& control, const std::string& name,
                    const std::string& pointer, Scope& scope) {
  const auto found = position_of(control, name);
  if (found == none)
    scope.add(Code::reference, pointer,
              fmt::format("Control '{}' has no position '{}'{}", control.id, name,
                          suggestion(name, control.positions)));
  return found;
}

Index find_control(const std::string& name, const std::string& pointer, Scope& scope) {
  const auto found = scope.vehicle.control(name);
  if (found == none) {
    std::vector<std::string> ids;
    for (const auto& control : scope.vehicle.controls) ids.push_back(control.id);
    scope.add(Code::reference, pointer,
              fmt::format("There is no control '{}'{}", name, suggestion(name, ids)));
  }
  return found;
}

void read_control(const std::string& id, const json& value, Scope& scope) {
  vehicle::Control control;
  control.id = id;
  control.title = text_or(value, "title", id);
  control.positions = texts_or_none(value, "positions");
  control.order = value_or<int>(value, "order", 0);
  control.minutes = number_or(value, "minutes", 0);
  control.needs_helper = flag_or(value, "needs_helper", false);
  control.interlock = flag_or(value, "interlock", false);
  const auto positions = pointer_to({"controls", id, "positions"});
  if (control.positions.size() > max_positions) {
    scope.add(Code::limit, positions,
              fmt::format("Control '{}' has {} positions; the limit is {}", id,
                          control.positions.size(), max_positions));
    control.positions.resize(max_positions);
  }
  for (std::size_t p = 0; p < control.positions.size(); ++p)
    if (at(position_of(control, control.positions[p])) != p)
      scope.add(Code::duplicate, fmt::format("{}/{}", positions, p),
                fmt::format("Position '{}' is listed twice", control.positions[p]));
  control.rest = std::max(Index{0}, find_position(control, text_or(value, "rest"),
                                                  pointer_to({"controls", id, "rest"}), scope));
  scope.vehicle.controls.push_back(std::move(control));
}

void read_zone(const std::string& id, const json& value, Scope& scope) {
  scope.zone_ids.push_back(id);
  scope.vehicle.zones.push_back({.id = id,
                                 .title = text_or(value, "title", id),
                                 .open_minutes = number_or(value, "open_minutes", 0),
                                 .close_minutes = number_or(value, "close_minutes", 0),
                                 .cautions = texts_or_none(value, "cautions")});
}

void read_loom(const std::string& id, const json& value, Scope& scope) {
  vehicle::Loom loom{.id = id, .title = text_or(value, "title", id), .zones = {}, .wires = {}};
  const auto zones = texts_or_none(value, "zones");
  for (std::size_t z = 0; z < zones.size(); ++z)
    if (const auto zone =
            scope.zone(zones[z], pointer_to({"looms", id, "zones", std::to_string(z)}));
        zone != none)
      loom.zones.push_back(zone);
  scope.vehicle.looms.push_back(std::move(loom));
}

/// The element of a wire end written W7:from, or none and a problem.
Index element_of_end(const std::string& end, const std::string& pointer, Scope& scope) {
  const auto component = scope.vehicle.component(end);
  if (component == none && scope.unread.contains(end.substr(0, end.find(':')))) return none;
  if (component == none) {
    scope.add(Code::reference, pointer,
              fmt::format("There is no wire end '{}'; write WIRE:from or WIRE:to", end));
    return none;
  }
  const auto& found = scope.vehicle.components[at(component)];
  if (found.type == vehicle::Component::Type::termination) return found.elements.front();
  scope.add(Code::reference, pointer,
            fmt::format("'{}' is no wire end; write WIRE:from or WIRE:to", end));
  return none;
}

}  // namespace

Index Scope::zone(const std::string& name, const std::string& pointer) {
  const auto found = vehicle.zone(name);
  if (found == none)
    add(Code::reference, pointer,
        fmt::format("There is no zone '{}'{}", name, suggestion(name, zone_ids)));
  return found;
}

Index Scope::terminal(const std::string& name, const std::string& pointer) {
  const auto found = vehicle.terminal(name);
  if (found == none && !unread.contains(name.substr(0, name.find('.'))))
    add(Code::reference, pointer,
        fmt::format("There is no terminal '{}'{}", name,
                    problems.size() < max_problems ? suggestion(name, terminal_names) : ""));
  return found;
}

std::string pointer_to(std::initializer_list<std::string_view> tokens) {
  std::string pointer;
  for (const auto token : tokens) pointer += "/" + pointer_token(token);
  return pointer;
}

void read_frame(Scope& scope) {
  for_members(scope.document, "controls",
              [&](const auto& id, const json& value) { read_control(id, value, scope); });
  for_members(scope.document, "zones",
              [&](const auto& id, const json& value) { read_zone(id, value, scope); });
  for_members(scope.document, "looms",
              [&](const auto& id, const json& value) { read_loom(id, value, scope); });
}

void read_conclusion(Scope& scope) {
  auto& vehicle = scope.vehicle;
  vehicle.datum = scope.terminal(text_or(scope.document, "datum"), "/datum");
  vehicle.run_state = vehicle.rest_state();
  for_members(scope.document, "run_state", [&](const std::string& id, const json& value) {
    const auto pointer = pointer_to({"run_state", id});
    const auto control = find_control(id, pointer, scope);
    if (control == none) return;
    const auto position =
        find_position(vehicle.controls[at(control)], value.get<std::string>(), pointer, scope);
    if (position != none) vehicle.run_state[at(control)] = position;
  });
  const auto* isolation = member(scope.document, "isolation");
  if (isolation == nullptr) return;
  vehicle.isolation.caution = text_or(*isolation, "caution");
  const auto ends = texts_or_none(*isolation, "lift");
  for (std::size_t i = 0; i < ends.size(); ++i) {
    const auto element =
        element_of_end(ends[i], pointer_to({"isolation", "lift", std::to_string(i)}), scope);
    auto& lifted = vehicle.isolation.lifted_elements;
    if (element != none && std::find(lifted.begin(), lifted.end(), element) == lifted.end())
      lifted.push_back(element);
  }
}

vehicle::Condition read_operated_when(const json& object, const std::string& pointer,
                                      Scope& scope) {
  std::vector<vehicle::Condition> operands;
  for (const auto& [id, positions] : object.items()) {
    if (is_extension(id)) continue;
    const auto here = pointer + "/" + pointer_token(id);
    const auto control = find_control(id, here, scope);
    if (control == none) continue;
    vehicle::Condition::Op op;
    op.type = vehicle::Condition::Op::Type::control;
    op.index = control;
    for (std::size_t p = 0; p < positions.size(); ++p) {
      const auto position =
          find_position(scope.vehicle.controls[at(control)], positions[p].get<std::string>(),
                        fmt::format("{}/{}", here, p), scope);
      if (position != none) op.mask |= std::uint64_t{1} << at(position);
    }
    operands.push_back({{op}});
  }
  return combined(operands, true);
}

}  // namespace faultloom::documents
