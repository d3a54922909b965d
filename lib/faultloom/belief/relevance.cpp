#include <faultloom/belief/relevance.hpp>

#include <algorithm>
#include <bit>
#include <cmath>
#include <faultloom/readings/response.hpp>
#include <limits>
#include <map>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

using readings::Entry;
using readings::Instrument;

/// Below this a branch counts as carrying no current [A]; the leakage of one terminal is some 0.5 uA.
constexpr double no_ampere = 1e-7;
/// Share of a port's current below which a branch has no say in the port.
constexpr double no_share = 1e-4;
/// Up to this share of a port's current in a branch, what becomes of the branch acts on the port through
/// source resistances only, little by little; a stand-in path can't hide more.
constexpr double weak_share = 0.05;
/// From this on a current tells which branches are in series [A].
constexpr double lively_ampere = 1e-3;
/// Below this two points count as being at one voltage [V].
constexpr double no_volt = 1e-3;
/// Part of the way to a contact's threshold that a fault may use up and still be called harmless.
constexpr double safe_margin = 0.1;

}  // namespace

Relevance::Relevance(const FaultSpace& space, circuit::Solver& solver,
                     const readings::InstrumentSet& instruments, double tolerance)
    : space_(&space),
      solver_(&solver),
      instruments_(&instruments),
      tolerance_(tolerance),
      transfer_(space.vehicle().terminals.size()) {
  std::map<Index, std::vector<Touch>> by_element;
  for (std::size_t i = 0; i < space.faults().size(); ++i) {
    const auto f = static_cast<std::int32_t>(i);
    const auto& fault = space.faults()[i];
    bool thresholds = false;
    for (const auto& o : fault.overrides) {
      by_element[o.element].push_back({f, o});
      thresholds = thresholds || o.threshold_factor != 1 || o.reversed;
    }
    if (thresholds) with_thresholds_.push_back(f);
    if (!fault.settings.empty()) with_settings_.push_back(f);
    composite_.push_back(fault.overrides.size() > 1 || !fault.settings.empty());
  }
  const auto& circuit = space.circuit();
  for (const auto c : circuit.driven_contacts()) {
    atoms_of_.emplace_back();
    for (const auto& op : space.vehicle().elements[at(circuit.contacts()[at(c)])].closed_when.ops)
      if (op.type == vehicle::Condition::Op::Type::atom) atoms_of_.back().push_back(op.index);
  }
  for (const auto& element : space.vehicle().elements)
    if (element.type == vehicle::ElementType::source) most_volt_ += std::abs(element.emf_volt);
  places_.assign(space.vehicle().elements.size(), -1);
  for (auto& [element, touches] : by_element) {
    places_[at(element)] = static_cast<std::int32_t>(touched_.size());
    touched_.push_back({element, space.circuit().contact_of(element) != none, std::move(touches)});
  }
}

