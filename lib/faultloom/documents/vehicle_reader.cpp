#include <faultloom/documents/vehicle_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/latent_builder.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/part_builder.hpp>
#include <faultloom/documents/rates_reader.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/scope.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/wire_builder.hpp>
#include <faultloom/documents/wording.hpp>
#include <faultloom/vehicle/wire_gauge.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using vehicle::Component;
using vehicle::Index;
using vehicle::none;

bool asks_operated(const Clause& clause) {
  if (clause.type == Clause::Type::operated) return true;
  return std::any_of(clause.parts.begin(), clause.parts.end(), asks_operated);
}

bool can_be_operated(const PartKind& kind) {
  return std::any_of(kind.elements.begin(), kind.elements.end(),
                     [](const auto& element) {
                       return element.type == KindElement::Type::contact &&
                              asks_operated(element.closed_when);
                     }) ||
         std::any_of(kind.signs.begin(), kind.signs.end(),
                     [](const auto& sign) { return asks_operated(sign.when); });
}

vehicle::Repair repair_of(const json& value, vehicle::Repair fallback) {
  const auto* repair = member(value, "repair");
  if (repair == nullptr) return fallback;
  return {text_or(*repair, "action", fallback.action),
          number_or(*repair, "minutes", fallback.minutes),
          number_or(*repair, "price_usd", fallback.price_usd)};
}

/// Fills a vehicle from a document that follows its schema.
class Reader {
 public:
  Reader(Scope& scope, const KindCatalog& kinds) : scope_(scope), kinds_(kinds) {
    for (const auto& [id, kind] : kinds.kinds()) kind_ids_.push_back(id);
    leakage_ohm_ = number_or(scope.document, "leakage_ohm", default_leakage_ohm);
  }

  void read() {
    auto& vehicle = scope_.vehicle;
    vehicle.id = text_or(scope_.document, "id");
    vehicle.title = text_or(scope_.document, "title", vehicle.id);
    vehicle.nominal_volt = number_or(scope_.document, "nominal_volt", 0);
    read_frame(scope_);
    for_members(scope_.document, "parts",
                [&](const auto& id, const json& value) { read_part(id, value); });
    for_members(scope_.document, "connectors",
                [&](const auto& id, const json& value) { read_connector(id, value); });
    vehicle.index_names();
    for (const auto& terminal : vehicle.terminals) scope_.terminal_names.push_back(terminal.name);
    for (const auto& loom : vehicle.looms) loom_ids_.push_back(loom.id);
    for_members(scope_.document, "wires",
                [&](const auto& id, const json& value) { read_wire(id, value); });
    for_members(scope_.document, "controls",
                [&](const auto& id, const json& value) { read_left_wrong(id, value); });
    add_swaps(swaps_, vehicle);
    vehicle.index_names();
    read_conclusion(scope_);
    if (const auto found = wire_kinds_.find("control");
        found != wire_kinds_.end() && found->second.conductor != nullptr)
      add_touches(*found->second.conductor, vehicle);
  }

 private:
  /// Notes an id; two things of one name are a problem.
  bool claim(const std::string& id, const std::string& pointer) {
    const auto [owner, fresh] = owners_.emplace(id, pointer);
    if (!fresh)
      scope_.add(Code::duplicate, pointer,
                 fmt::format("'{}' is also defined at {}; rename one of them", id, owner->second));
    return fresh;
  }

  /// Notes that something could not be built, so that nobody complains about what refers to it.
  void leave_out(const std::string& id) { scope_.unread.insert(id); }

  const PartKind* kind(const std::string& id, const std::string& pointer) {
    const auto* found = kinds_.find(id);
    if (found == nullptr)
      scope_.add(Code::reference, pointer,
                 fmt::format("There is no part kind '{}'{}", id, suggestion(id, kind_ids_)));
    return found;
  }

  Index optional_zone(const json& value, const std::string& pointer) {
    const auto* zone = member(value, "zone");
    return zone == nullptr ? none : scope_.zone(zone->get<std::string>(), pointer + "/zone");
  }

  Component component_of(const std::string& id, const PartKind& kind) {
    Component component;
    component.id = id;
    component.title = kind.title;
    component.kind = kind.id;
    component.look_minutes = kind.look_minutes;
    component.look_false_alarm = kind.look_false_alarm;
    component.repair = kind.repair;
    component.cautions = kind.cautions;
    return component;
  }

