#include <faultloom/advice/prediction_store.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/circuit/observability.hpp>
#include <set>

namespace faultloom::advice {
namespace {

using circuit::Thevenin;
using readings::SignTruth;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// More candidates and ports than a few questions need are forgotten.
constexpr std::size_t most_rows = 512;
constexpr std::size_t most_ports = 400000;

}  // namespace

PredictionStore::PredictionStore(const belief::Belief& belief)
    : space_(&belief.space()), set_(&belief.instruments()) {
  const auto& vehicle = space_->vehicle();
  states_ = circuit::control_combinations(vehicle);
  can_isolate_ = !vehicle.isolation.lifted_elements.empty();
  std::set<std::pair<Index, Index>> known;
  const auto add = [&](Index red, Index black, Index element) {
    if (red == black || !vehicle.terminals[at(red)].reachable ||
        !vehicle.terminals[at(black)].reachable || !known.emplace(red, black).second)
      return;
    places_.push_back({red, black, element});
  };
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t)
    add(static_cast<Index>(t), vehicle.datum, vehicle::none);
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e)
    add(vehicle.elements[e].a, vehicle.elements[e].b, static_cast<Index>(e));
  make_readers();
  volt_.resize(vehicle.terminals.size());
  ohm_.resize(vehicle.terminals.size());
  element_ohm_.resize(vehicle.elements.size());
  transfer_.resize(vehicle.terminals.size());
}

void PredictionStore::make_readers() {
  readers_.clear();
  numbers_.clear();
  ports_.clear();
  for (std::size_t i = 0; i < set_->instruments.size(); ++i)
    readers_.emplace_back(OutcomeTable(*set_, static_cast<int>(i), space_->vehicle().nominal_volt));
}

const std::vector<PredictionStore::Place>& PredictionStore::lift_places(Index element) {
  const auto [entry, added] = lift_places_.try_emplace(element);
  if (!added) return entry->second;
  const auto& vehicle = space_->vehicle();
  const auto& wire = vehicle.elements[at(element)];
  std::set<std::pair<Index, Index>> known;
  // What the wire was joined to, against pack negative: whether a short has gone with it.
  for (const auto end : {wire.a, wire.b})
    if (end != vehicle.datum && vehicle.terminals[at(end)].reachable &&
        vehicle.terminals[at(vehicle.datum)].reachable && known.emplace(end, vehicle.datum).second)
      entry->second.push_back({end, vehicle.datum, vehicle::none});
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    const auto& other = vehicle.elements[e];
    const bool touches =
        other.a == wire.a || other.a == wire.b || other.b == wire.a || other.b == wire.b;
    if (!touches || static_cast<Index>(e) == element || other.a == other.b ||
        !vehicle.terminals[at(other.a)].reachable || !vehicle.terminals[at(other.b)].reachable ||
        !known.emplace(other.a, other.b).second)
      continue;
    entry->second.push_back({other.a, other.b, static_cast<Index>(e)});
  }
  return entry->second;
}

std::uint32_t PredictionStore::number(const Thevenin& port) {
  // As fine as the finest instrument needs it.
  const double magnitude = std::abs(port.volt);
  const double scaled =
      std::copysign(magnitude < 1 ? magnitude * 1024 : 1024 + (magnitude - 1) * 128, port.volt);
  const double source = port.ohm <= 0.01 ? -1 : std::log(port.ohm / 0.01) * 16;
  const auto spread = planning_spreads.of(port.volt_sigma);
  const auto volt_steps = static_cast<std::int64_t>(std::lround(scaled));
  const auto ohm_steps = static_cast<std::int64_t>(std::lround(source));
  const auto key = (static_cast<std::uint64_t>(volt_steps) << 24) ^
                   (static_cast<std::uint64_t>(spread) << 20) ^
                   static_cast<std::uint64_t>(ohm_steps + 1);
  const auto [entry, added] = numbers_.try_emplace(key, static_cast<std::uint32_t>(ports_.size()));
  if (added) {
    const auto steps = static_cast<double>(std::abs(volt_steps));
    const double middle = steps < 1024 ? steps / 1024 : 1 + (steps - 1024) / 128;
    ports_.push_back({volt_steps < 0 ? -middle : middle,
                      ohm_steps < 0 ? 0 : 0.01 * std::exp(static_cast<double>(ohm_steps) / 16),
                      planning_spreads.middle(spread)});
  }
  return entry->second;
}

