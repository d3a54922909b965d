#include <faultloom/documents/resolver.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/names.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using vehicle::Index;
using vehicle::none;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

template <typename Items>
std::vector<std::string> ids_of_items(const Items& items) {
  std::vector<std::string> ids;
  ids.reserve(items.size());
  for (const auto& item : items) ids.push_back(item.id);
  return ids;
}

/// "; K1 has coil_feed, coil_return" for a terminal of a part that exists, else the nearest terminal.
std::string terminal_hint(const vehicle::Vehicle& vehicle, const std::string& name) {
  std::vector<std::string> names;
  names.reserve(vehicle.terminals.size());
  for (const auto& terminal : vehicle.terminals) names.push_back(terminal.name);
  auto hint = suggestion(name, names);
  if (!hint.empty()) return hint;
  const auto dot = name.find('.');
  const auto owner = vehicle.component(name.substr(0, dot));
  if (owner == none) return dot == std::string::npos ? "; write PART.terminal" : "";
  names.clear();
  constexpr std::size_t most_listed = 8;
  for (const auto t : vehicle.components[at(owner)].terminals)
    names.push_back(vehicle.terminals[at(t)].name);
  if (names.empty())
    return fmt::format("; {} can't be probed, name a terminal at its end",
                       vehicle.components[at(owner)].id);
  if (names.size() > most_listed) names.resize(most_listed);
  return fmt::format("; there is {}", fmt::join(names, ", "));
}

}  // namespace

Index Resolver::terminal(const std::string& name, const std::string& pointer) {
  const auto found = vehicle_->terminal(name);
  if (found == none)
    add(Code::reference,
        fmt::format("There is no terminal '{}'{}", name, terminal_hint(*vehicle_, name)), pointer);
  return found;
}

Index Resolver::component(const std::string& name, const std::string& pointer) {
  const auto found = vehicle_->component(name);
  if (found == none)
    add(Code::reference,
        fmt::format("There is no part, wire, joint or pin '{}'{}", name,
                    suggestion(name, ids_of_items(vehicle_->components))),
        pointer);
  return found;
}

Index Resolver::zone(const std::string& name, const std::string& pointer) {
  const auto found = vehicle_->zone(name);
  if (found == none)
    add(Code::reference,
        fmt::format("There is no zone '{}'{}", name,
                    suggestion(name, ids_of_items(vehicle_->zones))),
        pointer);
  return found;
}

Index Resolver::mode(const std::string& name, const std::string& pointer) {
  const auto slash = name.rfind('/');
  if (slash == std::string::npos) {
    add(Code::reference, fmt::format("'{}' is no fault mode; write COMPONENT/mode", name), pointer);
    return none;
  }
  const auto owner = component(name.substr(0, slash), pointer);
  if (owner == none) return none;
  const auto id = name.substr(slash + 1);
  std::vector<std::string> known;
  for (const auto m : vehicle_->components[at(owner)].modes) {
    known.push_back(vehicle_->modes[at(m)].id);
    if (known.back() == id) return m;
  }
  const auto hint = suggestion(id, known);
  add(Code::reference,
      fmt::format("{} has no fault mode '{}'{}", vehicle_->components[at(owner)].id, id,
                  hint.empty() ? fmt::format("; it has {}", fmt::join(known, ", ")) : hint),
      pointer);
  return none;
}

Index Resolver::sign(Index owner, const std::string& name, const std::string& pointer) {
  const auto found = vehicle_->sign(owner, name);
  if (found != none) return found;
  std::vector<std::string> known;
  for (const auto& s : vehicle_->signs)
    if (s.component == owner) known.push_back(s.id);
  add(Code::reference,
      fmt::format("{} has no sign '{}'; it has {}", vehicle_->components[at(owner)].id, name,
                  known.empty() ? "none" : fmt::format("{}", fmt::join(known, ", "))),
      pointer);
  return none;
}

Index Resolver::wire_element(const std::string& name, const std::string& pointer) {
  const auto owner = vehicle_->component(name);
  for (const auto& wire : vehicle_->wires)
    if (owner != none && wire.component == owner) return wire.element;
  std::vector<std::string> known;
  for (const auto& wire : vehicle_->wires)
    known.push_back(vehicle_->components[at(wire.component)].id);
  add(Code::reference, fmt::format("There is no wire '{}'{}", name, suggestion(name, known)),
      pointer);
  return none;
}