Relevance::StageNumbers& Relevance::enter(circuit::Stage stage) {
  if (at(stage) >= stages_.size()) stages_.resize(at(stage) + 1);
  solver_->enter(stage);
  if (stages_[at(stage)].candidate == candidate_) return stages_[at(stage)];
  const auto before = solver_->previous(stage);
  if (before != none) {
    enter(before);
    solver_->enter(stage);
  }
  auto& numbers = stages_[at(stage)];
  numbers.candidate = candidate_;
  numbers.volts.resize(space_->vehicle().terminals.size());
  solver_->volts(numbers.volts);
  numbers.v.clear();
  numbers.g.clear();
  numbers.j.clear();
  numbers.series.resize(space_->vehicle().elements.size());
  solver_->resistances(transfer_);
  solver_->element_resistances(numbers.series);
  numbers.signatures.assign(touched_.size(), 0);
  numbers.lively.assign(touched_.size(), false);
  if (before != none) {
    numbers.signatures = stages_[at(before)].signatures;
    numbers.lively = stages_[at(before)].lively;
  }
  auto* const outer = signed_;
  const auto outer_scans = scans_;
  signed_ = &numbers.signatures;
  scans_ = 0;
  for (std::size_t n = 0; n < touched_.size(); ++n) {
    const auto e = touched_[n].element;
    const auto& element = space_->vehicle().elements[at(e)];
    const auto [siemens, ampere] = solver_->branch(e);
    const double volt = numbers.volts[at(element.a)] - numbers.volts[at(element.b)];
    numbers.v.push_back(volt);
    // What is lifted does not count, whatever becomes of it.
    numbers.g.push_back(solver_->lifted(stage, e) ? -1 : siemens);
    numbers.j.push_back(ampere);
    if (siemens > 0) {
      sign(n, siemens * volt - ampere, lively_ampere);
      if (std::abs(siemens * volt - ampere) >= lively_ampere) numbers.lively[n] = true;
    } else {
      sign(n, volt, 0.1);
    }
  }
  find_settings(numbers, stage);
  numbers.drives.assign(space_->circuit().driven_contacts().size(), {});
  signed_ = outer;
  scans_ = outer_scans;
  return numbers;
}

/// Notes a number of an element, to a few per cent; what is below `least` counts as nothing.
void Relevance::sign(std::size_t place, double value, double least) {
  const double size = std::abs(value);
  // The exponent and the first five bits behind it.
  const auto rounded =
      size < least ? 0U : static_cast<std::uint32_t>(std::bit_cast<std::uint64_t>(size) >> 47U);
  auto& signature = (*signed_)[place];
  signature = (signature ^ (rounded + 0x9e3779b9U)) * 0x85ebca6bU;
  signature ^= signature >> 13U;
}

void Relevance::find_settings(StageNumbers& numbers, circuit::Stage stage) {
  numbers.settings.clear();
  const auto& circuit = space_->circuit();
  Bits closed;
  const auto now = solver_->settle(stage).closed;
  for (const auto f : with_settings_) {
    solver_->contacts_if(stage, space_->fault(f).settings, closed);
    for (std::size_t c = 0; c < circuit.contacts().size(); ++c) {
      if (closed.test(c) == now.test(c)) continue;
      const auto e = circuit.contacts()[c];
      circuit::Override change;
      change.element = e;
      change.stuck = closed.test(c) ? std::int8_t{1} : std::int8_t{0};
      change.siemens = circuit.healthy().siemens[at(e)];
      change.ampere = circuit.healthy().ampere[at(e)];
      numbers.settings.push_back({e, {f, change}});
    }
  }
  solver_->enter(stage);
}

void Relevance::add_thresholds(Index a, Bits& out) {
  const auto& atom = space_->vehicle().atoms[at(a)];
  const double now = solver_->atom_reading(a);
  for (const auto f : with_thresholds_)
    for (const auto& o : space_->fault(f).overrides) {
      const auto& governed = space_->vehicle().elements[at(o.element)].atoms;
      if (std::find(governed.begin(), governed.end(), a) == governed.end()) continue;
      const double low = std::min(atom.falls, atom.falls * o.threshold_factor);
      const double high = std::max(atom.rises, atom.rises * o.threshold_factor);
      if (o.reversed || (now > 0.9 * low && now < 1.1 * high)) out.set(at(f));
    }
}

const Relevance::Drive& Relevance::drive(circuit::Stage stage, std::size_t contact) {
  auto& result = stages_[at(stage)].drives[contact];
  if (result.known) return result;
  solver_->enter(stage);
  result.known = true;
  result.some = Bits(space_->faults().size());
  result.strong = result.some;
  result.others.assign(stages_[at(stage)].drives.size(), Reach::nothing);
  result.signatures.assign(touched_.size(), 0);
  auto* const outer = signed_;
  const auto outer_scans = scans_;
  signed_ = &result.signatures;
  scans_ = 0;
  for (const auto atom : atoms_of_[contact]) {
    add_atom(stage, stages_[at(stage)], atom, result.some, result.strong);
    add_thresholds(atom, result.strong);
    for (std::size_t other = 0; other < reach_.size(); ++other)
      result.others[other] = std::max(result.others[other], reach_[other]);
  }
  result.some |= result.strong;
  signed_ = outer;
  scans_ = outer_scans;
  return result;
}

