#include <faultloom/advice/fault_answers.hpp>

#include <cmath>
#include <faultloom/circuit/observability.hpp>
#include <numeric>

namespace faultloom::advice {
namespace {

using readings::Instrument;
using readings::SignTruth;
using readings::Thevenin;
using vehicle::none;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

bool needs_isolation(const Instrument& instrument) {
  return instrument.type == Instrument::Type::ohmmeter ||
         instrument.type == Instrument::Type::beeper;
}

/// Far below what any instrument resolves.
bool alike(const Thevenin& x, const Thevenin& y) {
  return std::abs(x.volt - y.volt) <= 1e-4 && std::abs(x.ohm - y.ohm) <= 1e-3 * y.ohm + 1e-6;
}

}  // namespace

// ---- what may be tested ------------------------------------------------------------------------

FaultAnswers::FaultAnswers(const belief::FaultSpace& space, circuit::Solver& solver,
                           const readings::InstrumentSet& set, AnswerBook& book, Reach reach)
    : space_(&space), solver_(&solver), set_(&set), book_(&book), reach_(std::move(reach)) {
  const auto& v = space.vehicle();
  auto& used = reach_.instruments;
  if (used.empty()) {
    used.resize(set.instruments.size());
    std::iota(used.begin(), used.end(), 0);
  }
  std::sort(used.begin(), used.end());
  used.erase(std::unique(used.begin(), used.end()), used.end());
  for (const auto i : used)
    if (i < 0 || at(i) >= set.instruments.size())
      throw Error(Code::argument, "There is no such instrument");
  for (const auto z : reach_.closed_zones)
    if (z < 0 || at(z) >= v.zones.size()) throw Error(Code::argument, "There is no such zone");
  if (reach_.looks)
    for (std::size_t c = 0; c < v.components.size(); ++c)
      if (accessible(v.components[c].zone)) looked_at_.push_back(static_cast<Index>(c));
  volt_.resize(v.terminals.size());
  ohm_.resize(v.terminals.size());
  element_ohm_.resize(v.elements.size());
  for (const bool isolated : {false, true}) make_sites(isolated);
}

bool FaultAnswers::accessible(Index zone) const {
  return zone == none || !contains(reach_.closed_zones, zone);
}

bool FaultAnswers::touchable(Index terminal) const {
  const auto& t = space_->vehicle().terminals[at(terminal)];
  return t.reachable && accessible(t.zone);
}

bool FaultAnswers::usable(const Instrument& instrument, Index red) const {
  const bool loads =
      (instrument.type == Instrument::Type::lamp && instrument.current_exponent != 1) ||
      (instrument.type == Instrument::Type::voltmeter && instrument.resistance_ohm < 1e5);
  const auto& v = space_->vehicle();
  const auto component = v.terminals[at(red)].component;
  if (!loads || component == none) return true;
  // It would draw enough to damage a logic or sensor output.
  const auto& cautions = v.components[at(component)].cautions;
  return std::find(cautions.begin(), cautions.end(), "lamp_on_logic") == cautions.end();
}

bool FaultAnswers::wire_accessible(const vehicle::Wire& wire) const {
  const auto& v = space_->vehicle();
  const auto& element = v.elements[at(wire.element)];
  return accessible(v.terminals[at(element.a)].zone) || accessible(v.terminals[at(element.b)].zone);
}

void FaultAnswers::add_place(Sites& sites, Place place, bool isolated) const {
  for (const auto i : reach_.instruments) {
    const auto& instrument = set_->instruments[at(i)];
    const auto type = instrument.type;
    if (needs_isolation(instrument) != isolated || place.clamp != (type == Instrument::Type::clamp))
      continue;
    if (!place.clamp) {
      const bool across = place.element != none;
      if (across && !isolated && type != Instrument::Type::voltmeter) continue;
      if (!usable(instrument, place.red)) continue;
    }
    sites.instruments.push_back(at(i));
  }
  const auto before = sites.places.empty() ? 0 : sites.places.back().slots_end;
  place.slots_end = sites.instruments.size();
  if (place.slots_end > before) sites.places.push_back(place);
}

void FaultAnswers::make_sites(bool isolated) {
  const auto& v = space_->vehicle();
  auto& sites = sites_[isolated ? 1 : 0];
  for (std::size_t t = 0; t < v.terminals.size(); ++t) {
    const auto red = static_cast<Index>(t);
    if (red != v.datum && touchable(v.datum) && touchable(red))
      add_place(sites, {.red = red}, isolated);
  }
  for (std::size_t e = 0; e < v.elements.size(); ++e) {
    const auto& element = v.elements[e];
    // An element to the datum has the terminal's own reading.
    if (element.a != v.datum && element.b != v.datum && element.a != element.b &&
        touchable(element.a) && touchable(element.b))
      add_place(sites, {.red = element.a, .element = static_cast<Index>(e)}, isolated);
  }
  if (isolated) return;
  for (const auto& wire : v.wires)
    if (wire.element != none && wire_accessible(wire))
      add_place(sites, {.element = wire.element, .clamp = true}, isolated);
}

std::vector<Situation> FaultAnswers::ordinary() const {
  const auto& v = space_->vehicle();
  std::vector<Situation> situations;
  if (reach_.allow_live)
    for (auto& state : circuit::control_combinations(v))
      situations.push_back({std::move(state), {}});
  if (!v.isolation.lifted_elements.empty())
    situations.push_back({v.rest_state(), v.isolation.lifted_elements, true});
  return situations;
}

std::vector<Situation> FaultAnswers::few() {
  solver_->begin(nothing_);
  std::map<Bits, bool> met;
  std::vector<Situation> situations;
  for (auto& situation : ordinary()) {
    const auto stage = solver_->stage(situation.positions, situation.lifted);
    if (situation.isolated || met.emplace(solver_->settle(stage).closed, true).second)
      situations.push_back(std::move(situation));
  }
  return situations;
}

double FaultAnswers::seen(Index component, std::int32_t fault) const {
  const auto& v = space_->vehicle();
  const double clean = v.components[at(component)].look_false_alarm;
  if (fault < 0) return clean;
  const auto& modes = space_->fault(fault).modes;
  double sum = 0;
  for (const auto m : modes)
    sum += v.modes[at(m)].component == component ? v.modes[at(m)].seen : clean;
  return modes.empty() ? clean : sum / static_cast<double>(modes.size());
}

// ---- what one fault shows ----------------------------------------------------------------------

void FaultAnswers::take_ports(const Sites& sites) {
  solver_->volts(volt_);
  solver_->resistances(ohm_);
  solver_->element_resistances(element_ohm_);
  const auto& elements = space_->vehicle().elements;
  ports_.clear();
  for (const auto& place : sites.places) {
    if (place.element == none) {
      ports_.push_back({volt_[at(place.red)], ohm_[at(place.red)]});
      continue;
    }
    const auto& element = elements[at(place.element)];
    const double drop = volt_[at(element.a)] - volt_[at(element.b)];
    if (place.clamp) {
      const auto [siemens, ampere] = solver_->branch(place.element);
      ports_.push_back({siemens * drop - ampere, 0});
    } else {
      ports_.push_back({drop, element_ohm_[at(place.element)]});
    }
  }
}

std::size_t FaultAnswers::reference_for(const Situation& situation) {
  const auto key = std::pair(situation.lift, solver_->settle(situation.stage).closed);
  const auto [entry, added] = reference_of_.emplace(key, references_.size());
  if (!added) return entry->second;
  const auto& sites = sites_[situation.isolated ? 1 : 0];
  Reference reference;
  reference.ports = ports_;
  std::size_t slot = 0;
  for (std::size_t p = 0; p < sites.places.size(); ++p)
    for (; slot < sites.places[p].slots_end; ++slot) {
      const auto n = book_->number(sites.instruments[slot], ports_[p]);
      reference.answers.push_back(n);
      reference.exact.add(AnswerHash::of(slot, book_->hash(n)));
      reference.likely.add(AnswerHash::of(slot, book_->likely(n)));
    }
  references_.push_back(std::move(reference));
  return entry->second;
}

std::size_t FaultAnswers::network(const Situation& situation, FaultRow& row,
                                  std::vector<std::pair<AnswerHash, AnswerHash>>& hashes) {
  solver_->enter(situation.stage);
  const auto& sites = sites_[situation.isolated ? 1 : 0];
  take_ports(sites);
  Network result{reference_for(situation), {}};
  const auto& reference = references_[result.reference];
  auto exact = reference.exact;
  auto likely = reference.likely;
  std::size_t begin = 0;
  for (std::size_t p = 0; p < sites.places.size(); ++p) {
    const auto end = sites.places[p].slots_end;
    const auto first = std::exchange(begin, end);
    if (alike(ports_[p], reference.ports[p])) continue;
    for (auto slot = first; slot < end; ++slot) {
      const auto n = book_->number(sites.instruments[slot], ports_[p]);
      const auto old = reference.answers[slot];
      if (n == old) continue;
      result.changed.emplace_back(static_cast<std::uint32_t>(slot), n);
      exact.remove(AnswerHash::of(slot, book_->hash(old)));
      exact.add(AnswerHash::of(slot, book_->hash(n)));
      likely.remove(AnswerHash::of(slot, book_->likely(old)));
      likely.add(AnswerHash::of(slot, book_->likely(n)));
    }
  }
  row.networks.push_back(std::move(result));
  hashes.emplace_back(exact, likely);
  return row.networks.size() - 1;
}

void FaultAnswers::read_signs(FaultRow& row) {
  const auto& signs = space_->vehicle().signs;
  if (!reach_.signs || signs.empty()) return;
  const auto count = signs.size();
  std::vector<std::uint8_t> held(situations_.size() * count);
  row.signs.assign(held.size(), 0);
  for (std::size_t s = 0; s < situations_.size(); ++s) {
    if (situations_[s].isolated) continue;
    solver_->enter(situations_[s].stage);
    for (std::size_t k = 0; k < count; ++k)
      held[s * count + k] = solver_->holds(signs[k].when) ? 1 : 0;
  }
  for (std::size_t s = 0; s < situations_.size(); ++s) {
    if (situations_[s].isolated) continue;
    const auto stage = situations_[s].stage;
    const auto before = place_of_.find(solver_->previous(stage));
    const bool chatters = solver_->settle(stage).chatters;
    for (std::size_t k = 0; k < count; ++k) {
      auto truth = held[s * count + k] != 0 ? SignTruth::present : SignTruth::absent;
      if (signs[k].on_change && chatters) {
        truth = SignTruth::chatters;
      } else if (signs[k].on_change && truth == SignTruth::present &&
                 solver_->previous(stage) != none) {
        // The situation before is usually among those looked at; few() may have dropped it.
        if (before == place_of_.end())
          truth = readings::sign_truth(*solver_, static_cast<Index>(k), stage);
        else if (held[before->second * count + k] != 0)
          truth = SignTruth::absent;
      }
      row.signs[s * count + k] = static_cast<std::uint8_t>(truth);
    }
  }
}

FaultRow FaultAnswers::look_at(std::int32_t fault) {
  FaultRow row;
  row.faults = {fault};
  if (fault < 0)
    solver_->begin(nothing_);
  else
    solver_->begin(space_->fault(fault).overrides, space_->fault(fault).settings);
  std::map<std::pair<int, Bits>, std::size_t> met;
  std::vector<std::pair<AnswerHash, AnswerHash>> hashes;
  row.network_of.resize(situations_.size());
  for (std::size_t s = 0; s < situations_.size(); ++s) {
    const auto& situation = situations_[s];
    const auto [entry, added] =
        met.emplace(std::pair(situation.lift, solver_->settle(situation.stage).closed), 0);
    if (added) entry->second = network(situation, row, hashes);
    row.network_of[s] = static_cast<std::uint32_t>(entry->second);
    const auto& [exact, likely] = hashes[entry->second];
    row.exact.add(AnswerHash::of(s, exact.a ^ exact.b));
    row.likely.add(AnswerHash::of(s, likely.a ^ likely.b));
  }
  read_signs(row);
  const auto both = [&](std::uint64_t place, std::uint64_t exact, std::uint64_t likely) {
    row.exact.add(AnswerHash::of(place, exact));
    row.likely.add(AnswerHash::of(place, likely));
  };
  for (std::size_t k = 0; k < row.signs.size(); ++k)
    both((std::uint64_t{1} << 40U) + k, row.signs[k], row.signs[k]);
  for (const auto c : looked_at_) {
    const double p = seen(c, fault);
    const auto n = book_->number({p, 1 - p});
    row.looks.push_back(n);
    both((std::uint64_t{1} << 41U) + at(c), book_->hash(n), book_->likely(n));
  }
  return row;
}

// ---- all faults --------------------------------------------------------------------------------

void FaultAnswers::prepare() {
  std::map<std::pair<bool, std::vector<Index>>, int> lifts;
  place_of_.clear();
  for (std::size_t s = 0; s < situations_.size(); ++s) {
    auto& situation = situations_[s];
    situation.stage = solver_->stage(situation.positions, situation.lifted);
    situation.lift = lifts
                         .emplace(std::pair(situation.isolated, situation.lifted),
                                  static_cast<int>(lifts.size()))
                         .first->second;
    if (!situation.isolated) place_of_[situation.stage] = s;
  }
  reference_of_.clear();
  references_.clear();
  rows_.clear();
}

void FaultAnswers::collect(std::span<const std::int32_t> faults, std::vector<Situation> situations,
                           const Progress& progress) {
  situations_ = std::move(situations);
  prepare();
  std::map<AnswerHash, std::size_t> known;
  rows_.push_back(look_at(-1));
  for (std::size_t k = 0; k < faults.size(); ++k) {
    if (k % 16 == 0) report(progress, static_cast<double>(k) / static_cast<double>(faults.size()));
    auto row = look_at(faults[k]);
    const auto [entry, added] = known.emplace(row.exact, rows_.size());
    if (added)
      rows_.push_back(std::move(row));
    else
      rows_[entry->second].faults.push_back(faults[k]);
  }
}

}  // namespace faultloom::advice