  void read_part(const std::string& id, const json& value) {
    PartUse use;
    use.pointer = pointer_to({"parts", id});
    use.kind = kind(text_or(value, "kind"), use.pointer + "/kind");
    const auto zone = optional_zone(value, use.pointer);
    if (!claim(id, use.pointer) || use.kind == nullptr) return leave_out(id);
    use.component = component_of(id, *use.kind);
    use.component.title = text_or(value, "title", use.component.title);
    use.component.zone = zone;
    use.component.environment = text_or(value, "environment");
    use.component.rate_factor = number_or(value, "rate_factor", 1);
    use.component.repair = repair_of(value, use.component.repair);
    for (auto& caution : texts_or_none(value, "cautions"))
      use.component.cautions.push_back(std::move(caution));
    use.terminal_minutes = default_part_probe_minutes;
    use.terminal_prefix = id + ".";
    use.leakage_ohm = number_or(value, "leakage_ohm", leakage_ohm_);
    read_parameters(value, use);
    read_operation(value, use);
    const auto first = scope_.vehicle.terminals.size();
    add_part(use, scope_.vehicle, scope_.problems);
    read_probes(value, use, first);
    note_swaps(use, static_cast<Index>(first));
  }

  /// Notes which wires of a part may have been exchanged. Earlier work must have an id of its own.
  void note_swaps(const PartUse& use, Index first) {
    const auto& kind = *use.kind;
    const auto& names = kind.terminals;
    const auto terminal = [&](const std::string& name) {
      return first +
             static_cast<Index>(std::find(names.begin(), names.end(), name) - names.begin());
    };
    const auto work = earlier_work_at(use.component, kind.work_minutes, kind.work_price_usd);
    const bool has_work =
        !kind.swaps.empty() || std::any_of(kind.modes.begin(), kind.modes.end(),
                                           [](const auto& mode) { return mode.earlier_work(); });
    if (!has_work || !claim(work.id, use.pointer)) return;
    for (const auto& [a, b] : kind.swaps)
      swaps_.push_back({work, terminal(a), terminal(b), a, b, false});
  }

  void read_parameters(const json& value, PartUse& use) {
    std::vector<std::string> known;
    for (const auto& [name, number] : use.kind->parameters) known.push_back(name);
    for_members(value, "parameters", [&](const std::string& name, const json& number) {
      const auto pointer = use.pointer + "/parameters/" + pointer_token(name);
      if (!use.kind->parameters.contains(name)) {
        scope_.add(Code::reference, pointer,
                   fmt::format("Kind '{}' has no parameter '{}'{}", use.kind->id, name,
                               suggestion(name, known)));
        return;
      }
      const auto chosen = number.get<double>();
      if (unit_of(name) == "_ohm" && !(chosen >= vehicle::least_ohm))
        scope_.add(Code::value, pointer,
                   fmt::format("'{}' is {}; a resistance must be at least {} ohm", name, chosen,
                               vehicle::least_ohm));
      use.parameters.emplace(name, chosen);
    });
  }

  void read_operation(const json& value, PartUse& use) {
    const auto* operated = member(value, "operated_when");
    if (operated == nullptr) return;
    const auto pointer = use.pointer + "/operated_when";
    use.has_operated = true;
    use.operated = read_operated_when(*operated, pointer, scope_);
    if (!can_be_operated(*use.kind))
      scope_.warn(
          Code::idle_control, pointer,
          fmt::format(
              "Kind '{}' has nothing that can be operated; 'operated_when' of {} has no effect",
              use.kind->id, use.component.id));
  }

  void read_probes(const json& value, const PartUse& use, std::size_t first) {
    for_members(value, "probe", [&](const std::string& name, const json& probe) {
      const auto pointer = use.pointer + "/probe/" + pointer_token(name);
      const auto& names = use.kind->terminals;
      const auto found = std::find(names.begin(), names.end(), name);
      if (found == names.end()) {
        scope_.add(Code::reference, pointer,
                   fmt::format("Kind '{}' has no terminal '{}'{}", use.kind->id, name,
                               suggestion(name, names)));
        return;
      }
      auto& terminal =
          scope_.vehicle.terminals[first + static_cast<std::size_t>(found - names.begin())];
      if (probe.is_boolean()) {
        terminal.reachable = probe.get<bool>();
        return;
      }
      if (const auto zone = optional_zone(probe, pointer); zone != none) terminal.zone = zone;
      terminal.minutes = number_or(probe, "minutes", terminal.minutes);
    });
  }