void Relevance::add_movers(circuit::Stage stage, Bits& out, Bits& strong) {
  auto reach = reach_;
  // One contact moves the next; what moved earlier may still stand.
  for (auto s = stage; s != none; s = solver_->previous(s)) {
    enter(s);
    std::vector<std::size_t> open;
    for (std::size_t c = 0; c < reach.size(); ++c)
      if (reach[c] != Reach::nothing) open.push_back(c);
    auto level = reach;
    while (!open.empty()) {
      const auto c = open.back();
      open.pop_back();
      const auto& d = drive(s, c);
      out |= d.some;
      // What a moved contact does together with what moved it may be more than either.
      strong |= d.strong;
      for (std::size_t i = 0; i < d.signatures.size(); ++i)
        (*signed_)[i] = (*signed_)[i] * 31 + d.signatures[i];
      for (std::size_t other = 0; other < level.size(); ++other) {
        const auto next = std::min(level[c], d.others[other]);
        if (next <= level[other]) continue;
        level[other] = next;
        open.push_back(other);
      }
    }
    reach = level;
  }
  solver_->enter(stage);
}

Relevance::Load Relevance::load_of(const StageNumbers& numbers, const Port& port) const {
  if (port.load_ohm <= 0) return {};
  const double volt = numbers.volts[at(port.a)] - numbers.volts[at(port.b)];
  const double ohm = std::max(transfer_[at(port.a)] - transfer_[at(port.b)], 1e-12);
  const double all_ohm = port.load_ohm + ohm;
  return {port.load_ohm / all_ohm, volt / all_ohm, 1 / all_ohm};
}

void Relevance::scan_contacts(circuit::Stage stage, const StageNumbers& numbers, const Port& port,
                              const Load& load) {
  const auto& circuit = space_->circuit();
  const auto& driven = circuit.driven_contacts();
  reach_.assign(driven.size(), Reach::nothing);
  for (std::size_t c = 0; c < driven.size(); ++c) {
    const auto e = circuit.contacts()[at(driven[c])];
    if (solver_->lifted(stage, e)) continue;
    const auto& element = space_->vehicle().elements[at(e)];
    const auto [siemens, ampere] = solver_->branch(e);
    const double x = transfer_[at(element.a)] - transfer_[at(element.b)];
    const double v =
        port.ohms ? x
                  : numbers.volts[at(element.a)] - numbers.volts[at(element.b)] - load.drawn * x;
    const bool closes = siemens <= solver_->lead(stage, e);
    const double next = (closes ? circuit.healthy().siemens[at(e)] : 0) + solver_->lead(stage, e);
    const double next_ampere = closes ? circuit.healthy().ampere[at(e)] : 0;
    const double push = std::abs((next - siemens) * v - (next_ampere - ampere));
    const double source = numbers.series[at(e)] - x * x * load.siemens;
    const double effect =
        push * std::abs(x) * load.kept / std::max(std::abs(1 + (next - siemens) * source), 1e-15);
    const double share = std::max(siemens, next) * std::abs(x) * load.kept;
    if (share < no_share) continue;
    // What moves a contact may well put voltage to it that was not there before.
    const double at_most = closes ? next * most_volt_ * std::abs(x) * load.kept /
                                        std::max(std::abs(1 + next * source), 1e-15)
                                  : effect;
    const bool quiet = !closes && std::abs(siemens * v - ampere) < no_ampere;
    const bool weak = closes || (share < weak_share && !quiet);
    if (weak && std::max(effect, at_most) < port.volt_tolerance) continue;
    reach_[c] =
        quiet || std::max(effect, at_most) >= 0.5 * port.gap_volt ? Reach::all : Reach::some;
  }
}

