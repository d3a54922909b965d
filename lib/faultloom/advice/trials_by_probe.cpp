#include <algorithm>
#include <boost/container_hash/hash.hpp>
#include <faultloom/advice/trials.hpp>
#include <map>
#include <utility>

/// Trials with an instrument or a lead: readings, wires taken off, suspects bridged.
namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Wires lifted and suspects bridged in the comparison: those nearest to the heaviest suspects.
constexpr std::size_t most_suspects = 12;
constexpr std::size_t most_lifts = 12;
constexpr std::size_t most_bridges = 8;

}  // namespace

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

/// Whether a reading that predicts what was read last at a place is kept already and costs no more than
/// one that takes so many minutes beside the instrument's own. What it takes to build one to drop is saved.
bool TrialFactory::kept_for(int instrument, double minutes) const {
  const auto found = known_.find(at_place_.hash());
  if (found == known_.end()) return false;
  const auto own = belief_->instruments().instruments[static_cast<std::size_t>(instrument)].minutes;
  return std::any_of(found->second.begin(), found->second.end(), [&](const auto& item) {
    const auto& step = trials_[item.second].step;
    return step.instrument == instrument && step.minutes <= minutes + own &&
           at_place_.equals(item.first);
  });
}

void TrialFactory::offer(const PredictionStore::Place& place, const Alike& alike,
                         std::size_t pattern, std::span<const std::uint32_t* const> ports,
                         std::size_t p) {
  const auto& setup = alike.setup;
  const auto instruments = belief_->instruments().instruments.size();
  if (!reachable(place.red) || !reachable(place.black)) return;
  // Most places show the same as another one that is no more trouble to get at: what instruments make of
  // it need not be asked again.
  const bool logic = logic_[at(place.red)] || logic_[at(place.black)];
  const bool across = !setup.isolated && place.element != vehicle::none;
  boost::hash_combine(pattern, (setup.isolated ? 1U : 0U) + (logic ? 2U : 0U) + (across ? 4U : 0U));
  const double minutes = alike.minutes + place_minutes(place);
  const auto shown = shown_.find(pattern);
  if (shown != shown_.end() && shown->second <= minutes) return;
  bool all = true;
  at_place_.find(ports, p);
  for (std::size_t i = 0; i < instruments; ++i) {
    if (!usable(i, place, setup.isolated) || !at_place_.read(*store_, i)) continue;
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
    if (made(trial.step, setup.lifted, alike.states)) {
      all = false;
      continue;
    }
    at_place_.codes_by_candidate(live_codes_);
    keep(std::move(trial), live_codes_, at_place_.hash());
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
  std::vector<const std::uint32_t*> ports;
  ports.reserve(rows_.size());
  for (std::size_t c = 0; c < rows_.size(); ++c)
    ports.push_back(rows_[c]->networks[alike.networks[c]].ports.data());
  offer_places(store_->places(), alike, ports);
}

void TrialFactory::offer_places(std::span<const PredictionStore::Place> places, const Alike& alike,
                                std::span<const std::uint32_t* const> ports) {
  compared_ += places.size() * belief_->instruments().instruments.size() * alike.states.size();
  // Candidate by candidate, as the numbers lie in memory; equal sums mean equal ports.
  std::vector<std::uint64_t> patterns(places.size(), 0);
  std::uint64_t all = 0;
  for (std::size_t c = 0; c < ports.size(); ++c) {
    const auto factor = PlacePorts::mark(c);
    const auto* own = ports[c];
    all += factor;
    for (std::size_t p = 0; p < patterns.size(); ++p) patterns[p] += factor * own[p];
  }
  for (std::size_t p = 0; p < places.size(); ++p) {
    const bool differs = patterns[p] != all * ports.front()[p];
    if (differs && (alike.setup.isolated || !repeats_terminal(places[p])))
      offer(places[p], alike, patterns[p], ports, p);
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
    Alike alike;
    alike.setup = {rest.front(), true, element, vehicle::none};
    alike.states = rest;
    alike.minutes = change_minutes(vehicle, costs_->prices(), present_, alike.setup);
    std::vector<const std::uint32_t*> ports;
    ports.reserve(rows_.size());
    for (const auto* row : rows_) ports.push_back(row->lifted.at(element).data());
    offer_places(places, alike, ports);
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

}  // namespace faultloom::advice
