#include <faultloom/documents/kinds.hpp>

#include <faultloom/documents/names.hpp>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <utility>

namespace faultloom::documents {
namespace {

constexpr std::size_t max_members = 256;

std::string_view word_for(KindElement::Type type) {
  switch (type) {
    case KindElement::Type::resistor:
      return "resistor";
    case KindElement::Type::source:
      return "source";
    case KindElement::Type::contact:
      return "contact";
    case KindElement::Type::diode:
      return "diode";
    case KindElement::Type::input:
      return "input";
  }
  return "element";
}

/// Whether a condition has thresholds of its own, which a mode can move.
bool has_threshold(const Clause& clause) {
  if (clause.type == Clause::Type::volts || clause.type == Clause::Type::amps) return true;
  return std::any_of(clause.parts.begin(), clause.parts.end(), has_threshold);
}

bool has_threshold(const KindElement& element) {
  if (element.type == KindElement::Type::contact) return has_threshold(element.closed_when);
  return element.type == KindElement::Type::input;
}

void collect_closed(const Clause& clause, std::vector<std::string>& names) {
  if (clause.type == Clause::Type::closed) names.push_back(clause.element);
  for (const auto& part : clause.parts) collect_closed(part, names);
}

class Checker {
 public:
  Checker(const PartKind& kind, std::string_view pointer, std::vector<Problem>& problems)
      : kind_(kind), pointer_(pointer), problems_(problems) {
    for (const auto& [name, parameter] : kind.parameters) parameters_.push_back(name);
    for (const auto& element : kind.elements) elements_.push_back(element.id);
  }

  void check() {
    const auto largest = std::max(
        {kind_.terminals.size(), kind_.elements.size(), kind_.modes.size(), kind_.signs.size()});
    if (largest > max_members) {
      add(Code::limit, pointer_,
          fmt::format("Kind '{}' has {} entries in one group; the limit is {}", kind_.id, largest,
                      max_members));
      return;
    }
    for (const auto& [name, parameter] : kind_.parameters) check_parameter(name, parameter.pointer);
    for (std::size_t t = 0; t < kind_.terminals.size(); ++t)
      if (std::count(kind_.terminals.begin(),
                     kind_.terminals.begin() + static_cast<std::ptrdiff_t>(t),
                     kind_.terminals[t]) != 0)
        add(Code::duplicate, fmt::format("{}/terminals/{}", pointer_, t),
            fmt::format("Terminal '{}' is listed twice", kind_.terminals[t]));
    for (const auto& element : kind_.elements) check_element(element);
    for (const auto& sign : kind_.signs) check_clause(sign.when, sign.pointer + "/when");
    for (const auto& mode : kind_.modes) check_mode(mode);
    check_swaps();
    check_contact_loops();
  }

 private:
  void add(Code code, std::string pointer, std::string message) {
    problems_.push_back({code, std::move(message), std::move(pointer)});
  }

  void check_parameter(const std::string& name, const std::string& pointer) {
    if (unit_of(name).empty())
      add(Code::value, pointer,
          fmt::format("Parameter '{}' has no unit at its end; known units are _ohm, _volt, "
                      "_ampere, _watt, _metre, "
                      "_mm2, _minutes, _hours and _usd",
                      name));
  }

  void check_terminal(const std::string& name, const std::string& pointer) {
    if (kind_.has_terminal(name)) return;
    add(Code::reference, pointer,
        fmt::format("Kind '{}' has no terminal '{}'{}", kind_.id, name,
                    suggestion(name, kind_.terminals)));
  }

  void check_pair(const std::string& a, const std::string& b, const std::string& pointer) {
    check_terminal(a, pointer + "/0");
    check_terminal(b, pointer + "/1");
    if (a == b)
      add(Code::value, pointer,
          fmt::format("Both ends are terminal '{}'; name two different ones", a));
  }

  /// Value of a quantity with the kind's own parameters; nothing if it names an unknown one.
  std::optional<double> check_quantity(const Quantity& quantity, const std::string& holder,
                                       std::string_view key) {
    if (quantity.parameter.empty()) return quantity.value;
    const auto pointer = fmt::format("{}/{}", holder, key);
    const auto found = kind_.parameters.find(quantity.parameter);
    if (found == kind_.parameters.end()) {
      add(Code::reference, pointer,
          fmt::format("Kind '{}' has no parameter '{}'{}", kind_.id, quantity.parameter,
                      suggestion(quantity.parameter, parameters_)));
      return std::nullopt;
    }
    if (unit_of(quantity.parameter) != unit_of(key))
      add(Code::value, pointer,
          fmt::format("'{}' needs a parameter that ends in {}, but names '{}'", key, unit_of(key),
                      quantity.parameter));
    return found->second.value;
  }