void Relevance::add_atom(circuit::Stage stage, const StageNumbers& numbers, Index atom_index,
                         Bits& out, Bits& strong) {
  const auto& atom = space_->vehicle().atoms[at(atom_index)];
  const double now = solver_->atom_reading(atom_index);
  double margin = now >= atom.rises ? now - atom.falls : atom.rises - now;
  if (now > atom.falls && now < atom.rises) margin = std::min(now - atom.falls, atom.rises - now);
  Port port{.a = atom.a, .b = atom.b};
  port.gap_volt = std::abs(margin);
  if (atom.type == vehicle::Atom::Type::amps) {
    const auto& element = space_->vehicle().elements[at(atom.element)];
    const double siemens = solver_->branch(atom.element).first;
    // Whatever changes the element itself changes the current, though hardly the voltage.
    if (const auto n = place(atom.element); n >= 0)
      for (const auto& touch : touched_[at(n)].touches) strong.set(at(touch.fault));
    if (siemens <= 0) {
      // An open one carries nothing until it closes.
      const auto& driven = space_->circuit().driven_contacts();
      const auto own = space_->circuit().contact_of(atom.element);
      reach_.assign(driven.size(), Reach::nothing);
      for (std::size_t c = 0; c < driven.size(); ++c)
        if (driven[c] == own) reach_[c] = Reach::all;
      return;
    }
    port.a = element.a;
    port.b = element.b;
    port.gap_volt /= siemens;
  }
  port.volt_tolerance = safe_margin * port.gap_volt;
  scan(stage, numbers, port, out, strong);
}

void Relevance::scan(circuit::Stage stage, const StageNumbers& numbers, const Port& port, Bits& out,
                     Bits& strong) {
  const auto& elements = space_->vehicle().elements;
  const auto& volts = numbers.volts;
  ++scans_;
  solver_->transfer(port.a, port.b, transfer_);
  const auto load = load_of(numbers, port);
  const auto judge = [&](double x, double volt_now, double siemens, double ampere, bool contact,
                         double series, double lead, std::span<const Touch> touches) {
    const double v = port.ohms ? x : volt_now - load.drawn * x;
    const double current = std::abs(siemens * v - (port.ohms ? 0 : ampere));
    const double share = std::abs(siemens * x) * load.kept;
    const bool silent_now = siemens > 0 && (current < no_ampere || share < no_share);
    const bool level = std::abs(v) < (port.ohms ? 1e-9 : no_volt);
    if ((siemens > 0 ? silent_now && ampere == 0 : level)) return;
    const double source =
        series - x * x * load.siemens;  // between the ends, the instrument connected
    for (const auto& [f, o] : touches) {
      double next = o.siemens;
      double next_ampere = o.ampere;
      if (contact && (o.stuck == 0 || (o.stuck < 0 && siemens <= lead))) next = next_ampere = 0;
      next += lead;
      if (next == siemens && next_ampere == ampere) continue;
      // What it does to the port on its own.
      const double more = next - siemens;
      const double push = std::abs(more * v - (next_ampere - ampere));
      const double effect =
          push * std::abs(x) * load.kept / std::max(std::abs(1 + more * source), 1e-15);
      bool matters = true;
      if (next_ampere != ampere) {
        matters = std::max(siemens, next) * std::abs(x) * load.kept >= no_share;
      } else if (more > 0) {
        matters = !level && effect >= port.volt_tolerance;
      } else if (silent_now) {
        matters = false;
      } else if (share < weak_share && ampere == 0) {
        matters = effect >= port.volt_tolerance;
      } else if (next > 0) {
        // However the current runs, a resistance can't take more than all of it across itself.
        const double added = 1 / next - 1 / siemens;
        const double all = port.ohms ? 1 : current + std::abs(load.drawn);
        matters = added * all >= port.volt_tolerance;
      }
      if (!matters) continue;
      out.set(at(f));
      if (effect >= 0.5 * port.gap_volt || composite_[at(f)]) strong.set(at(f));
    }
  };
  for (std::size_t n = 0; n < touched_.size(); ++n) {
    const double siemens = numbers.g[n];
    if (siemens < 0) continue;
    const auto& [e, contact, touches] = touched_[n];
    const auto& element = elements[at(e)];
    const double x = transfer_[at(element.a)] - transfer_[at(element.b)];
    // Most branches have no say in most ports.
    if (siemens > 0 && siemens * std::abs(x) * load.kept < no_share) continue;
    if (siemens > 0) {
      sign(n, scans_, 0.5);
      sign(n, siemens * x * load.kept, 1e-3);
    }
    judge(x, numbers.v[n], siemens, numbers.j[n], contact, numbers.series[at(e)],
          solver_->lead(stage, e), touches);
  }
  for (const auto& [e, touch] : numbers.settings) {
    if (solver_->lifted(stage, e)) continue;
    const auto& element = elements[at(e)];
    const auto [siemens, ampere] = solver_->branch(e);
    judge(transfer_[at(element.a)] - transfer_[at(element.b)],
          volts[at(element.a)] - volts[at(element.b)], siemens, ampere, true, numbers.series[at(e)],
          solver_->lead(stage, e), std::span(&touch, 1));
  }
  scan_contacts(stage, numbers, port, load);
}

