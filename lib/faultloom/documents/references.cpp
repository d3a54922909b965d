#include <faultloom/documents/references.hpp>

#include <set>
#include <string>

namespace faultloom::documents {

void check_references(const vehicle::Vehicle& vehicle, const readings::InstrumentSet& instruments,
                      const Cautions& cautions, const rates::Rates& rates,
                      std::vector<Problem>& problems) {
  std::set<std::string> seen;
  const auto caution = [&](const std::string& id, const std::string& owner,
                           const std::string& pointer) {
    if (cautions.find(id) != cautions.end() || !seen.insert(owner + id).second) return;
    problems.push_back(
        {Code::reference,
         "Caution '" + id + "' of " + owner + " is not in the cautions document; add it there",
         pointer});
  };
  for (const auto& zone : vehicle.zones)
    for (const auto& id : zone.cautions)
      caution(id, "zone '" + zone.id + "'", "/zones/" + pointer_token(zone.id) + "/cautions");
  for (const auto& component : vehicle.components) {
    // Cautions and surroundings of earlier work are those of its part, which was here before.
    if (component.type == vehicle::Component::Type::earlier_work) continue;
    // Kinds hand their cautions to every part, so the kind is named rather than each of its parts.
    for (const auto& id : component.cautions)
      caution(id, "kind or part of '" + component.kind + "'", "");
    if (!component.environment.empty() &&
        rates.environments.find(component.environment) == rates.environments.end())
      problems.push_back({Code::reference,
                          "Environment '" + component.environment + "' of '" + component.id +
                              "' is not in the rates document; name one it lists",
                          component.type == vehicle::Component::Type::part
                              ? "/parts/" + pointer_token(component.id) + "/environment"
                              : ""});
  }
  for (const auto& instrument : instruments.instruments)
    for (const auto& id : instrument.cautions)
      caution(id, "instrument '" + instrument.id + "'", "");
}

}  // namespace faultloom::documents