  void check_ohm(const Quantity& quantity, const std::string& holder, std::string_view key) {
    const auto value = check_quantity(quantity, holder, key);
    if (value && !(*value >= vehicle::least_ohm))
      add(Code::value, fmt::format("{}/{}", holder, key),
          fmt::format("'{}' is {}; a resistance must be at least {} ohm", key, *value,
                      vehicle::least_ohm));
  }

  void check_thresholds(const Quantity& rises, const Quantity& falls, const std::string& holder,
                        std::string_view rises_key, std::string_view falls_key) {
    const auto up = check_quantity(rises, holder, rises_key);
    const auto down = check_quantity(falls, holder, falls_key);
    if (up && down && *down > *up)
      add(Code::value, fmt::format("{}/{}", holder, falls_key),
          fmt::format("'{}' is {}, above '{}' of {}; it must not be", falls_key, *down, rises_key,
                      *up));
  }

  void check_element(const KindElement& element) {
    const auto& at = element.pointer;
    check_pair(element.a, element.b, at + "/between");
    if (element.dormant && element.type != KindElement::Type::resistor)
      add(Code::value, at + "/dormant",
          fmt::format("'{}' is a {}; only a resistor can be dormant", element.id,
                      word_for(element.type)));
    switch (element.type) {
      case KindElement::Type::resistor:
        check_ohm(element.ohm, at, "resistance_ohm");
        break;
      case KindElement::Type::source:
        check_ohm(element.ohm, at, "internal_ohm");
        check_quantity(element.volt, at, "emf_volt");
        break;
      case KindElement::Type::contact:
        check_ohm(element.ohm, at, "closed_ohm");
        check_clause(element.closed_when, at + "/closed_when");
        break;
      case KindElement::Type::diode:
        check_ohm(element.ohm, at, "on_ohm");
        check_quantity(element.volt, at, "forward_volt");
        break;
      case KindElement::Type::input:
        check_ohm(element.ohm, at, "resistance_ohm");
        check_thresholds(element.rises, element.falls, at, "rises_to_volt", "falls_to_volt");
        break;
    }
  }

  const KindElement* check_named(const std::string& name, const std::string& pointer) {
    const auto* found = kind_.element(name);
    if (found == nullptr)
      add(Code::reference, pointer,
          fmt::format("Kind '{}' has no element '{}'{}", kind_.id, name,
                      suggestion(name, elements_)));
    return found;
  }

  void check_named_type(const std::string& name, KindElement::Type type,
                        const std::string& pointer) {
    const auto* found = check_named(name, pointer);
    if (found != nullptr && found->type != type)
      add(Code::value, pointer,
          fmt::format("'{}' is a {}; only a {} can stand here", name, word_for(found->type),
                      word_for(type)));
  }

  void check_clause(const Clause& clause, const std::string& at) {
    switch (clause.type) {
      case Clause::Type::operated:
        break;
      case Clause::Type::volts:
        check_pair(clause.a, clause.b, at + "/volts");
        check_thresholds(clause.rises, clause.falls, at, "rises_to_volt", "falls_to_volt");
        break;
      case Clause::Type::amps:
        check_named(clause.element, at + "/amps");
        check_thresholds(clause.rises, clause.falls, at, "rises_to_ampere", "falls_to_ampere");
        break;
      case Clause::Type::signal:
        check_named_type(clause.element, KindElement::Type::input, at + "/signal");
        break;
      case Clause::Type::closed:
        check_named_type(clause.element, KindElement::Type::contact, at + "/closed");
        break;
      case Clause::Type::all:
      case Clause::Type::any:
        for (std::size_t i = 0; i < clause.parts.size(); ++i)
          check_clause(
              clause.parts[i],
              fmt::format("{}/{}/{}", at, clause.type == Clause::Type::all ? "all" : "any", i));
        break;
      case Clause::Type::negate:
        check_clause(clause.parts.front(), at + "/not");
        break;
    }
  }