std::int32_t PredictionStore::mixed(std::size_t instrument, std::int32_t a, std::int32_t b,
                                    std::int32_t steps) {
  auto& reader = readers_[instrument];
  const auto [entry, added] = reader.mixtures.try_emplace(
      {a, b, steps}, static_cast<std::int32_t>(reader.distributions.size()));
  if (!added) return entry->second;
  reader.add(OutcomeTable::mixture(reader.distributions[at(a)], reader.distributions[at(b)],
                                   static_cast<double>(steps) / share_steps));
  return entry->second;
}

std::int32_t PredictionStore::code(std::size_t instrument, std::uint32_t port) {
  auto& reader = readers_[instrument];
  if (reader.by_port.size() <= port) reader.by_port.resize(ports_.size(), -1);
  auto& known = reader.by_port[port];
  if (known >= 0) return known;
  const auto raw = reader.table.code(ports_[port]);
  if (reader.by_raw.size() <= at(raw)) reader.by_raw.resize(at(raw) + 1, -1);
  auto& found = reader.by_raw[at(raw)];
  if (found < 0) {
    const auto& fine = reader.table.distribution(raw);
    std::vector<int> key;
    OutcomeTable::Distribution rounded{};
    double sum = 0;
    for (std::size_t o = 0; o < reader.table.outcome_count(); ++o) {
      key.push_back(static_cast<int>(std::lround(fine[o] * 256)));
      rounded[o] = std::max(key.back() / 256.0, 1.0 / 2048);  // nothing is impossible
      sum += rounded[o];
    }
    for (auto& p : rounded) p /= sum;
    const auto [entry, added] =
        reader.classes.emplace(key, static_cast<std::int32_t>(reader.distributions.size()));
    if (added) reader.add(rounded);
    found = entry->second;
  }
  known = found;
  return known;
}

void PredictionStore::begin(circuit::Solver& solver, const belief::Candidate& candidate,
                            std::span<const circuit::Override> more) {
  space_->overrides(candidate.faults, overrides_);
  space_->settings(candidate.faults, settings_);
  for (const auto& item : more) {
    const auto place = std::lower_bound(
        overrides_.begin(), overrides_.end(), item.element,
        [](const circuit::Override& o, Index element) { return o.element < element; });
    if (place != overrides_.end() && place->element == item.element) {
      *place = item;
    } else {
      overrides_.insert(place, item);
    }
  }
  solver.begin(overrides_, settings_);
}

/// How far good parts spread the voltage of every place, squared [V^2], in the stage entered last.
void PredictionStore::find_spreads(circuit::Solver& solver) {
  constexpr double least_volt = 0.02;  // less than this does not count
  spread_.assign(places_.size(), 0);
  for (const auto& item : space_->circuit().toleranced()) {
    const auto& element = space_->vehicle().elements[at(item.element)];
    // No port moves by more than what is across the element.
    const double across = volt_[at(element.a)] - volt_[at(element.b)];
    if (item.sigma * std::abs(across) < least_volt) continue;
    const double ampere = solver.loose_ampere(item);
    if (ampere == 0) continue;
    solver.transfer(element.a, element.b, transfer_);
    for (std::size_t p = 0; p < places_.size(); ++p) {
      const double moved =
          ampere * (transfer_[at(places_[p].red)] - transfer_[at(places_[p].black)]);
      spread_[p] += moved * moved;
    }
  }
}