Relevance::Port Relevance::port_of(const Entry& entry, Index red) {
  const auto& instrument = instruments_->instruments[static_cast<std::size_t>(entry.instrument)];
  Port port{.a = red, .b = entry.black};
  if (instrument.type == Instrument::Type::clamp) {
    const auto& element = space_->vehicle().elements[at(entry.element)];
    port.a = element.a;
    port.b = element.b;
    const auto shown =
        readings::shown(*instruments_, instrument, readings::clamped(*solver_, entry.element));
    const double siemens = solver_->branch(entry.element).first;
    port.volt_tolerance = siemens > 0 ? tolerance_ * shown.sigma / siemens : 0;
    return port;
  }
  const auto seen = solver_->spread_port(red, entry.black);
  port.volt_sigma = seen.volt_sigma;
  const auto shown = readings::shown(*instruments_, instrument, seen);
  const auto leads_to = [&](double from, double to) {
    port.gap_volt = std::abs(to - from);
    port.half_volt = (from + to) / 2;
  };
  switch (instrument.type) {
    case Instrument::Type::lamp: {
      const double volt = std::abs(readings::lamp_volt(instrument, seen));
      // Below the first glow nothing is seen to change.
      const double least =
          instrument.rated_volt * std::pow(instrument.dark_below, 1 / instrument.light_exponent);
      const double u = std::max(volt, least / 3) / instrument.rated_volt;
      const double rated_ohm =
          instrument.rated_volt * instrument.rated_volt / instrument.rated_watt;
      port.load_ohm = rated_ohm * std::pow(u, 1 - instrument.current_exponent);
      port.volt_tolerance =
          tolerance_ * shown.sigma * std::max(volt, least / 3) / instrument.light_exponent;
      const auto volt_of = [&](double light) {
        return instrument.rated_volt * std::pow(light, 1 / instrument.light_exponent);
      };
      const double dark = volt_of(instrument.dark_below);
      const double bright = volt_of(instrument.bright_from);
      double to = 0;
      if (entry.outcome == readings::Outcome::bright) to = std::max(volt, bright);
      if (entry.outcome == readings::Outcome::dark) to = std::min(volt, dark);
      if (entry.outcome == readings::Outcome::dim) to = std::clamp(volt, dark, bright);
      leads_to(volt, to);
      break;
    }
    case Instrument::Type::ohmmeter:
    case Instrument::Type::beeper:
      port.ohms = true;
      port.volt_tolerance = tolerance_ * shown.sigma;
      break;
    case Instrument::Type::voltmeter:
    case Instrument::Type::clamp:
      port.load_ohm = instrument.resistance_ohm;
      port.volt_tolerance = tolerance_ * shown.sigma;
      leads_to(readings::voltmeter_volt(instrument, seen), entry.number);
      break;
  }
  return port;
}

