#include <faultloom/documents/part_builder.hpp>

#include <faultloom/documents/latent_builder.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace faultloom::documents {
namespace {

using vehicle::Atom;
using vehicle::Change;
using vehicle::Condition;
using vehicle::Element;
using vehicle::ElementType;
using vehicle::Index;
using vehicle::none;
using vehicle::Vehicle;
using Op = Condition::Op;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

ElementType type_of(KindElement::Type type) {
  switch (type) {
    case KindElement::Type::source:
      return ElementType::source;
    case KindElement::Type::contact:
      return ElementType::contact;
    case KindElement::Type::diode:
      return ElementType::diode;
    case KindElement::Type::resistor:
    case KindElement::Type::input:
      break;
  }
  return ElementType::resistor;
}

constexpr std::size_t max_ops = 1024;
constexpr int max_operands =
    60;  // whoever evaluates a condition keeps its operands in one 64-bit word

/// Largest number of operands that wait at one time while a condition is evaluated.
int operands_waiting(const Condition& condition) {
  int waiting = 0;
  int most = 0;
  for (const auto& op : condition.ops) {
    if (op.type == Op::Type::all || op.type == Op::Type::any) {
      waiting -= op.count - 1;
    } else if (op.type != Op::Type::negate) {
      ++waiting;
    }
    most = std::max(most, waiting);
  }
  return most;
}

class Builder {
 public:
  Builder(const PartUse& use, Vehicle& vehicle, std::vector<Problem>& problems)
      : use_(use), kind_(*use.kind), vehicle_(vehicle), problems_(problems) {}

  Index build() {
    component_ = static_cast<Index>(vehicle_.components.size());
    vehicle_.components.push_back(use_.component);
    if (std::any_of(kind_.modes.begin(), kind_.modes.end(),
                    [](const auto& mode) { return mode.earlier_work(); })) {
      work_ = static_cast<Index>(vehicle_.components.size());
      vehicle_.components.push_back(
          earlier_work_at(use_.component, kind_.work_minutes, kind_.work_price_usd));
    }
    first_terminal_ = static_cast<Index>(vehicle_.terminals.size());
    first_element_ = static_cast<Index>(vehicle_.elements.size());
    add_terminals();
    for (const auto& element : kind_.elements) add_element(element);
    for (const auto& element : kind_.elements) add_own_atom(element);
    conditions_.resize(kind_.elements.size());
    compiled_.resize(kind_.elements.size(), false);
    for (std::size_t e = 0; e < kind_.elements.size(); ++e) {
      if (kind_.elements[e].type == KindElement::Type::contact)
        vehicle_.elements[at(first_element_) + e].closed_when = contact_condition(e);
    }
    for (const auto& sign : kind_.signs) add_sign(sign);
    for (const auto& mode : kind_.modes) add_mode(mode);
    return component_;
  }

 private:
  [[nodiscard]] double value(const Quantity& quantity) const { return value_of(quantity, use_); }

  [[nodiscard]] double tolerance_of(const Quantity& quantity) const {
    const auto found = kind_.parameters.find(quantity.parameter);
    return found == kind_.parameters.end() ? 0 : found->second.tolerance;
  }

  [[nodiscard]] Index terminal(const std::string& name) const {
    for (std::size_t t = 0; t < kind_.terminals.size(); ++t)
      if (kind_.terminals[t] == name) return first_terminal_ + static_cast<Index>(t);
    return none;
  }

  [[nodiscard]] std::size_t position(const std::string& element) const {
    return static_cast<std::size_t>(kind_.element(element) - kind_.elements.data());
  }

  [[nodiscard]] Index element_index(const std::string& name) const {
    return first_element_ + static_cast<Index>(position(name));
  }

  void add_terminals() {
    for (const auto& name : kind_.terminals) {
      vehicle_.components[at(component_)].terminals.push_back(
          static_cast<Index>(vehicle_.terminals.size()));
      vehicle_.terminals.push_back({.name = use_.terminal_prefix + name,
                                    .component = component_,
                                    .zone = use_.component.zone,
                                    .minutes = use_.terminal_minutes,
                                    .leakage_ohm = use_.leakage_ohm});
    }
  }