void PredictionStore::fill(circuit::Solver& solver, const belief::Candidate& candidate, Row& row) {
  const auto& vehicle = space_->vehicle();
  const auto signs = vehicle.signs.size();
  begin(solver, candidate, {});
  std::vector<circuit::Stage> stages;
  for (const auto& state : states_) stages.push_back(solver.stage(state));
  if (can_isolate_)
    stages.push_back(solver.stage(vehicle.rest_state(), vehicle.isolation.lifted_elements));
  std::map<circuit::Stage, std::size_t> situation_of;
  for (std::size_t s = 0; s < states_.size(); ++s) situation_of.emplace(stages[s], s);
  std::vector<bool> holds(states_.size() * signs, false);
  for (std::size_t s = 0; s < stages.size(); ++s) {
    const bool isolated = s == states_.size();
    solver.enter(stages[s]);
    if (!isolated)
      for (std::size_t k = 0; k < signs; ++k)
        holds[s * signs + k] = solver.holds(vehicle.signs[k].when);
    const auto& closed = solver.settle(stages[s]).closed;
    auto network = std::find_if(row.networks.begin(), row.networks.end(), [&](const Network& n) {
      return n.isolated == isolated && n.closed == closed;
    });
    if (network == row.networks.end()) {
      row.networks.push_back({closed, isolated, {}});
      network = std::prev(row.networks.end());
      solver.volts(volt_);
      solver.resistances(ohm_);
      solver.element_resistances(element_ohm_);
      find_spreads(solver);
      network->ports.reserve(places_.size());
      for (std::size_t p = 0; p < places_.size(); ++p) {
        const auto& place = places_[p];
        const double volt = volt_[at(place.red)] - volt_[at(place.black)];
        const bool across = place.element != vehicle::none;
        network->ports.push_back(
            number({volt, across ? element_ohm_[at(place.element)] : ohm_[at(place.red)],
                    std::sqrt(spread_[p])}));
      }
    }
    row.network_of.push_back(static_cast<std::uint16_t>(network - row.networks.begin()));
  }
  row.signs.resize(states_.size() * signs);
  for (std::size_t s = 0; s < states_.size(); ++s) {
    const bool chatters = solver.settle(stages[s]).chatters;
    const auto previous = solver.previous(stages[s]);
    for (std::size_t k = 0; k < signs; ++k) {
      const bool on_change = vehicle.signs[k].on_change;
      auto truth = holds[s * signs + k] ? SignTruth::present : SignTruth::absent;
      if (on_change && chatters) {
        truth = SignTruth::chatters;
      } else if (on_change && truth == SignTruth::present && previous != vehicle::none &&
                 holds[situation_of.at(previous) * signs + k]) {
        truth = SignTruth::absent;
      }
      row.signs[s * signs + k] = static_cast<std::uint8_t>(truth);
    }
  }
}

std::vector<PredictionStore::Row*> PredictionStore::rows(
    circuit::Solver& solver, std::span<const belief::Candidate> candidates,
    const Progress& progress) {
  if (ports_.size() > most_ports) {
    rows_.clear();
    make_readers();
  }
  ++clock_;
  std::vector<Row*> result;
  for (const auto& candidate : candidates) {
    auto& row = rows_[candidate.faults];
    if (!row) {
      report(progress, static_cast<double>(result.size()) / static_cast<double>(candidates.size()));
      auto fresh = std::make_unique<Row>();
      fill(solver, candidate, *fresh);
      row = std::move(fresh);
    }
    row->used = clock_;
    result.push_back(row.get());
  }
  if (rows_.size() > most_rows)
    std::erase_if(rows_, [&](const auto& item) { return item.second->used != clock_; });
  return result;
}

void PredictionStore::add_lift(circuit::Solver& solver,
                               std::span<const belief::Candidate> candidates,
                               std::span<Row* const> rows, Index element) {
  const auto& vehicle = space_->vehicle();
  const auto& places = lift_places(element);
  const auto stage = solver.stage(vehicle.rest_state(), vehicle.isolation.lifted_elements);
  // Taken out as a fault would be: a stage of its own would stay with the solver for good.
  circuit::Overrides off;
  const auto open = [&](Index e) {
    circuit::Override item;
    item.element = e;
    item.stuck = 0;
    off.push_back(item);
  };
  open(element);
  for (const auto follower : space_->circuit().followers(element)) open(follower);
  for (std::size_t c = 0; c < candidates.size(); ++c) {
    if (rows[c]->lifted.contains(element)) continue;
    begin(solver, candidates[c], off);
    solver.enter(stage);
    std::vector<std::uint32_t> ports;
    ports.reserve(places.size());
    for (const auto& place : places) ports.push_back(number(solver.port(place.red, place.black)));
    rows[c]->lifted.emplace(element, std::move(ports));
  }
}

void PredictionStore::add_bridge(circuit::Solver& solver,
                                 std::span<const belief::Candidate> candidates,
                                 std::span<Row* const> rows, Index element) {
  const auto& vehicle = space_->vehicle();
  const auto stage = solver.stage(vehicle.run_state);
  circuit::Override lead;
  lead.element = element;
  lead.siemens = circuit::lead_siemens;
  lead.stuck = 1;
  for (std::size_t c = 0; c < candidates.size(); ++c) {
    if (rows[c]->bridged.contains(element)) continue;
    begin(solver, candidates[c], std::span(&lead, 1));
    std::vector<std::uint8_t> truths;
    for (std::size_t k = 0; k < vehicle.signs.size(); ++k)
      truths.push_back(
          static_cast<std::uint8_t>(readings::sign_truth(solver, static_cast<Index>(k), stage)));
    rows[c]->bridged.emplace(element, std::move(truths));
  }
}

}  // namespace faultloom::advice