  void read_connector(const std::string& id, const json& value) {
    const auto pointer = pointer_to({"connectors", id});
    const auto* pin_kind = kind(text_or(value, "kind", "connector_contact"), pointer + "/kind");
    const auto zone = optional_zone(value, pointer);
    if (pin_kind != nullptr &&
        !(pin_kind->has_terminal("plug") && pin_kind->has_terminal("socket"))) {
      scope_.add(
          Code::value, pointer + "/kind",
          fmt::format(
              "Kind '{}' must have the terminals 'plug' and 'socket' to be a connector's contact",
              pin_kind->id));
      pin_kind = nullptr;
    }
    const auto pins = texts_or_none(value, "pins");
    Index before = none;  // socket of the pin before
    for (std::size_t p = 0; p < pins.size(); ++p) {
      const auto pin = id + "-" + pins[p];
      const auto here = fmt::format("{}/pins/{}", pointer, p);
      if (!claim(pin, here) || pin_kind == nullptr) {
        leave_out(pin);
        before = none;
        continue;
      }
      PartUse use;
      use.pointer = here;
      use.kind = pin_kind;
      use.component = component_of(pin, *pin_kind);
      use.component.title =
          fmt::format("Pin {} of {}", pins[p], inside_sentence(text_or(value, "title", id)));
      use.component.type = Component::Type::contact;
      use.component.connector = id;
      use.component.zone = zone;
      use.component.environment = text_or(value, "environment");
      use.component.rate_factor = number_or(value, "rate_factor", 1);
      use.component.repair = repair_of(value, use.component.repair);
      for (auto& caution : texts_or_none(value, "cautions"))
        use.component.cautions.push_back(std::move(caution));
      use.terminal_minutes = default_pin_probe_minutes;
      use.terminal_prefix = pin + ".";
      use.leakage_ohm = leakage_ohm_;
      const auto first = scope_.vehicle.terminals.size();
      add_part(use, scope_.vehicle, scope_.problems);
      const auto& names = pin_kind->terminals;
      const auto socket =
          static_cast<Index>(first) +
          static_cast<Index>(std::find(names.begin(), names.end(), "socket") - names.begin());
      if (before != none) {
        auto owner = use.component;
        owner.id = id;
        owner.title = text_or(value, "title", id);
        swaps_.push_back({earlier_work_at(owner, pin_kind->work_minutes, pin_kind->work_price_usd),
                          before, socket, pins[p - 1], pins[p], true});
      }
      before = socket;
    }
    if (pins.size() > 1) claim(id + ":work", pointer);
  }

  /// A control that somebody leaves at a position where the driver does not expect it.
  void read_left_wrong(const std::string& id, const json& value) {
    const auto* shares = member(value, "left_wrong");
    if (shares == nullptr) return;
    const auto here = pointer_to({"controls", id});
    const auto pointer = here + "/left_wrong";
    auto& vehicle = scope_.vehicle;
    const auto c = vehicle.control(id);
    const auto& control = vehicle.controls[static_cast<std::size_t>(c)];
    const bool fresh = claim(id, here);
    Component component;
    component.id = id;
    component.title = "Setting of " + inside_sentence(control.title);
    component.kind = "setting";
    component.type = Component::Type::setting;
    component.look_minutes = 0.2;
    component.look_false_alarm = 0.01;
    component.repair = {"set right", control.minutes, 0};
    double sum = 0;
    for_members(value, "left_wrong", [&](const std::string& name, const json& share) {
      sum += share.get<double>();
      const auto found = std::find(control.positions.begin(), control.positions.end(), name);
      if (found == control.positions.end()) {
        scope_.add(Code::reference, pointer + "/" + pointer_token(name),
                   fmt::format("Control '{}' has no position '{}'{}", id, name,
                               suggestion(name, control.positions)));
        return;
      }
      if (!fresh) return;
      component.modes.push_back(static_cast<Index>(vehicle.modes.size()));
      vehicle::Mode mode;
      mode.id = "left_" + name;
      mode.title = "Left at " + name;
      mode.component = static_cast<Index>(vehicle.components.size());
      mode.seen = 0.95;
      mode.control = c;
      mode.position = static_cast<Index>(found - control.positions.begin());
      mode.per_visit = "left_wrong";
      mode.per_visit_share = share.get<double>();
      vehicle.modes.push_back(std::move(mode));
    });
    if (!(std::abs(sum - 1) <= share_tolerance))
      scope_.add(Code::value, pointer,
                 fmt::format("The shares of control '{}' sum to {:.9g} instead of 1", id, sum));
    if (fresh) vehicle.components.push_back(std::move(component));
  }

  double area_of(const json& value, const std::string& pointer) {
    if (const auto* area = member(value, "area_mm2")) return area->get<double>();
    const auto* gauge = member(value, "gauge_awg");
    if (gauge != nullptr) return vehicle::area_mm2_of_awg(gauge->get<int>());
    scope_.add(Code::schema, pointer, "A wire needs 'gauge_awg' or 'area_mm2'");
    return 1;
  }