Relevance::Port Relevance::add_port(const Entry& entry, circuit::Stage stage, Index red, Bits& out,
                                    Bits& strong) {
  const auto& numbers = enter(stage);
  auto port = port_of(entry, red);
  scan(stage, numbers, port, out, strong);
  add_movers(stage, out, strong);
  if (port.ohms) {
    // A voltage from somewhere would upset it.
    port.ohms = false;
    port.volt_tolerance = 0.05;
    scan(stage, numbers, port, out, strong);
    add_movers(stage, out, strong);
  }
  return port;
}

void Relevance::add_sign(const Entry& entry, circuit::Stage stage, Bits& out, Bits& strong) {
  const auto& sign = space_->vehicle().signs[at(entry.sign)];
  const auto& numbers = enter(stage);
  for (const auto& op : sign.when.ops) {
    if (op.type == vehicle::Condition::Op::Type::atom) {
      add_atom(stage, numbers, op.index, out, strong);
      add_thresholds(op.index, strong);
      add_movers(stage, out, strong);
    }
    if (op.type != vehicle::Condition::Op::Type::control) continue;
    for (const auto f : with_settings_)
      for (const auto& setting : space_->fault(f).settings)
        if (setting.control == op.index) strong.set(at(f));
  }
}

Relevance::Bearing Relevance::bearing(const Entry& entry) {
  const auto count = space_->faults().size();
  Bearing result{Bits(count), Bits(count), Bits(count), std::numeric_limits<double>::quiet_NaN()};
  const auto stage = solver_->stage(entry.state, entry.lifted_elements, entry.bridged_elements);
  const auto before = solver_->previous(stage);
  const auto& numbers = enter(stage);
  own_ = numbers.signatures;  // those of earlier stages are part of them
  lively_ = numbers.lively;
  signed_ = &own_;
  scans_ = 0;
  if (entry.type == Entry::Type::sign) {
    const bool on_change = space_->vehicle().signs[at(entry.sign)].on_change;
    add_sign(entry, stage, result.proper, result.strong);
    if (before != none && on_change) {
      // What comes with a move depends on how things stood before it.
      add_sign(entry, before, result.proper, result.strong);
    } else if (before != none) {
      add_sign(entry, before, result.slips, result.slips);
    }
    result.proper |= result.strong;
    return result;
  }
  const auto& instrument = instruments_->instruments[static_cast<std::size_t>(entry.instrument)];
  if (instrument.type == Instrument::Type::clamp) {
    for (const auto& touched : touched_)
      if (touched.element == entry.element)
        for (const auto& touch : touched.touches) result.strong.set(at(touch.fault));
    add_port(entry, stage, none, result.proper, result.strong);
  } else {
    const auto port = add_port(entry, stage, entry.red, result.proper, result.strong);
    result.half_volt = port.half_volt;
    result.volt_sigma = port.volt_sigma;
    if (instrument.errors.wrong_neighbour > 0)
      for (const auto near : readings::neighbours(space_->vehicle(), entry.red))
        if (near != entry.black) add_port(entry, stage, near, result.slips, result.slips);
  }
  if (before != none && instrument.errors.wrong_state > 0) {
    add_port(entry, before, entry.red, result.slips, result.slips);
  }
  result.proper |= result.strong;
  return result;
}

}  // namespace faultloom::belief
