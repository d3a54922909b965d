#include <faultloom/vehicle/vehicle.hpp>

#include <algorithm>

namespace faultloom::vehicle {
namespace {

template <typename Items>
Index find_id(const Items& items, std::string_view id) {
  const auto found =
      std::find_if(items.begin(), items.end(), [&](const auto& item) { return item.id == id; });
  return found == items.end() ? none : static_cast<Index>(found - items.begin());
}

Index look_up(const std::map<std::string, Index, std::less<>>& table, std::string_view key) {
  const auto found = table.find(key);
  return found == table.end() ? none : found->second;
}

}  // namespace

Index Vehicle::terminal(std::string_view name) const { return look_up(terminal_by_name_, name); }
Index Vehicle::component(std::string_view name) const { return look_up(component_by_id_, name); }
Index Vehicle::control(std::string_view name) const { return find_id(controls, name); }
Index Vehicle::zone(std::string_view name) const { return find_id(zones, name); }

Index Vehicle::sign(Index owner, std::string_view name) const {
  for (std::size_t s = 0; s < signs.size(); ++s)
    if (signs[s].component == owner && signs[s].id == name) return static_cast<Index>(s);
  return none;
}

Index Vehicle::wire_of(Index owner) const {
  for (std::size_t w = 0; w < wires.size(); ++w)
    if (wires[w].component == owner || wires[w].from_end == owner || wires[w].to_end == owner)
      return static_cast<Index>(w);
  return none;
}

ControlState Vehicle::rest_state() const {
  ControlState state;
  state.reserve(controls.size());
  for (const auto& control : controls) state.push_back(control.rest);
  return state;
}

void Vehicle::index_names() {
  terminal_by_name_.clear();
  component_by_id_.clear();
  for (std::size_t t = 0; t < terminals.size(); ++t)
    terminal_by_name_.emplace(terminals[t].name, static_cast<Index>(t));
  for (std::size_t c = 0; c < components.size(); ++c)
    component_by_id_.emplace(components[c].id, static_cast<Index>(c));
}

std::string mode_name(const Vehicle& vehicle, Index mode) {
  const auto& m = vehicle.modes[static_cast<std::size_t>(mode)];
  return vehicle.components[static_cast<std::size_t>(m.component)].id + "/" + m.id;
}

}  // namespace faultloom::vehicle