  Index loom(const json& value, const std::string& pointer) {
    const auto* name = member(value, "loom");
    if (name == nullptr) return none;
    const auto id = name->get<std::string>();
    const auto found = std::find(loom_ids_.begin(), loom_ids_.end(), id);
    if (found != loom_ids_.end()) return static_cast<Index>(found - loom_ids_.begin());
    scope_.add(Code::reference, pointer + "/loom",
               fmt::format("There is no loom '{}'{}", id, suggestion(id, loom_ids_)));
    return none;
  }

  const WireKinds& kinds_of_class(const std::string& wire_class, const std::string& pointer) {
    const auto found = wire_kinds_.find(wire_class);
    if (found != wire_kinds_.end()) return found->second;
    return wire_kinds_.emplace(wire_class, wire_kinds(kinds_, wire_class, pointer, scope_.problems))
        .first->second;
  }

  void read_wire(const std::string& id, const json& value) {
    const auto pointer = pointer_to({"wires", id});
    WireUse use;
    use.id = id;
    const auto from = text_or(value, "from");
    const auto to = text_or(value, "to");
    use.title = text_or(value, "title", fmt::format("Wire {} from {} to {}", id, from, to));
    use.from = scope_.terminal(from, pointer + "/from");
    use.to = scope_.terminal(to, pointer + "/to");
    if (from == to)
      scope_.add(Code::value, pointer + "/to",
                 fmt::format("Both ends are {}; a wire joins two terminals", to));
    use.length_metre = number_or(value, "length_metre", 0);
    use.area_mm2 = area_of(value, pointer);
    use.zone = optional_zone(value, pointer);
    use.loom = loom(value, pointer);
    use.environment = text_or(value, "environment");
    use.rate_factor = number_or(value, "rate_factor", 1);
    use.cautions = texts_or_none(value, "cautions");
    const auto wire_class = text_or(value, "class", "control");
    use.power = wire_class == "power";
    const auto& kinds = kinds_of_class(wire_class, pointer + "/class");
    if (!claim(id, pointer) || use.from == none || use.to == none || kinds.conductor == nullptr)
      return leave_out(id);
    if (value.contains("repair")) use.repair = repair_of(value, kinds.conductor->repair);
    add_wire(use, kinds, scope_.vehicle);
  }

  Scope& scope_;
  const KindCatalog& kinds_;
  std::vector<std::string> kind_ids_;
  std::vector<std::string> loom_ids_;
  double leakage_ohm_ = default_leakage_ohm;
  std::map<std::string, std::string> owners_;
  std::map<std::string, WireKinds> wire_kinds_;
  std::vector<SwapUse> swaps_;
};

/// Bounds of what parts, wires and controls come to together, several times the largest harness that a
/// document may describe.
constexpr std::size_t most_terminals = 20000;
constexpr std::size_t most_elements = 60000;
constexpr std::size_t most_modes = 200000;
constexpr std::size_t most_combinations = 10000;

void check_size(const vehicle::Vehicle& vehicle, std::vector<Problem>& problems) {
  const auto check = [&](std::size_t count, std::size_t most, const char* what,
                         const char* pointer) {
    if (count > most)
      problems.push_back({Code::limit,
                          fmt::format("The vehicle has {} {}; the limit is {}", count, what, most),
                          pointer});
  };
  check(vehicle.terminals.size(), most_terminals, "terminals", "/parts");
  check(vehicle.elements.size(), most_elements, "electrical elements", "/parts");
  check(vehicle.modes.size(), most_modes, "fault modes", "/parts");
  std::size_t combinations = 1;
  for (const auto& control : vehicle.controls) {
    combinations *= std::max<std::size_t>(control.positions.size(), 1);
    if (combinations > most_combinations) break;  // before it overflows
  }
  if (combinations > most_combinations)
    problems.push_back({Code::limit,
                        fmt::format("The controls can stand in more than {} ways together; leave "
                                    "out what matters little",
                                    most_combinations),
                        "/controls"});
}

}  // namespace

vehicle::Vehicle read_vehicle(std::string_view text, const KindCatalog& kinds,
                              std::vector<Problem>* warnings) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "vehicle", problems);
  throw_if_any(std::move(problems));
  problems.clear();
  vehicle::Vehicle vehicle;
  std::vector<Problem> odd;
  Scope scope{document, vehicle, problems, odd, {}, {}, {}};
  as_read([&] { Reader(scope, kinds).read(); });
  throw_if_any(problems);
  check_size(vehicle, problems);
  throw_if_any(std::move(problems));
  if (warnings != nullptr) warnings->insert(warnings->end(), odd.begin(), odd.end());
  return vehicle;
}

}  // namespace faultloom::documents
