#include <faultloom/circuit/circuit.hpp>

#include <algorithm>

namespace faultloom::circuit {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

using vehicle::ElementType;

bool switches(const vehicle::Element& element) {
  return element.type == ElementType::contact || element.type == ElementType::diode;
}

bool has_emf(const vehicle::Element& element) {
  return element.type == ElementType::source || element.type == ElementType::diode;
}

/// An element's values while modes are being applied to it.
struct Draft {
  double ohm;
  double add_ohm = 0;
  double emf_volt;
  bool open;
  bool shorted = false;
  std::int8_t stuck = -1;
  double threshold_factor = 1;
  bool reversed = false;
  bool dormant;

  explicit Draft(const vehicle::Element& element)
      : ohm(element.ohm),
        emf_volt(has_emf(element) ? element.emf_volt : 0),
        open(element.dormant),
        dormant(element.dormant) {}

  void apply(const vehicle::Change& change) {
    if (change.ohm) ohm = *change.ohm;
    if (change.emf_volt) emf_volt = *change.emf_volt;
    if (change.shorted_ohm) {
      ohm = *change.shorted_ohm;
      shorted = true;
      open = open && !dormant;
    }
    if (change.stuck && stuck != 0) stuck = *change.stuck ? std::int8_t{1} : std::int8_t{0};
    open = open || change.open;
    add_ohm += change.add_ohm;
    threshold_factor *= change.threshold_factor;
    reversed = reversed != change.reversed;
  }

  [[nodiscard]] Override finish(Index element, bool is_contact) const {
    Override result;
    result.element = element;
    result.stuck = is_contact ? stuck : std::int8_t{-1};
    result.threshold_factor = threshold_factor;
    result.reversed = reversed;
    if (open || result.stuck == 0) {
      result.stuck = is_contact ? std::int8_t{0} : std::int8_t{-1};
      return result;
    }
    result.siemens = 1.0 / (ohm + add_ohm);
    if (shorted) {
      if (is_contact) result.stuck = 1;
    } else {
      result.ampere = result.siemens * (reversed ? -emf_volt : emf_volt);
    }
    return result;
  }
};

bool changes_nothing(const Override& o, double siemens, double ampere) {
  return o.siemens == siemens && o.ampere == ampere && o.stuck < 0 && o.threshold_factor == 1 &&
         !o.reversed;
}

}  // namespace

Circuit::Circuit(const vehicle::Vehicle& vehicle) : vehicle_(&vehicle) {
  std::vector<std::int32_t> node_of;
  std::vector<double> leakage;
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t) {
    if (static_cast<Index>(t) == vehicle.datum) {
      node_of.push_back(-1);
      continue;
    }
    node_of.push_back(static_cast<std::int32_t>(leakage.size()));
    leakage.push_back(1.0 / vehicle.terminals[t].leakage_ohm);
  }
  std::vector<Branch> branches;
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    const auto& element = vehicle.elements[e];
    branches.push_back({node_of[at(element.a)], node_of[at(element.b)], has_emf(element)});
    contact_of_.push_back(switches(element) ? static_cast<Index>(contacts_.size()) : none);
    if (switches(element)) contacts_.push_back(static_cast<Index>(e));
    healthy_.siemens.push_back(element.dormant ? 0.0 : 1.0 / element.ohm);
    healthy_.ampere.push_back(has_emf(element) ? element.emf_volt / element.ohm : 0.0);
  }
  plan_ = std::make_unique<const EliminationPlan>(static_cast<std::int32_t>(leakage.size()),
                                                  branches, leakage);
  for (const auto node : node_of) terminal_rank_.push_back(node < 0 ? -1 : plan_->rank_of(node));
  followers_.resize(vehicle.elements.size());
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e)
    if (const auto wire = vehicle.elements[e].follows; wire != none)
      followers_[at(wire)].push_back(static_cast<Index>(e));
  collect_driving_atoms();
  collect_toleranced();
}

void Circuit::collect_toleranced() {
  toleranced_ranks_ = Bits(static_cast<std::size_t>(plan_->node_count()));
  for (std::size_t e = 0; e < vehicle_->elements.size(); ++e) {
    const auto& element = vehicle_->elements[e];
    if (element.tolerance <= 0 || element.dormant) continue;
    toleranced_.push_back({static_cast<Index>(e), element.tolerance / 2});
    for (const auto terminal : {element.a, element.b})
      if (const auto rank = terminal_rank_[at(terminal)]; rank >= 0)
        toleranced_ranks_ |= plan_->path(rank);
  }
}

void Circuit::collect_driving_atoms() {
  std::vector<bool> drives(vehicle_->atoms.size(), false);
  for (std::size_t c = 0; c < contacts_.size(); ++c) {
    bool driven = false;
    for (const auto& op : vehicle_->elements[at(contacts_[c])].closed_when.ops) {
      if (op.type != vehicle::Condition::Op::Type::atom) continue;
      drives[at(op.index)] = true;
      driven = true;
    }
    if (driven) driven_contacts_.push_back(static_cast<Index>(c));
  }
  sensed_ = Bits(static_cast<std::size_t>(plan_->node_count()));
  const auto sense = [&](Index terminal) {
    if (const auto rank = terminal_rank_[at(terminal)]; rank >= 0) sensed_ |= plan_->path(rank);
  };
  for (std::size_t i = 0; i < drives.size(); ++i) {
    if (!drives[i]) continue;
    driving_atoms_.push_back(static_cast<Index>(i));
    const auto& atom = vehicle_->atoms[i];
    if (atom.type == vehicle::Atom::Type::volts) {
      sense(atom.a);
      sense(atom.b);
    } else {
      sense(vehicle_->elements[at(atom.element)].a);
      sense(vehicle_->elements[at(atom.element)].b);
    }
  }
}

Overrides overrides_of(const Circuit& circuit, std::span<const Index> modes) {
  std::vector<vehicle::Change> changes;
  for (const auto mode : modes) {
    const auto& more = circuit.vehicle().modes[at(mode)].changes;
    changes.insert(changes.end(), more.begin(), more.end());
  }
  return overrides_of(circuit, changes);
}

std::vector<Setting> settings_of(const vehicle::Vehicle& vehicle, std::span<const Index> modes) {
  std::vector<Setting> settings;
  for (const auto m : modes)
    if (const auto& mode = vehicle.modes[at(m)]; mode.control != none)
      settings.push_back({mode.control, mode.position});
  std::sort(settings.begin(), settings.end());
  return settings;
}

Overrides overrides_of(const Circuit& circuit, std::span<const vehicle::Change> changes) {
  const auto& v = circuit.vehicle();
  std::vector<std::pair<Index, Draft>> drafts;
  for (const auto& change : changes) {
    auto draft = std::find_if(drafts.begin(), drafts.end(),
                              [&](const auto& d) { return d.first == change.element; });
    if (draft == drafts.end()) {
      drafts.emplace_back(change.element, Draft(v.elements[at(change.element)]));
      draft = drafts.end() - 1;
    }
    draft->second.apply(change);
  }
  std::sort(drafts.begin(), drafts.end(),
            [](const auto& a, const auto& b) { return a.first < b.first; });
  Overrides result;
  for (const auto& [element, draft] : drafts) {
    const auto o = draft.finish(element, circuit.contact_of(element) != none);
    if (!changes_nothing(o, circuit.healthy().siemens[at(element)],
                         circuit.healthy().ampere[at(element)]))
      result.push_back(o);
  }
  return result;
}

}  // namespace faultloom::circuit
