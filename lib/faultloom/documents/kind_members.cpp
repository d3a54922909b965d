#include <faultloom/documents/kind_members.hpp>

#include <faultloom/documents/access.hpp>

#include <optional>
#include <string_view>

namespace faultloom::documents {
namespace {

using nlohmann::json;

Quantity quantity(const json& value) {
  if (value.is_string()) return {0, value.get<std::string>()};
  return {value.get<double>(), ""};
}

Quantity quantity(const json& object, std::string_view key) {
  return quantity(object.at(std::string(key)));
}

std::optional<Quantity> quantity_if(const json& object, std::string_view key) {
  const auto* found = member(object, key);
  return found == nullptr ? std::nullopt : std::optional(quantity(*found));
}

Clause clause_of(const json& value);

Clause clause_of_all(Clause::Type type, const json& parts) {
  Clause clause;
  clause.type = type;
  for (const auto& part : parts) clause.parts.push_back(clause_of(part));
  return clause;
}

Clause clause_of(const json& value) {
  if (const auto* parts = member(value, "all")) return clause_of_all(Clause::Type::all, *parts);
  if (const auto* parts = member(value, "any")) return clause_of_all(Clause::Type::any, *parts);
  Clause clause;
  if (const auto* part = member(value, "not")) {
    clause.type = Clause::Type::negate;
    clause.parts.push_back(clause_of(*part));
  } else if (const auto* volts = member(value, "volts")) {
    clause.type = Clause::Type::volts;
    clause.a = volts->at(0).get<std::string>();
    clause.b = volts->at(1).get<std::string>();
    clause.rises = quantity(value, "rises_to_volt");
    clause.falls = quantity(value, "falls_to_volt");
    clause.either_way = flag_or(value, "either_way", false);
  } else if (const auto* amps = member(value, "amps")) {
    clause.type = Clause::Type::amps;
    clause.element = amps->get<std::string>();
    clause.rises = quantity(value, "rises_to_ampere");
    clause.falls = quantity(value, "falls_to_ampere");
    clause.stays = flag_or(value, "stays", false);
  } else if (const auto* signal = member(value, "signal")) {
    clause.type = Clause::Type::signal;
    clause.element = signal->get<std::string>();
  } else if (const auto* closed = member(value, "closed")) {
    clause.type = Clause::Type::closed;
    clause.element = closed->get<std::string>();
  } else {
    clause.type = Clause::Type::operated;
    clause.operated = value.at("operated").get<bool>();
  }
  return clause;
}

KindChange change_of(const std::string& element, const json& value) {
  KindChange change;
  change.element = element;
  change.open = flag_or(value, "open", false);
  change.add_ohm = quantity_if(value, "add_ohm");
  change.resistance_ohm = quantity_if(value, "resistance_ohm");
  change.emf_volt = quantity_if(value, "emf_volt");
  change.shorted_ohm = quantity_if(value, "shorted_ohm");
  if (const auto* stuck = member(value, "stuck"))
    change.stuck = stuck->get<std::string>() == "closed";
  change.reversed = flag_or(value, "reversed", false);
  change.threshold_factor = number_or(value, "threshold_factor", 1);
  return change;
}

}  // namespace

KindElement element_of(const std::string& id, const json& value) {
  KindElement element;
  element.id = id;
  element.a = value.at("between").at(0).get<std::string>();
  element.b = value.at("between").at(1).get<std::string>();
  const auto type = value.at("type").get<std::string>();
  element.dormant = flag_or(value, "dormant", false);
  if (type == "source") {
    element.type = KindElement::Type::source;
    element.ohm = quantity(value, "internal_ohm");
    element.volt = quantity(value, "emf_volt");
  } else if (type == "contact") {
    element.type = KindElement::Type::contact;
    element.ohm = quantity(value, "closed_ohm");
    element.closed_when = clause_of(value.at("closed_when"));
  } else if (type == "diode") {
    element.type = KindElement::Type::diode;
    element.ohm = quantity(value, "on_ohm");
    element.volt = quantity(value, "forward_volt");
  } else {
    element.ohm = quantity(value, "resistance_ohm");
    if (type == "input") {
      element.type = KindElement::Type::input;
      element.rises = quantity(value, "rises_to_volt");
      element.falls = quantity(value, "falls_to_volt");
    }
  }
  return element;
}

KindMode mode_of(const std::string& id, const json& value) {
  KindMode mode;
  mode.id = id;
  mode.title = text_or(value, "title", id);
  mode.seen = number_or(value, "seen", 0);
  mode.spread_factor = number_or(value, "spread_factor", 1);
  if (const auto* duty = member(value, "duty"))
    mode.duty = {number_or(*duty, "a", 0), number_or(*duty, "b", 0)};
  if (text_or(value, "cause") == "earlier_work") mode.per_visit = text_or(value, "per_visit", id);
  if (const auto* touches = member(value, "touches")) {
    mode.touches = touches->get<std::string>() == "negative" ? KindMode::Touches::negative
                                                             : KindMode::Touches::neighbour;
    mode.touch_ohm = quantity(value, "touch_ohm");
  }
  for_members(value, "changes", [&](const std::string& element, const json& change) {
    mode.changes.push_back(change_of(element, change));
  });
  return mode;
}

KindSign sign_of(const std::string& id, const json& value) {
  KindSign sign;
  sign.id = id;
  sign.title = text_or(value, "title", id);
  sign.sense = text_or(value, "sense", "see");
  sign.when = clause_of(value.at("when"));
  sign.on_change = flag_or(value, "on_change", false);
  return sign;
}

}  // namespace faultloom::documents
