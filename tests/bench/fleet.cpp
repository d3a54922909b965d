#include "fleet.hpp"

#include <fstream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <sstream>

namespace faultloom::bench {
namespace {

using nlohmann::json;

constexpr const char* largest = "vehicles/seedling-hauler.json";

bool of_pack(const json& part) {
  return part["kind"].get<std::string>().find("battery") != std::string::npos;
}

/// Adds a copy of everything but the pack, with ids ending in `suffix`; wires to the pack are shared.
void lay_again(const json& original, json& vehicle, const std::string& suffix) {
  std::map<std::string, bool> shared;
  for (const auto& [id, part] : original["parts"].items()) shared[id] = of_pack(part);
  const auto renamed = [&](std::string terminal) {
    const auto dot = terminal.rfind('.');
    const auto owner = terminal.substr(0, dot);
    if (shared.contains(owner) && shared[owner]) return terminal;
    const auto pin = owner.rfind('-');
    const bool contact =
        pin != std::string::npos && original["connectors"].contains(owner.substr(0, pin));
    return (contact ? owner.substr(0, pin) + suffix + owner.substr(pin) : owner + suffix) +
           terminal.substr(dot);
  };
  for (const auto& [id, part] : original["parts"].items())
    if (!shared[id]) vehicle["parts"][id + suffix] = part;
  for (const auto& [id, connector] : original["connectors"].items())
    vehicle["connectors"][id + suffix] = connector;
  for (const auto& [id, wire] : original["wires"].items()) {
    auto copy = wire;
    copy["from"] = renamed(wire["from"]);
    copy["to"] = renamed(wire["to"]);
    if (copy["from"] == wire["from"] && copy["to"] == wire["to"]) continue;
    vehicle["wires"][id + suffix] = copy;
  }
}

}  // namespace

std::string data_text(const std::string& relative) {
  const std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/" + relative);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

const documents::Model& vehicle_times(int copies) {
  static std::map<int, std::unique_ptr<documents::Model>> kept;
  auto& slot = kept[copies];
  if (!slot) {
    const auto original = json::parse(data_text(largest));
    auto vehicle = original;
    for (int i = 2; i <= copies; ++i) lay_again(original, vehicle, "_" + std::to_string(i));
    documents::ModelSources sources;
    const auto text = vehicle.dump();
    sources.vehicle = text;
    slot = std::make_unique<documents::Model>(sources);
  }
  return *slot;
}

std::string eight_readings(int /*copies*/) {
  auto job = json::parse(data_text("jobs/rose-walk-no-click.json"));
  return job.dump();
}

}  // namespace faultloom::bench