  void add_element(const KindElement& source) {
    Element element;
    element.name = use_.component.id + "." + source.id;
    element.type = type_of(source.type);
    element.a = terminal(source.a);
    element.b = terminal(source.b);
    element.ohm = value(source.ohm);
    // That of a source is part of how far any pack is from its model.
    if (element.type != ElementType::source) element.tolerance = tolerance_of(source.ohm);
    element.emf_volt = value(source.volt);
    element.dormant = source.dormant;
    element.components = {component_};
    vehicle_.components[at(component_)].elements.push_back(
        static_cast<Index>(vehicle_.elements.size()));
    vehicle_.elements.push_back(std::move(element));
  }

  Index add_atom(Atom atom) {
    vehicle_.atoms.push_back(atom);
    return static_cast<Index>(vehicle_.atoms.size() - 1);
  }

  /// The atom of a diode or an input, which looks at the element's own voltage.
  void add_own_atom(const KindElement& source) {
    auto& element = vehicle_.elements[at(element_index(source.id))];
    Atom atom{.a = element.a, .b = element.b};
    if (source.type == KindElement::Type::diode) {
      atom.rises = atom.falls = element.emf_volt;
      element.atoms = {add_atom(atom)};
      element.closed_when.ops = {{.type = Op::Type::atom, .index = element.atoms.front()}};
    } else if (source.type == KindElement::Type::input) {
      set_thresholds(atom, source.rises, source.falls, source.id);
      element.atoms = {add_atom(atom)};
    }
  }

  void set_thresholds(Atom& atom, const Quantity& rises, const Quantity& falls,
                      const std::string& owner) {
    atom.rises = value(rises);
    atom.falls = value(falls);
    if (atom.falls > atom.rises)
      problems_.push_back(
          {Code::value,
           fmt::format("'{}' of {} falls at {} but rises at {}; it must not fall above its rise",
                       owner, use_.component.id, atom.falls, atom.rises),
           use_.pointer + "/parameters"});
  }

  /// The compiled condition of a contact; contacts it refers to come first. Loops were excluded.
  const Condition& contact_condition(std::size_t e) {
    if (!compiled_[e]) {
      const auto element = first_element_ + static_cast<Index>(e);
      auto condition = compile(kind_.elements[e].closed_when, kind_.elements[e].id,
                               &vehicle_.elements[at(element)].atoms);
      conditions_[e] = std::move(condition);
      compiled_[e] = true;
    }
    return conditions_[e];
  }

  /// `owned` receives the atoms made on the way; it may be null.
  Condition compile(const Clause& clause, const std::string& owner, std::vector<Index>* owned) {
    switch (clause.type) {
      case Clause::Type::operated:
        return operated(clause.operated);
      case Clause::Type::volts:
      case Clause::Type::amps:
        return threshold(clause, owner, owned);
      case Clause::Type::signal:
        return {{{.type = Op::Type::atom,
                  .index = vehicle_.elements[at(element_index(clause.element))].atoms.front()}}};
      case Clause::Type::closed:
        return contact_condition(position(clause.element));
      case Clause::Type::all:
      case Clause::Type::any:
      case Clause::Type::negate:
        break;
    }
    std::vector<Condition> operands;
    for (const auto& part : clause.parts) operands.push_back(compile(part, owner, owned));
    if (clause.type != Clause::Type::negate)
      return bounded(combined(operands, clause.type == Clause::Type::all));
    operands.front().ops.push_back({.type = Op::Type::negate});
    return operands.front();
  }

  /// Contacts that name contacts can double a condition with each step, so its length is bounded
  /// here.
  Condition bounded(Condition condition) {
    if (condition.ops.size() <= max_ops && operands_waiting(condition) <= max_operands)
      return condition;
    if (!limit_reported_)
      problems_.push_back(
          {Code::limit,
           fmt::format("A condition of kind '{}' grows too long once its contacts are put in; the "
                       "limits are {} terms, {} of them side by side",
                       kind_.id, max_ops, max_operands),
           use_.pointer});
    limit_reported_ = true;
    return combined({}, true);
  }

  Condition operated(bool wanted) {
    if (!use_.has_operated && !missing_reported_) {
      missing_reported_ = true;
      problems_.push_back(
          {Code::reference,
           fmt::format(
               "Kind '{}' depends on whether {} is operated; say with 'operated_when' which "
               "controls operate it",
               kind_.id, use_.component.id),
           use_.pointer});
    }
    auto condition = use_.operated;
    if (!wanted) condition.ops.push_back({.type = Op::Type::negate});
    return condition;
  }