  void check_mode(const KindMode& mode) {
    for (const auto& change : mode.changes) check_change(change, mode);
    const bool adds = std::any_of(mode.changes.begin(), mode.changes.end(),
                                  [](const auto& change) { return change.add_ohm.has_value(); });
    if (mode.spread_factor > 1 && !adds)
      add(Code::value, mode.pointer + "/spread_factor",
          fmt::format("Mode '{}' adds no resistance that could spread; give a change 'add_ohm' or "
                      "take 'spread_factor' away",
                      mode.id));
    if (mode.touches == KindMode::Touches::nothing) return;
    check_ohm(mode.touch_ohm, mode.pointer, "touch_ohm");
    if (mode.earlier_work())
      add(Code::value, mode.pointer + "/cause",
          fmt::format("Mode '{}' touches something, which is no earlier work; take 'cause' away",
                      mode.id));
    if (kind_.terminals.size() != 2 || kind_.elements.size() != 1 ||
        kind_.elements.front().type != KindElement::Type::resistor)
      add(Code::value, mode.pointer + "/touches",
          fmt::format("Kind '{}' is no wire, a single resistor between two terminals; give "
                      "'changes' in place of 'touches'",
                      kind_.id));
  }

  void check_swaps() {
    const auto place = [](const KindSwap& swap) { return std::minmax(swap.a, swap.b); };
    for (std::size_t s = 0; s < kind_.swaps.size(); ++s) {
      const auto& swap = kind_.swaps[s];
      const auto at = fmt::format("{}/{}", kind_.swaps_pointer, s);
      check_pair(swap.a, swap.b, at);
      for (std::size_t other = 0; other < s; ++other)
        if (place(swap) == place(kind_.swaps[other]))
          add(Code::duplicate, at,
              fmt::format("Terminals '{}' and '{}' are listed twice", swap.a, swap.b));
    }
  }

  void check_change(const KindChange& change, const KindMode& mode) {
    const auto at = fmt::format("{}/changes/{}", mode.pointer, pointer_token(change.element));
    const auto* element = check_named(change.element, at);
    if (change.add_ohm) check_ohm(*change.add_ohm, at, "add_ohm");
    if (change.resistance_ohm) check_ohm(*change.resistance_ohm, at, "resistance_ohm");
    if (change.shorted_ohm) check_ohm(*change.shorted_ohm, at, "shorted_ohm");
    if (change.emf_volt) check_quantity(*change.emf_volt, at, "emf_volt");
    if (element == nullptr) return;
    const auto suits = [&](bool suitable, std::string_view key, std::string_view needs) {
      if (!suitable)
        add(Code::value, fmt::format("{}/{}", at, key),
            fmt::format("'{}' does not suit '{}', a {}; it needs {}", key, change.element,
                        word_for(element->type), needs));
    };
    const auto type = element->type;
    suits(!change.stuck || type == KindElement::Type::contact, "stuck", "a contact");
    suits(!change.emf_volt || type == KindElement::Type::source, "emf_volt", "a source");
    suits(!change.reversed || type == KindElement::Type::source || type == KindElement::Type::diode,
          "reversed", "a source or a diode");
    suits(change.threshold_factor == 1 || has_threshold(*element), "threshold_factor",
          "an input, or a contact whose own condition compares volts or amps");
    if (element->dormant && !change.shorted_ohm)
      add(Code::value, at,
          fmt::format("'{}' is dormant; only 'shorted_ohm' makes it conduct", change.element));
  }

  /// Finds contacts whose `closed` conditions come back to themselves.
  void check_contact_loops() {
    std::vector<std::string> done;
    std::vector<std::string> path;
    for (const auto& element : kind_.elements) follow(element.id, path, done);
  }

  void follow(const std::string& name, std::vector<std::string>& path,
              std::vector<std::string>& done) {
    if (const auto again = std::find(path.begin(), path.end(), name); again != path.end()) {
      add(Code::loop, kind_.element(name)->pointer + "/closed_when",
          fmt::format("Contacts of kind '{}' close on each other in a loop: {} -> {}", kind_.id,
                      fmt::join(again, path.end(), " -> "), name));
      return;
    }
    const auto* element = kind_.element(name);
    if (element == nullptr || std::find(done.begin(), done.end(), name) != done.end()) return;
    path.push_back(name);
    std::vector<std::string> names;
    if (element->type == KindElement::Type::contact) collect_closed(element->closed_when, names);
    for (const auto& next : names) follow(next, path, done);
    path.pop_back();
    done.push_back(name);
  }

  const PartKind& kind_;
  std::string pointer_;
  std::vector<Problem>& problems_;
  std::vector<std::string> parameters_;
  std::vector<std::string> elements_;
};

}  // namespace

void check_kind(const PartKind& kind, std::string_view pointer, std::vector<Problem>& problems) {
  Checker(kind, pointer, problems).check();
}

}  // namespace faultloom::documents
