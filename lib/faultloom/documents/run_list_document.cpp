#include <faultloom/documents/model.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/vehicle/run_list.hpp>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace faultloom::documents {
namespace {

using json = nlohmann::ordered_json;
using vehicle::RunListWire;

constexpr const char* placeholder_zone = "somewhere";

/// Everything a run list names, in alphabetical order.
struct Inventory {
  std::map<std::string, std::set<std::string>> terminals;  ///< part -> terminals
  std::map<std::string, std::string> zones;  ///< part or connector -> zone of its first wire
  std::map<std::string, std::set<std::pair<std::size_t, std::string>>>
      pins;  ///< connector -> pins, short ones first
  std::map<std::string, std::set<std::string>> loom_zones;
  std::set<std::string> all_zones;
};

std::string zone_of(const RunListWire& wire) {
  return wire.zone.empty() ? placeholder_zone : wire.zone;
}

Inventory take_inventory(const std::vector<RunListWire>& wires) {
  Inventory inventory;
  for (const auto& wire : wires) {
    inventory.all_zones.insert(zone_of(wire));
    if (!wire.loom.empty()) inventory.loom_zones[wire.loom].insert(zone_of(wire));
    for (const auto& end : {wire.from, wire.to}) {
      auto [owner, pin] = vehicle::pin_of(end);
      if (owner.empty()) {
        owner = vehicle::part_of(end);
        inventory.terminals[owner].insert(end.substr(owner.size() + 1));
      } else {
        inventory.pins[owner].emplace(pin.size(), pin);
      }
      inventory.zones.emplace(owner, zone_of(wire));
    }
  }
  return inventory;
}

/// Pack negative if a name gives it away, else any terminal.
std::string guess_datum(const Inventory& inventory) {
  for (const auto& [part, terminals] : inventory.terminals)
    if (terminals.contains("negative")) return part + ".negative";
  const auto& [part, terminals] = *inventory.terminals.begin();
  return part + "." + *terminals.begin();
}

/// Names in a row, as many as a text of a document has room for.
std::string listed(const std::set<std::string>& names) {
  constexpr std::size_t longest = 3000;
  std::string list;
  std::size_t count = 0;
  for (const auto& name : names) {
    if (list.size() + name.size() > longest)
      return list + fmt::format(" and {} more", names.size() - count);
    list += (count++ == 0 ? "" : ", ") + name;
  }
  return list;
}

json open_points(const Inventory& inventory, const std::string& datum) {
  json points = json::array();
  for (const auto& [part, terminals] : inventory.terminals)
    points.push_back(
        fmt::format("parts/{}: kind; the list uses the terminals {}", part, listed(terminals)));
  points.push_back(
      "parts: 'operated_when' of what the driver operates, parameters, repair, environment");
  points.push_back("controls: key, selector, pedal and the like, and 'run_state'");
  points.push_back("zones: minutes to open and close, cautions");
  if (inventory.all_zones.contains(placeholder_zone))
    points.push_back(fmt::format("zones: the list does not say where the wires of zone '{}' are",
                                 placeholder_zone));
  points.push_back(fmt::format("datum: pack negative; '{}' stands in for it", datum));
  points.push_back("nominal_volt: 48 stands in for it");
  points.push_back("isolation: wire ends to take off before ohms are read");
  points.push_back("source and license");
  return points;
}

json wire_document(const RunListWire& wire) {
  json value = {{"from", wire.from}, {"to", wire.to}};
  if (wire.by_gauge) {
    value["gauge_awg"] = wire.gauge_awg;
  } else {
    value["area_mm2"] = wire.area_mm2;
  }
  value["length_metre"] = wire.length_metre;
  if (!wire.loom.empty()) value["loom"] = wire.loom;
  value["zone"] = zone_of(wire);
  value["class"] = wire.power ? "power" : "control";
  return value;
}

}  // namespace

std::string vehicle_from_run_list(std::string_view csv, std::string_view vehicle_id) {
  if (!vehicle::is_id(vehicle_id))
    throw Error(
        Code::argument,
        "The vehicle id is no name; a letter and up to 63 letters, digits, - or _ make one");
  auto wires = vehicle::read_run_list(csv);
  if (wires.empty()) throw Error(Code::schema, "The list names columns but no wire");
  std::sort(wires.begin(), wires.end(), [](const auto& a, const auto& b) { return a.id < b.id; });
  const auto inventory = take_inventory(wires);
  if (inventory.terminals.empty())
    throw Error(Code::schema,
                "The list names connector pins only; at least one wire must end at a part");
  const auto datum = guess_datum(inventory);
  json document = {{"format", "faultloom.vehicle"},
                   {"version", "1.0"},
                   {"id", vehicle_id},
                   {"title", fmt::format("{} (skeleton from a wire run list)", vehicle_id)},
                   {"source", "wire run list"},
                   {"license", "not stated"},
                   {"nominal_volt", 48},
                   {"datum", datum},
                   {"x-open-points", open_points(inventory, datum)},
                   {"run_state", json::object()},
                   {"controls", json::object()},
                   {"zones", json::object()},
                   {"looms", json::object()},
                   {"connectors", json::object()},
                   {"parts", json::object()},
                   {"wires", json::object()}};
  for (const auto& zone : inventory.all_zones)
    document["zones"][zone] = {
        {"title", zone}, {"open_minutes", 1}, {"close_minutes", 1}, {"cautions", json::array()}};
  for (const auto& [loom, zones] : inventory.loom_zones)
    document["looms"][loom] = {{"title", loom}, {"zones", zones}};
  for (const auto& [connector, pins] : inventory.pins) {
    json names = json::array();
    for (const auto& [length, pin] : pins) names.push_back(pin);
    document["connectors"][connector] = {
        {"title", connector}, {"zone", inventory.zones.at(connector)}, {"pins", std::move(names)}};
  }
  for (const auto& [part, terminals] : inventory.terminals)
    document["parts"][part] = {
        {"kind", "junction"}, {"title", part}, {"zone", inventory.zones.at(part)}};
  for (const auto& wire : wires) document["wires"][wire.id] = wire_document(wire);
  std::vector<Problem> problems;
  check_schema(nlohmann::json(document), "vehicle", problems);
  // Too many of something. A pointer would lead into a document that nobody has.
  for (auto& problem : problems)
    problem = {Code::limit,
               fmt::format("As a vehicle, the list breaks the schema at '{}': {}", problem.pointer,
                           problem.message),
               ""};
  if (!problems.empty()) throw Error(std::move(problems));
  return document.dump(2) + "\n";
}

}  // namespace faultloom::documents