  Condition threshold(const Clause& clause, const std::string& owner, std::vector<Index>* owned) {
    Atom atom;
    if (clause.type == Clause::Type::amps) {
      atom.type = Atom::Type::amps;
      atom.element = element_index(clause.element);
    } else {
      atom.a = terminal(clause.a);
      atom.b = terminal(clause.b);
    }
    atom.either_way = clause.either_way;
    atom.stays = clause.stays;
    set_thresholds(atom, clause.rises, clause.falls, owner);
    const auto index = add_atom(atom);
    if (owned != nullptr) owned->push_back(index);
    return {{{.type = Op::Type::atom, .index = index}}};
  }

  void add_sign(const KindSign& source) {
    vehicle_.signs.push_back({.id = source.id,
                              .title = source.title,
                              .component = component_,
                              .sense = source.sense,
                              .when = compile(source.when, source.id, nullptr),
                              .on_change = source.on_change});
  }

  void add_mode(const KindMode& source) {
    if (source.touches != KindMode::Touches::nothing) return;  // only a wire touches anything
    const auto owner = source.earlier_work() ? work_ : component_;
    auto mode = mode_from(source, owner);
    for (const auto& change : source.changes) {
      Change result;
      result.element = element_index(change.element);
      result.open = change.open;
      if (change.add_ohm) result.add_ohm = value(*change.add_ohm);
      if (change.resistance_ohm) result.ohm = value(*change.resistance_ohm);
      if (change.emf_volt) result.emf_volt = value(*change.emf_volt);
      if (change.shorted_ohm) result.shorted_ohm = value(*change.shorted_ohm);
      result.stuck = change.stuck;
      result.reversed = change.reversed;
      result.threshold_factor = change.threshold_factor;
      mode.changes.push_back(result);
      auto& elements = vehicle_.components[at(owner)].elements;
      if (source.earlier_work() &&
          std::find(elements.begin(), elements.end(), result.element) == elements.end())
        elements.push_back(result.element);
    }
    vehicle_.components[at(owner)].modes.push_back(static_cast<Index>(vehicle_.modes.size()));
    vehicle_.modes.push_back(std::move(mode));
  }

  const PartUse& use_;
  const PartKind& kind_;
  Vehicle& vehicle_;
  std::vector<Problem>& problems_;
  Index component_ = none;
  Index work_ = none;
  Index first_terminal_ = none;
  Index first_element_ = none;
  std::vector<Condition> conditions_;
  std::vector<bool> compiled_;
  bool missing_reported_ = false;
  bool limit_reported_ = false;
};

}  // namespace

vehicle::Mode mode_from(const KindMode& source, Index component) {
  vehicle::Mode mode;
  mode.id = source.id;
  mode.title = source.title;
  mode.component = component;
  mode.seen = source.seen;
  mode.spread_factor = source.spread_factor;
  mode.duty = source.duty;
  mode.per_visit = source.per_visit;
  return mode;
}

double value_of(const Quantity& quantity, const PartUse& use) {
  if (quantity.parameter.empty()) return quantity.value;
  if (const auto own = use.parameters.find(quantity.parameter); own != use.parameters.end())
    return own->second;
  const auto found = use.kind->parameters.find(quantity.parameter);
  return found == use.kind->parameters.end() ? 0 : found->second.value;
}

Condition combined(const std::vector<Condition>& operands, bool all) {
  if (operands.size() == 1) return operands.front();
  Condition result;
  for (const auto& operand : operands)
    result.ops.insert(result.ops.end(), operand.ops.begin(), operand.ops.end());
  if (operands.empty()) {
    result.ops.push_back({.type = Op::Type::constant, .count = all ? 1 : 0});
  } else {
    result.ops.push_back(
        {.type = all ? Op::Type::all : Op::Type::any, .count = static_cast<int>(operands.size())});
  }
  return result;
}

vehicle::Index add_part(const PartUse& use, Vehicle& vehicle, std::vector<Problem>& problems) {
  return Builder(use, vehicle, problems).build();
}

}  // namespace faultloom::documents
