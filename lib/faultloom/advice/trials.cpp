#include <faultloom/advice/trials.hpp>

#include <algorithm>
#include <array>
#include <boost/container_hash/hash.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>
#include <tuple>
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
/// Wires lifted and suspects bridged in the comparison: those nearest to the heaviest suspects.
constexpr std::size_t most_suspects = 12;
constexpr std::size_t most_lifts = 12;
constexpr std::size_t most_bridges = 8;

bool needs_isolation(const Instrument& instrument) {
  return instrument.type == Instrument::Type::ohmmeter ||
         instrument.type == Instrument::Type::beeper;
}

bool warns_of_lamp(const vehicle::Component& component) {
  return std::find(component.cautions.begin(), component.cautions.end(), "lamp_on_logic") !=
         component.cautions.end();
}

bool all_equal(std::span<const std::int32_t> codes) {
  return std::all_of(codes.begin(), codes.end(),
                     [&](std::int32_t c) { return c == codes.front(); });
}

/// The wire element that an entry had off beside the isolation's, none if there was none.
Index lifted_beside(const vehicle::Vehicle& vehicle, const Entry& entry) {
  const auto& isolation = vehicle.isolation.lifted_elements;
  for (const auto e : entry.lifted_elements)
    if (std::find(isolation.begin(), isolation.end(), e) == isolation.end()) return e;
  return vehicle::none;
}

