#include <faultloom/advice/trials.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numeric>
#include <utility>

namespace faultloom::advice {
namespace {

using readings::Entry;
using readings::Instrument;
using readings::Outcome;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

constexpr std::array<Outcome, 3> sign_words{Outcome::yes, Outcome::no, Outcome::chatters};
constexpr double sign_minutes = 0.2;
/// To move the wires and plugs of a zone by hand; common practice, no source.
constexpr double wiggle_minutes = 1.5;
/// To try once more whether it runs: press, see the wheel turn, let go; common practice, no source.
constexpr double try_minutes = 0.15;

bool needs_isolation(const Instrument& instrument) {
  return instrument.type == Instrument::Type::ohmmeter ||
         instrument.type == Instrument::Type::beeper;
}

bool warns_of_lamp(const vehicle::Component& component) {
  return std::find(component.cautions.begin(), component.cautions.end(), "lamp_on_logic") !=
         component.cautions.end();
}

/// The wire element that an entry had off beside the isolation's, none if there was none.
Index lifted_beside(const vehicle::Vehicle& vehicle, const Entry& entry) {
  const auto& isolation = vehicle.isolation.lifted_elements;
  for (const auto e : entry.lifted_elements)
    if (std::find(isolation.begin(), isolation.end(), e) == isolation.end()) return e;
  return vehicle::none;
}

Index lead_of(const Entry& entry) {
  return entry.bridged_elements.empty() ? vehicle::none : entry.bridged_elements.front();
}

}  // namespace

std::vector<bool> logic_level_terminals(const vehicle::Vehicle& vehicle) {
  std::vector<std::size_t> parent(vehicle.terminals.size());
  std::iota(parent.begin(), parent.end(), std::size_t{0});
  const auto root = [&](std::size_t t) {
    while (parent[t] != t) t = parent[t] = parent[parent[t]];
    return t;
  };
  using Type = vehicle::Component::Type;
  const auto joins = [&](const vehicle::Element& e) {
    return !e.dormant && std::all_of(e.components.begin(), e.components.end(), [&](Index c) {
      const auto type = vehicle.components[at(c)].type;
      return type == Type::wire || type == Type::termination || type == Type::contact;
    });
  };
  for (const auto& e : vehicle.elements)
    if (joins(e)) parent[root(at(e.a))] = root(at(e.b));
  std::vector<bool> logic(vehicle.terminals.size(), false);
  std::vector<bool> signal(vehicle.terminals.size(), false);  // by root
  std::vector<bool> other(vehicle.terminals.size(), false);
  for (std::size_t t = 0; t < logic.size(); ++t) {
    const auto& component = vehicle.components[at(vehicle.terminals[t].component)];
    logic[t] = warns_of_lamp(component);
    if (logic[t]) {
      signal[root(t)] = true;
    } else if (component.type == Type::part) {
      other[root(t)] = true;
    }
  }
  for (std::size_t t = 0; t < logic.size(); ++t)
    logic[t] = logic[t] || (signal[root(t)] && !other[root(t)]);
  return logic;
}

Setup setup_after(const vehicle::Vehicle& vehicle, std::span<const Entry> entries) {
  for (std::size_t i = entries.size(); i-- > 0;) {
    const auto& entry = entries[i];
    if (entry.type != Entry::Type::reading && entry.type != Entry::Type::sign) continue;
    return {entry.state, !entry.lifted_elements.empty(), lifted_beside(vehicle, entry),
            lead_of(entry)};
  }
  return {vehicle.rest_state(), false, vehicle::none, vehicle::none};
}

TrialFactory::TrialFactory(belief::Belief& belief, PredictionStore& store, const LiveSet& live,
                           const RepairCosts& costs, const Constraints& constraints,
                           const std::vector<bool>& open_zones)
    : belief_(&belief),
      store_(&store),
      live_(&live),
      costs_(&costs),
      constraints_(&constraints),
      open_zones_(&open_zones),
      present_(setup_after(costs.vehicle(), constraints.made)),
      logic_(logic_level_terminals(costs.vehicle())) {
  for (const auto& entry : constraints.made) visit_ = std::max(visit_, entry.visit);
  for (const auto& entry : constraints.made) remember(entry);
}

bool TrialFactory::allowed(Index zone) const {
  const auto& off = constraints_->closed_zones;
  return std::find(off.begin(), off.end(), zone) == off.end();
}

bool TrialFactory::reachable(Index terminal) const {
  const auto& t = costs_->vehicle().terminals[at(terminal)];
  return t.reachable && allowed(t.zone);
}

bool TrialFactory::usable(std::size_t instrument, const PredictionStore::Place& place,
                          bool isolated) const {
  const auto& at_hand = constraints_->instruments;
  if (!at_hand.empty() &&
      std::find(at_hand.begin(), at_hand.end(), static_cast<int>(instrument)) == at_hand.end())
    return false;
  const auto& i = belief_->instruments().instruments[instrument];
  if (i.type == Instrument::Type::clamp || needs_isolation(i) != isolated) return false;
  // Across an element: a drop under load, or its resistance with the pack isolated.
  if (!isolated && place.element != vehicle::none && i.type != Instrument::Type::voltmeter)
    return false;
  const bool loads = (i.type == Instrument::Type::lamp && i.current_exponent != 1) ||
                     (i.type == Instrument::Type::voltmeter && i.resistance_ohm < 1e5);
  // It would draw enough to damage a logic or sensor output.
  return !loads || (!logic_[at(place.red)] &&
                    (place.black == costs_->vehicle().datum || !logic_[at(place.black)]));
}

/// With the pack on, an element that ends at the datum is the same as its other terminal.
bool TrialFactory::repeats_terminal(const PredictionStore::Place& place) const {
  return place.element != vehicle::none && place.black == costs_->vehicle().datum;
}

/// Whether an entry was this step already, in any of these states.
bool TrialFactory::made(const Step& step, Index lifted_element,
                        std::span<const vehicle::ControlState> states) const {
  Deed deed;
  deed.instrument = step.instrument;
  deed.red = step.red;
  deed.black = step.black;
  deed.isolated = step.isolated;
  deed.lifted = lifted_element;
  deed.bridged = step.element;
  deed.sign = step.sign;
  deed.wiggled_zone = step.wiggled_zone;
  deed.caught = step.when_sign != vehicle::none;
  if (step.type == Step::Type::look) deed.component = step.component;
  if (states.empty()) return deeds_.contains(deed);
  return std::any_of(states.begin(), states.end(), [&](const vehicle::ControlState& state) {
    deed.state = state;
    return deeds_.contains(deed);
  });
}

void TrialFactory::remember(const Entry& entry) {
  Deed deed;
  switch (entry.type) {
    case Entry::Type::reading:
      deed.instrument = entry.instrument;
      deed.red = entry.red;
      deed.black = entry.black;
      deed.isolated = !entry.lifted_elements.empty();
      deed.lifted = lifted_beside(costs_->vehicle(), entry);
      deed.bridged = lead_of(entry);
      deed.state = entry.state;
      break;
    case Entry::Type::sign:
      deed.bridged = lead_of(entry);
      deed.sign = entry.sign;
      if (entry.provocation == Entry::Provocation::wiggle) deed.wiggled_zone = entry.provoked_zone;
      deed.state = entry.state;
      break;
    case Entry::Type::look:
      deed.component = entry.component;
      break;
    case Entry::Type::cue:
    case Entry::Type::repair:
      return;
  }
  deed.caught = !entry.moment.empty() && entry.id == entry.moment;
  deeds_.insert(deed);
  if (entry.visit == visit_) tries_.insert(deed);
  if (!deed.isolated) return;
  std::swap(deed.red, deed.black);  // ohms read the same either way
  deeds_.insert(deed);
}

void TrialFactory::price(Trial& trial) const {
  const auto& vehicle = costs_->vehicle();
  auto& step = trial.step;
  double own = 0;
  const auto visit = [&](Index zone) {
    if (zone != vehicle::none &&
        std::find(trial.zones.begin(), trial.zones.end(), zone) == trial.zones.end())
      trial.zones.push_back(zone);
  };
  for (const auto t : {step.red, step.black}) {
    if (t == vehicle::none) continue;
    visit(vehicle.terminals[at(t)].zone);
    own += vehicle.terminals[at(t)].minutes;
  }
  if (step.type == Step::Type::look) {
    visit(vehicle.components[at(step.component)].zone);
    own += vehicle.components[at(step.component)].look_minutes;
  }
  if (step.lifted != vehicle::none) visit(vehicle.components[at(step.lifted)].zone);
  if (step.instrument >= 0)
    own += belief_->instruments().instruments[static_cast<std::size_t>(step.instrument)].minutes;
  if (step.sign != vehicle::none) own += sign_minutes;
  if (step.wiggled_zone != vehicle::none) {
    visit(step.wiggled_zone);
    own += wiggle_minutes;
  }
  own += try_minutes * trial.tries;
  trial.own_minutes = own;
  double minutes = own;
  if (!trial.setup.state.empty()) {
    minutes += change_minutes(vehicle, costs_->prices(), present_, trial.setup);
    step.needs_helper = needs_helper(vehicle, trial.setup);
  }
  for (const auto z : trial.zones) {
    if ((*open_zones_)[at(z)]) continue;
    step.zones_to_open.push_back(z);
    minutes += vehicle.zones[at(z)].open_minutes + vehicle.zones[at(z)].close_minutes;
  }
  step.minutes = minutes;
  step.cost_usd = costs_->prices().of_minutes(minutes);
}

bool TrialFactory::settle(Trial& trial) const {
  trial.step.state = trial.setup.state;
  trial.step.isolated = trial.setup.isolated;
  price(trial);
  return trial.step.minutes <= constraints_->most_minutes;
}

void TrialFactory::keep(Trial&& trial, const std::vector<std::int32_t>& by_candidate) {
  keep(std::move(trial), by_candidate, PlacePorts::hash_of(by_candidate));
}

/// Of trials that predict the same for every candidate the cheapest is kept.
void TrialFactory::keep(Trial&& trial, const std::vector<std::int32_t>& by_candidate,
                        std::uint64_t hash) {
  if (!settle(trial)) return;
  auto& list = known_[hash];
  for (const auto& [codes, i] : list) {
    auto& other = trials_[i];
    // Rows for what comes and goes were added to the other one's.
    if (other.step.instrument != trial.step.instrument || codes != by_candidate ||
        other.rows.size() < trial.rows.size() ||
        !std::equal(trial.rows.begin(), trial.rows.end(), other.rows.begin()))
      continue;
    if (trial.step.cost_usd < other.step.cost_usd) {
      trial.codes = std::move(other.codes);
      trial.plain = std::move(other.plain);
      trial.rows = std::move(other.rows);
      other = std::move(trial);
    }
    return;
  }
  set_codes(trial, by_candidate);
  list.emplace_back(by_candidate, trials_.size());
  trials_.push_back(std::move(trial));
}

/// What comes and goes is at work in one test and quiet in the next one, as far as nothing says that it
/// stays as it is: no test may count on what another one found of that.
void TrialFactory::set_codes(Trial& trial, std::span<const std::int32_t> by_candidate) const {
  std::map<std::vector<std::int32_t>, std::int32_t> known;
  trial.codes.resize(live_->hypotheses.size());
  bool mixed = false;
  for (std::size_t h = 0; h < trial.codes.size(); ++h) {
    const auto& item = live_->hypotheses[h];
    trial.codes[h] = by_candidate[at(item.live)];
    if (!item.swing) continue;
    const auto lively = by_candidate[at(item.swing->lively)];
    const auto quiet = by_candidate[at(item.swing->quiet)];
    if (lively == quiet) continue;
    mixed = true;
    trial.codes[h] = mixed_code(trial, lively, quiet, item.swing->shows, known);
  }
  if (mixed) trial.plain.assign(by_candidate.begin(), by_candidate.end());
}

std::int32_t TrialFactory::mixed_code(
    Trial& trial, std::int32_t lively, std::int32_t quiet, double shows,
    std::map<std::vector<std::int32_t>, std::int32_t>& known) const {
  const auto steps = static_cast<std::int32_t>(std::lround(shows * PredictionStore::share_steps));
  if (steps <= 0) return quiet;
  if (steps >= PredictionStore::share_steps) return lively;
  if (trial.store != nullptr)
    return store_->mixed(static_cast<std::size_t>(trial.step.instrument), lively, quiet, steps);
  const auto [entry, added] =
      known.try_emplace({lively, quiet, steps}, static_cast<std::int32_t>(trial.rows.size()));
  if (added)
    trial.rows.push_back(
        OutcomeTable::mixture(trial.rows[at(lively)], trial.rows[at(quiet)],
                              static_cast<double>(steps) / PredictionStore::share_steps));
  return entry->second;
}

std::vector<Trial> TrialFactory::make(const Progress& progress) {
  rows_ = store_->rows(belief_->solver(), live_->candidates, progress);
  trials_.clear();
  known_.clear();
  known_caught_.clear();
  shown_.clear();
  add_looks();
  if (constraints_->allow_live) {
    for (const auto& alike : alike_states()) add_readings(alike);
    for (std::size_t s = 0; s < store_->states().size(); ++s) add_signs(s);
    add_bridges();
    add_tries();
    add_catches();
  }
  if (store_->can_isolate()) {
    Alike isolated;
    isolated.setup = {costs_->vehicle().rest_state(), true, vehicle::none, vehicle::none};
    isolated.states = {isolated.setup.state};
    isolated.minutes =
        change_minutes(costs_->vehicle(), costs_->prices(), present_, isolated.setup);
    for (const auto* row : rows_)
      isolated.networks.push_back(row->network_of[store_->states().size()]);
    add_readings(isolated);
    add_lifts();
  }
  return std::move(trials_);
}

std::string TrialFactory::label(const Trial& trial, std::size_t outcome) const {
  if (trial.step.when_sign != vehicle::none) {
    if (outcome + 1 == trial.outcomes) return "never fails";
    if (trial.step.instrument >= 0)
      return store_->table(static_cast<std::size_t>(trial.step.instrument)).label(outcome);
  }
  if (trial.store != nullptr)
    return store_->table(static_cast<std::size_t>(trial.step.instrument)).label(outcome);
  if (trial.step.sign != vehicle::none) return std::string(readings::name_of(sign_words[outcome]));
  return outcome == 0 ? "damage" : "clean";
}

}  // namespace faultloom::advice