Index Resolver::end_element(const std::string& name, const std::string& pointer) {
  const auto owner = vehicle_->component(name);
  const bool is_end = owner != none &&
                      vehicle_->components[at(owner)].type == vehicle::Component::Type::termination;
  const auto wire = is_end ? vehicle_->wire_of(owner) : none;
  if (wire != none) return vehicle_->wires[at(wire)].element;
  std::vector<std::string> known;
  for (const auto& component : vehicle_->components)
    if (component.type == vehicle::Component::Type::termination) known.push_back(component.id);
  const auto hint = suggestion(name, known);
  add(Code::reference,
      fmt::format("There is no wire end '{}'{}", name,
                  hint.empty() ? "; write WIRE:from or WIRE:to" : hint),
      pointer);
  return none;
}

vehicle::ControlState Resolver::state(const json& holder, const std::string& pointer) {
  auto result = vehicle_->rest_state();
  for_members(holder, "state", [&](const std::string& id, const json& value) {
    const auto where = pointer + "/state/" + pointer_token(id);
    const auto control = vehicle_->control(id);
    if (control == none) {
      add(Code::reference,
          fmt::format("There is no control '{}'{}", id,
                      suggestion(id, ids_of_items(vehicle_->controls))),
          where);
      return;
    }
    const auto& positions = vehicle_->controls[at(control)].positions;
    const auto name = value.is_string() ? value.get<std::string>() : value.dump();
    const auto found = std::find(positions.begin(), positions.end(), name);
    if (found == positions.end()) {
      add(Code::reference,
          fmt::format("Control '{}' has no position '{}'; it has {}", id, name,
                      fmt::join(positions, ", ")),
          where);
      return;
    }
    result[at(control)] = static_cast<Index>(found - positions.begin());
  });
  return result;
}

std::vector<Index> Resolver::lifted(const json& holder, const std::string& pointer) {
  std::vector<Index> elements;
  const auto ends = texts_or_none(holder, "lifted");
  for (std::size_t i = 0; i < ends.size(); ++i)
    if (const auto e = end_element(ends[i], fmt::format("{}/lifted/{}", pointer, i)); e != none)
      elements.push_back(e);
  if (flag_or(holder, "isolated", false)) {
    const auto& isolation = vehicle_->isolation.lifted_elements;
    if (isolation.empty())
      add(Code::reading,
          "The vehicle document doesn't say how to isolate the pack; give it 'isolation'",
          pointer + "/isolated");
    elements.insert(elements.end(), isolation.begin(), isolation.end());
  }
  std::sort(elements.begin(), elements.end());
  elements.erase(std::unique(elements.begin(), elements.end()), elements.end());
  return elements;
}

std::vector<Index> Resolver::bridged(const json& holder, const std::string& pointer) {
  const auto ends = texts_or_none(holder, "lead");
  if (ends.size() != 2) return {};
  const auto a = terminal(ends[0], pointer + "/lead/0");
  const auto b = terminal(ends[1], pointer + "/lead/1");
  if (a == none || b == none) return {};
  const auto& elements = vehicle_->elements;
  const auto found = std::find_if(elements.begin(), elements.end(), [&](const auto& e) {
    return !e.dormant && ((e.a == a && e.b == b) || (e.a == b && e.b == a));
  });
  if (found == elements.end()) {
    add(Code::reading,
        fmt::format("No wire, contact or fuse joins {} and {}; enter a lead across one of these",
                    ends[0], ends[1]),
        pointer + "/lead");
    return {};
  }
  const auto element = static_cast<Index>(found - elements.begin());
  const bool wire = std::any_of(vehicle_->wires.begin(), vehicle_->wires.end(),
                                [&](const auto& w) { return w.element == element; });
  if (!wire && found->type != vehicle::ElementType::contact) {
    add(Code::reading,
        fmt::format("A lead from {} to {} shorts {}; name the terminals it really joined", ends[0],
                    ends[1], found->name),
        pointer + "/lead");
    return {};
  }
  return {element};
}

}  // namespace faultloom::documents