/// The hash of ports with one more.
std::uint64_t with_port(std::uint64_t hash, std::uint32_t port) {
  hash = (hash ^ port) * 0x9e3779b97f4a7c15ULL;
  return hash ^ (hash >> 29U);
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

std::size_t TrialFactory::prediction_hash(int instrument,
                                          std::span<const std::int32_t> by_candidate) {
  // Two chains, so that the next product need not wait for the last one.
  std::uint64_t even = static_cast<std::uint64_t>(instrument) + 1;
  std::uint64_t odd = 0;
  std::size_t c = 0;
  for (; c + 1 < by_candidate.size(); c += 2) {
    even = with_port(even, static_cast<std::uint32_t>(by_candidate[c]));
    odd = with_port(odd, static_cast<std::uint32_t>(by_candidate[c + 1]));
  }
  if (c < by_candidate.size()) even = with_port(even, static_cast<std::uint32_t>(by_candidate[c]));
  return static_cast<std::size_t>(with_port(even ^ (odd >> 1U), static_cast<std::uint32_t>(odd)));
}

/// Whether a reading that predicts what live_codes_ hold is kept already and costs no more than one that
/// takes so many minutes beside the instrument's own. What it takes to build one to drop is saved.
bool TrialFactory::kept_for(int instrument, double minutes) const {
  const auto found = known_.find(prediction_hash(instrument, live_codes_));
  if (found == known_.end()) return false;
  const auto own = belief_->instruments().instruments[static_cast<std::size_t>(instrument)].minutes;
  return std::any_of(found->second.begin(), found->second.end(), [&](const auto& item) {
    const auto& step = trials_[item.second].step;
    return step.instrument == instrument && step.minutes <= minutes + own &&
           item.first == live_codes_;
  });
}

/// Of trials that predict the same for every candidate the cheapest is kept.
void TrialFactory::keep(Trial&& trial, const std::vector<std::int32_t>& by_candidate) {
  if (!settle(trial)) return;
  auto& list = known_[prediction_hash(trial.step.instrument, by_candidate)];
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

double TrialFactory::place_minutes(const PredictionStore::Place& place) const {
  const auto& vehicle = costs_->vehicle();
  double minutes = 0;
  const auto& red = vehicle.terminals[at(place.red)];
  const auto& black = vehicle.terminals[at(place.black)];
  minutes += red.minutes + black.minutes;
  const auto visit = [&](Index zone) {
    if (zone != vehicle::none && !(*open_zones_)[at(zone)])
      minutes += vehicle.zones[at(zone)].open_minutes + vehicle.zones[at(zone)].close_minutes;
  };
  visit(red.zone);
  if (black.zone != red.zone) visit(black.zone);
  return minutes;
}

template <typename PortOf>
void TrialFactory::offer(const PredictionStore::Place& place, const Setup& setup,
                         double setup_minutes, std::span<const vehicle::ControlState> states,
                         std::size_t pattern, const PortOf& port_of) {
  const auto instruments = belief_->instruments().instruments.size();
  if (!reachable(place.red) || !reachable(place.black)) return;
  // Most places show the same as another one that is no more trouble to get at: what instruments make of
  // it need not be asked again.
  const bool logic = logic_[at(place.red)] || logic_[at(place.black)];
  const bool across = !setup.isolated && place.element != vehicle::none;
  boost::hash_combine(pattern, (setup.isolated ? 1U : 0U) + (logic ? 2U : 0U) + (across ? 4U : 0U));
  const double minutes = setup_minutes + place_minutes(place);
  const auto shown = shown_.find(pattern);
  if (shown != shown_.end() && shown->second <= minutes) return;
  bool all = true;
  for (std::size_t i = 0; i < instruments; ++i) {
    if (!usable(i, place, setup.isolated)) continue;
    find_codes(i, port_of);
    if (all_equal(live_codes_)) continue;
    if (!setup.isolated && kept_for(static_cast<int>(i), minutes)) continue;
    Trial trial;
    trial.store = store_;
    trial.outcomes = store_->table(i).outcome_count();
    trial.step.type = Step::Type::reading;
    trial.step.instrument = static_cast<int>(i);
    trial.step.red = place.red;
    trial.step.black = place.black;
    trial.setup = setup;
    trial.step.isolated = setup.isolated;
    if (setup.lifted != vehicle::none) {
      trial.step.type = Step::Type::lift;
      trial.step.lifted = lifted_end(setup.lifted);
    }
    if (made(trial.step, setup.lifted, states)) {
      all = false;
      continue;
    }
    keep(std::move(trial), live_codes_);
  }
  if (all) shown_[pattern] = minutes;
}

std::vector<TrialFactory::Alike> TrialFactory::alike_states() const {
  const auto& vehicle = costs_->vehicle();
  std::vector<Alike> list;
  std::map<std::vector<std::uint16_t>, std::size_t> place;
  const auto count = store_->states().size();
  for (std::size_t s = 0; s < count; ++s) {
    std::vector<std::uint16_t> networks;
    networks.reserve(rows_.size());
    for (const auto* row : rows_) networks.push_back(row->network_of[s]);
    const Setup setup{store_->states()[s], false, vehicle::none, vehicle::none};
    const double minutes = change_minutes(vehicle, costs_->prices(), present_, setup);
    const auto [entry, added] = place.emplace(networks, list.size());
    if (added) {
      list.push_back({std::move(networks), setup, minutes, {setup.state}});
      continue;
    }
    auto& known = list[entry->second];
    known.states.push_back(setup.state);
    if (minutes < known.minutes) {
      known.minutes = minutes;
      known.setup = setup;
    }
  }
  return list;
}

void TrialFactory::add_readings(const Alike& alike) {
  const auto& places = store_->places();
  std::vector<const std::uint32_t*> ports;
  ports.reserve(rows_.size());
  for (std::size_t c = 0; c < rows_.size(); ++c)
    ports.push_back(rows_[c]->networks[alike.networks[c]].ports.data());
  compared_ += places.size() * belief_->instruments().instruments.size() * alike.states.size();
  // Candidate by candidate, as the numbers lie in memory: most places differ under none.
  std::vector<std::uint32_t> differs(places.size(), 0);
  for (const auto* own : ports)
    for (std::size_t p = 0; p < places.size(); ++p) differs[p] |= own[p] ^ ports.front()[p];
  std::vector<std::uint32_t> different;
  for (std::size_t p = 0; p < places.size(); ++p)
    if (differs[p] != 0) different.push_back(static_cast<std::uint32_t>(p));
  std::vector<std::uint64_t> patterns(places.size(), 0);
  for (const auto* own : ports)
    for (const auto p : different) patterns[p] = with_port(patterns[p], own[p]);
  for (const std::size_t p : different) {
    if (!alike.setup.isolated && repeats_terminal(places[p])) continue;
    offer(places[p], alike.setup, alike.minutes, alike.states,
          static_cast<std::size_t>(patterns[p]), [&](std::size_t c) { return ports[c][p]; });
  }
}

std::vector<Index> TrialFactory::heaviest_suspects(std::size_t most) const {
  std::map<Index, double> weights;
  for (const auto& h : live_->hypotheses)
    for (const auto c : h.components) weights[c] += h.weight;
  std::vector<std::pair<double, Index>> sorted;
  sorted.reserve(weights.size());
  for (const auto& [c, w] : weights) sorted.emplace_back(-w, c);
  std::sort(sorted.begin(), sorted.end());
  if (sorted.size() > most) sorted.resize(most);
  std::vector<Index> list;
  list.reserve(sorted.size());
  for (const auto& [w, c] : sorted) list.push_back(c);
  return list;
}

/// The end of a wire that is cheaper to take off, none if both are out of reach.
Index TrialFactory::lifted_end(Index element) const {
  const auto& vehicle = costs_->vehicle();
  const auto wire = std::find_if(vehicle.wires.begin(), vehicle.wires.end(),
                                 [&](const auto& w) { return w.element == element; });
  if (wire == vehicle.wires.end()) return vehicle::none;
  Index best = vehicle::none;
  double least = 0;
  for (const auto end : {wire->from_end, wire->to_end}) {
    if (end == vehicle::none || !allowed(vehicle.components[at(end)].zone)) continue;
    const auto zone = vehicle.components[at(end)].zone;
    const double cost = zone == vehicle::none || (*open_zones_)[at(zone)] ? 0 : costs_->zone(zone);
    if (best == vehicle::none || cost < least) {
      best = end;
      least = cost;
    }
  }
  return best;
}

void TrialFactory::add_lifts() {
  const auto& vehicle = costs_->vehicle();
  const auto& isolation = vehicle.isolation.lifted_elements;
  std::vector<Index> chosen;
  for (const auto c : heaviest_suspects(most_suspects))
    for (const auto& wire : vehicle.wires) {
      const auto& own = vehicle.elements[at(wire.element)];
      const auto& terminals = vehicle.components[at(c)].terminals;
      const auto touches = [&](Index t) {
        return std::find(terminals.begin(), terminals.end(), t) != terminals.end();
      };
      // A wire or one of its ends has no terminals of its own.
      const bool itself =
          std::find(own.components.begin(), own.components.end(), c) != own.components.end();
      if (!itself && !touches(own.a) && !touches(own.b)) continue;
      if (std::find(isolation.begin(), isolation.end(), wire.element) != isolation.end() ||
          std::find(chosen.begin(), chosen.end(), wire.element) != chosen.end() ||
          lifted_end(wire.element) == vehicle::none)
        continue;
      if (chosen.size() < most_lifts) chosen.push_back(wire.element);
    }
  const std::vector<vehicle::ControlState> rest{vehicle.rest_state()};
  for (const auto element : chosen) {
    store_->add_lift(belief_->solver(), live_->candidates, rows_, element);
    const auto& places = store_->lift_places(element);
    const Setup setup{rest.front(), true, element, vehicle::none};
    const double minutes = change_minutes(vehicle, costs_->prices(), present_, setup);
    std::vector<const std::uint32_t*> ports;
    ports.reserve(rows_.size());
    for (const auto* row : rows_) ports.push_back(row->lifted.at(element).data());
    compared_ += places.size() * belief_->instruments().instruments.size();
    for (std::size_t p = 0; p < places.size(); ++p) {
      std::uint64_t pattern = 0;
      bool differs = false;
      for (const auto* own : ports) {
        pattern = with_port(pattern, own[p]);
        differs = differs || own[p] != ports.front()[p];
      }
      if (differs)
        offer(places[p], setup, minutes, rest, static_cast<std::size_t>(pattern),
              [&](std::size_t c) { return ports[c][p]; });
    }
  }
}

void TrialFactory::add_bridges() {
  const auto& vehicle = costs_->vehicle();
  // A lead with a small fuse: not where the motor's current may flow, nor across a source, a fuse or a
  // coil.
  std::vector<bool> power(vehicle.terminals.size(), false);
  for (const auto& wire : vehicle.wires) {
    if (!wire.power) continue;
    power[at(vehicle.elements[at(wire.element)].a)] = true;
    power[at(vehicle.elements[at(wire.element)].b)] = true;
  }
  std::vector<Index> chosen;
  for (const auto c : heaviest_suspects(most_suspects))
    for (std::size_t e = 0; e < vehicle.elements.size() && chosen.size() < most_bridges; ++e) {
      const auto& element = vehicle.elements[e];
      if (element.dormant || std::find(element.components.begin(), element.components.end(), c) ==
                                 element.components.end())
        continue;
      const bool wire = std::any_of(vehicle.wires.begin(), vehicle.wires.end(), [&](const auto& w) {
        return w.element == static_cast<Index>(e);
      });
      if ((!wire && element.type != vehicle::ElementType::contact) || power[at(element.a)] ||
          power[at(element.b)] || !reachable(element.a) || !reachable(element.b) ||
          std::find(chosen.begin(), chosen.end(), static_cast<Index>(e)) != chosen.end())
        continue;
      chosen.push_back(static_cast<Index>(e));
    }
  live_codes_.resize(rows_.size());
  for (const auto element : chosen) {
    store_->add_bridge(belief_->solver(), live_->candidates, rows_, element);
    for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
      ++compared_;
      for (std::size_t c = 0; c < rows_.size(); ++c)
        live_codes_[c] = rows_[c]->bridged.at(element)[s];
      if (all_equal(live_codes_)) continue;
      auto trial = sign_trial(s);
      trial.step.type = Step::Type::bridge;
      trial.step.element = element;
      trial.step.component = vehicle.elements[at(element)].components.front();
      trial.step.red = vehicle.elements[at(element)].a;
      trial.step.black = vehicle.elements[at(element)].b;
      trial.setup = {vehicle.run_state, false, vehicle::none, element};
      const std::vector<vehicle::ControlState> states{vehicle.run_state};
      if (made(trial.step, vehicle::none, states)) continue;
      keep(std::move(trial), live_codes_);
    }
  }
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
