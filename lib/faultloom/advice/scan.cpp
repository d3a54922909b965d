#include <faultloom/advice/scan.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <faultloom/circuit/observability.hpp>

namespace faultloom::advice {
namespace {

using readings::Instrument;
using readings::Outcome;
using readings::SignTruth;
using readings::Thevenin;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

constexpr std::array<Outcome, 3> sign_words{Outcome::yes, Outcome::no, Outcome::chatters};

bool needs_isolation(const Instrument& instrument) {
  return instrument.type == Instrument::Type::ohmmeter ||
         instrument.type == Instrument::Type::beeper;
}

bool all_equal(const std::vector<std::int32_t>& codes) {
  return std::all_of(codes.begin(), codes.end(),
                     [&](std::int32_t c) { return c == codes.front(); });
}

}  // namespace

TrialScore score(const Trial& trial, std::span<const Hypothesis> hypotheses,
                 std::span<const double> fix_usd) {
  // Per distinct code: mass, mass * fix, mass * ln mass. Few codes, so a linear search finds them fastest.
  struct Sums {
    std::int32_t code;
    double mass = 0;
    double fix = 0;
    double log = 0;
  };
  std::array<Sums, 64> sums;
  std::size_t count = 0;
  double prior_log = 0;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    const double w = hypotheses[h].weight;
    const auto code = trial.codes[h];
    std::size_t k = 0;
    while (k < count && sums[k].code != code) ++k;
    if (k == count && count < sums.size()) sums[count++] = {code};
    if (k == sums.size())
      k = sums.size() - 1;  // more kinds of prediction than matter: lump the rest
    const double log = w > 0 ? w * std::log(w) : 0;
    sums[k].mass += w;
    sums[k].fix += w * fix_usd[h];
    sums[k].log += log;
    prior_log += log;
  }
  TrialScore result;
  double after_log = 0;
  for (std::size_t o = 0; o < trial.outcomes; ++o) {
    double mass = 0;
    double log = 0;
    for (std::size_t k = 0; k < count; ++k) {
      const double p = trial.row(sums[k].code)[o];
      if (p <= 0) continue;
      mass += p * sums[k].mass;
      log += p * (sums[k].log + sums[k].mass * std::log(p));
      result.fix_usd += p * sums[k].fix;
    }
    if (mass > 0) after_log += log - mass * std::log(mass);
  }
  result.entropy_nat = -after_log;
  result.information_nat = std::max(0.0, after_log - prior_log);
  return result;
}

void condition(const Trial& trial, std::size_t outcome, std::span<const Hypothesis> hypotheses,
               std::vector<double>& weights) {
  weights.resize(hypotheses.size());
  for (std::size_t h = 0; h < hypotheses.size(); ++h)
    weights[h] = hypotheses[h].weight * trial.row(trial.codes[h])[outcome];
}

/// Solved numbers of one state: by live candidate, then terminal.
struct TrialFactory::Numbers {
  std::size_t terminals = 0;
  std::vector<double> volt;
  std::vector<double> ohm;
  std::size_t elements = 0;
  std::vector<double> element_ohm;
  [[nodiscard]] Thevenin port(std::size_t live, Index terminal) const {
    return {volt[live * terminals + at(terminal)], ohm[live * terminals + at(terminal)]};
  }
  [[nodiscard]] Thevenin across(std::size_t live, Index element, Index a, Index b) const {
    return {volt[live * terminals + at(a)] - volt[live * terminals + at(b)],
            element_ohm[live * elements + at(element)]};
  }
};

TrialFactory::TrialFactory(belief::Belief& belief, const LiveSet& live, const RepairCosts& costs,
                           const Constraints& constraints, const std::vector<bool>& open_zones)
    : belief_(&belief),
      live_(&live),
      costs_(&costs),
      constraints_(&constraints),
      open_zones_(&open_zones) {
  const auto& set = belief.instruments();
  for (std::size_t i = 0; i < set.instruments.size(); ++i)
    tables_.emplace_back(set, static_cast<int>(i), costs.vehicle().nominal_volt);
  by_live_.resize(live.candidates.size());
  for (std::size_t h = 0; h < live.hypotheses.size(); ++h)
    by_live_[at(live.hypotheses[h].live)].push_back(static_cast<std::int32_t>(h));
  overrides_.resize(live.candidates.size());
  settings_.resize(live.candidates.size());
  for (std::size_t c = 0; c < live.candidates.size(); ++c) {
    belief.space().overrides(live.candidates[c].faults, overrides_[c]);
    belief.space().settings(live.candidates[c].faults, settings_[c]);
  }
}

void TrialFactory::begin(std::size_t candidate) {
  belief_->solver().begin(overrides_[candidate], settings_[candidate]);
}

bool TrialFactory::reachable(Index terminal) const {
  const auto& t = costs_->vehicle().terminals[at(terminal)];
  const auto& off = constraints_->closed_zones;
  return t.reachable && std::find(off.begin(), off.end(), t.zone) == off.end();
}

bool TrialFactory::usable(int instrument, Index red, bool isolated) const {
  const auto& at_hand = constraints_->instruments;
  if (!at_hand.empty() && std::find(at_hand.begin(), at_hand.end(), instrument) == at_hand.end())
    return false;
  const auto& i = belief_->instruments().instruments[static_cast<std::size_t>(instrument)];
  if (needs_isolation(i) != isolated) return false;
  const bool loads = (i.type == Instrument::Type::lamp && i.current_exponent != 1) ||
                     (i.type == Instrument::Type::voltmeter && i.resistance_ohm < 1e5);
  if (!loads) return true;
  // It would draw enough to damage a logic or sensor output.
  const auto& vehicle = costs_->vehicle();
  const auto& cautions = vehicle.components[at(vehicle.terminals[at(red)].component)].cautions;
  return std::find(cautions.begin(), cautions.end(), "lamp_on_logic") == cautions.end();
}

void TrialFactory::price(Trial& trial) const {
  const auto& vehicle = costs_->vehicle();
  auto& step = trial.step;
  double minutes = 0;
  const auto visit = [&](Index zone) {
    if (zone == vehicle::none || (*open_zones_)[at(zone)]) return;
    if (std::find(step.zones_to_open.begin(), step.zones_to_open.end(), zone) !=
        step.zones_to_open.end())
      return;
    step.zones_to_open.push_back(zone);
    minutes += vehicle.zones[at(zone)].open_minutes + vehicle.zones[at(zone)].close_minutes;
  };
  for (const auto t : {step.red, step.black}) {
    if (t == vehicle::none) continue;
    visit(vehicle.terminals[at(t)].zone);
    minutes += vehicle.terminals[at(t)].minutes;
  }
  if (step.component != vehicle::none) {
    visit(vehicle.components[at(step.component)].zone);
    minutes += vehicle.components[at(step.component)].look_minutes;
  }
  if (step.instrument >= 0)
    minutes +=
        belief_->instruments().instruments[static_cast<std::size_t>(step.instrument)].minutes;
  if (step.type == Step::Type::sign) minutes += 0.2;
  for (std::size_t c = 0; c < step.state.size(); ++c) {
    if (step.state[c] == vehicle.controls[c].rest) continue;
    minutes += vehicle.controls[c].minutes;
    step.needs_helper = step.needs_helper || vehicle.controls[c].needs_helper;
  }
  if (step.isolated) minutes += 4;  // off and back on again
  if (step.needs_helper) minutes += costs_->prices().helper_minutes;
  step.minutes = minutes;
  step.cost_usd = costs_->prices().of_minutes(minutes);
}

bool TrialFactory::keep(Trial&& trial, std::vector<Trial>& trials) {
  ++compared_;
  if (all_equal(trial.codes)) return false;
  price(trial);
  auto pattern = trial.codes;
  pattern.push_back(trial.step.instrument);
  pattern.push_back(static_cast<std::int32_t>(trial.step.type));
  if (trial.table == nullptr)
    for (const auto& row : trial.rows) pattern.push_back(static_cast<std::int32_t>(row[0] * 1e6));
  const auto [entry, added] = known_.emplace(std::move(pattern), trials.size());
  if (added) {
    trials.push_back(std::move(trial));
  } else if (trial.step.cost_usd < trials[entry->second].step.cost_usd) {
    trials[entry->second] = std::move(trial);
  }
  return added;
}

void TrialFactory::add_readings(const Numbers& numbers, const vehicle::ControlState& state,
                                bool isolated, std::vector<Trial>& trials) {
  const auto& vehicle = costs_->vehicle();
  // Most ports are alike under every live candidate in most states: one cheap look for all instruments.
  const auto differs = [&](const auto& port_of) {
    const auto first = port_of(0);
    for (std::size_t c = 1; c < live_->candidates.size(); ++c) {
      const auto other = port_of(c);
      if (std::abs(other.volt - first.volt) > 1e-3 ||
          std::abs(other.ohm - first.ohm) > 0.02 * first.ohm + 1e-6)
        return true;
    }
    return false;
  };
  std::vector<bool> to_datum(vehicle.terminals.size());
  std::vector<bool> across(vehicle.elements.size());
  for (std::size_t t = 0; t < to_datum.size(); ++t)
    to_datum[t] = differs([&](std::size_t c) { return numbers.port(c, static_cast<Index>(t)); });
  for (std::size_t e = 0; e < across.size(); ++e) {
    const auto& element = vehicle.elements[e];
    across[e] = differs([&](std::size_t c) {
      return numbers.across(c, static_cast<Index>(e), element.a, element.b);
    });
  }
  for (std::size_t i = 0; i < tables_.size(); ++i) {
    const auto instrument = static_cast<int>(i);
    const auto type = belief_->instruments().instruments[i].type;
    const auto offer = [&](Index red, Index black, const auto& port_of) {
      if (red == black || !reachable(red) || !reachable(black) ||
          !usable(instrument, red, isolated))
        return;
      Trial trial;
      trial.table = &tables_[i];
      trial.outcomes = tables_[i].outcome_count();
      trial.step.type = Step::Type::reading;
      trial.step.instrument = instrument;
      trial.step.red = red;
      trial.step.black = black;
      trial.step.state = state;
      trial.step.isolated = isolated;
      offer_codes(std::move(trial), port_of, trials);
    };
    if (!isolated && type != Instrument::Type::clamp)
      for (std::size_t t = 0; t < vehicle.terminals.size(); ++t) {
        const auto red = static_cast<Index>(t);
        if (!to_datum[t]) {
          ++compared_;
          continue;
        }
        offer(red, vehicle.datum, [&](std::size_t c) { return numbers.port(c, red); });
      }
    // Across one element: a drop under load, or its resistance with the pack isolated.
    if (isolated || type == Instrument::Type::voltmeter)
      for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
        const auto& element = vehicle.elements[e];
        if (!isolated && element.b == vehicle.datum) continue;  // the same as terminal to datum
        if (!across[e]) {
          ++compared_;
          continue;
        }
        offer(element.a, element.b, [&](std::size_t c) {
          return numbers.across(c, static_cast<Index>(e), element.a, element.b);
        });
      }
  }
}

template <typename PortOf>
void TrialFactory::offer_codes(Trial&& trial, const PortOf& port_of, std::vector<Trial>& trials) {
  auto& table = tables_[static_cast<std::size_t>(trial.step.instrument)];
  std::vector<std::int32_t>& codes = live_codes_;
  codes.resize(live_->candidates.size());
  bool differs = false;
  for (std::size_t c = 0; c < codes.size(); ++c) {
    codes[c] = table.code(port_of(c));
    differs = differs || codes[c] != codes[0];
  }
  if (!differs) {
    ++compared_;
    return;
  }
  trial.codes.resize(live_->hypotheses.size());
  for (std::size_t h = 0; h < trial.codes.size(); ++h)
    trial.codes[h] = codes[at(live_->hypotheses[h].live)];
  keep(std::move(trial), trials);
}

void TrialFactory::add_signs(circuit::Stage stage, const vehicle::ControlState& state,
                             std::vector<Trial>& trials) {
  const auto& vehicle = costs_->vehicle();
  auto& solver = belief_->solver();
  std::vector<std::vector<std::int32_t>> truths(
      vehicle.signs.size(), std::vector<std::int32_t>(live_->candidates.size(), 0));
  for (std::size_t c = 0; c < live_->candidates.size(); ++c) {
    begin(c);
    for (std::size_t s = 0; s < vehicle.signs.size(); ++s)
      truths[s][c] =
          static_cast<std::int32_t>(readings::sign_truth(solver, static_cast<Index>(s), stage));
  }
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    if (all_equal(truths[s])) {
      ++compared_;
      continue;
    }
    Trial trial;
    trial.step.type = Step::Type::sign;
    trial.step.sign = static_cast<Index>(s);
    trial.step.state = state;
    trial.outcomes = sign_words.size();
    const auto& sense = belief_->instruments().sense(vehicle.signs[s].sense);
    for (const auto truth : {SignTruth::absent, SignTruth::present, SignTruth::chatters}) {
      OutcomeTable::Distribution row{};
      for (std::size_t o = 0; o < sign_words.size(); ++o)
        row[o] = (1 - sense.wrong_state) * readings::sign_probability(sense, sign_words[o], truth) +
                 (sign_words[o] == Outcome::chatters ? 0 : sense.wrong_state / 2);
      trial.rows.push_back(row);
    }
    trial.codes.resize(live_->hypotheses.size());
    for (std::size_t h = 0; h < trial.codes.size(); ++h)
      trial.codes[h] = truths[s][at(live_->hypotheses[h].live)];
    keep(std::move(trial), trials);
  }
}

void TrialFactory::add_state(const vehicle::ControlState& state, bool isolated,
                             std::vector<Trial>& trials) {
  const auto& vehicle = costs_->vehicle();
  auto& solver = belief_->solver();
  const auto lifted = isolated ? std::span<const Index>(vehicle.isolation.lifted_elements)
                               : std::span<const Index>{};
  const auto stage = solver.stage(state, lifted);
  Numbers numbers;
  numbers.terminals = vehicle.terminals.size();
  numbers.volt.resize(live_->candidates.size() * numbers.terminals);
  numbers.ohm.resize(numbers.volt.size());
  numbers.elements = vehicle.elements.size();
  numbers.element_ohm.resize(live_->candidates.size() * numbers.elements);
  for (std::size_t c = 0; c < live_->candidates.size(); ++c) {
    begin(c);
    solver.enter(stage);
    solver.volts(std::span(numbers.volt).subspan(c * numbers.terminals, numbers.terminals));
    solver.resistances(std::span(numbers.ohm).subspan(c * numbers.terminals, numbers.terminals));
    solver.element_resistances(
        std::span(numbers.element_ohm).subspan(c * numbers.elements, numbers.elements));
  }
  add_readings(numbers, state, isolated, trials);
  if (!isolated) add_signs(stage, state, trials);
}

void TrialFactory::add_looks(std::vector<Trial>& trials) {
  const auto& vehicle = costs_->vehicle();
  std::vector<bool> suspect(vehicle.components.size(), false);
  for (const auto& h : live_->hypotheses)
    for (const auto c : h.components) suspect[at(c)] = true;
  for (std::size_t c = 0; c < vehicle.components.size(); ++c) {
    const auto& component = vehicle.components[c];
    const auto& off = constraints_->closed_zones;
    if (!suspect[c] || std::find(off.begin(), off.end(), component.zone) != off.end()) continue;
    Trial trial;
    trial.step.type = Step::Type::look;
    trial.step.component = static_cast<Index>(c);
    trial.outcomes = 2;
    const auto row = [](double seen) {
      const double p = std::clamp(seen, 1e-4, 1 - 1e-4);
      return OutcomeTable::Distribution{p, 1 - p};
    };
    trial.rows.push_back(row(component.look_false_alarm));
    std::map<Index, std::int32_t> code_of;
    for (const auto m : component.modes) {
      code_of[m] = static_cast<std::int32_t>(trial.rows.size());
      trial.rows.push_back(row(vehicle.modes[at(m)].seen));
    }
    for (const auto& h : live_->hypotheses) {
      std::int32_t code = 0;
      for (const auto m : h.modes)
        if (const auto found = code_of.find(m); found != code_of.end()) code = found->second;
      trial.codes.push_back(code);
    }
    keep(std::move(trial), trials);
  }
}

std::vector<Trial> TrialFactory::make(const Progress& progress) {
  std::vector<Trial> trials;
  const auto& vehicle = costs_->vehicle();
  add_looks(trials);
  if (constraints_->allow_live) {
    const auto states = circuit::control_combinations(vehicle);
    for (std::size_t s = 0; s < states.size(); ++s) {
      report(progress, static_cast<double>(s) / static_cast<double>(states.size()));
      add_state(states[s], false, trials);
    }
  }
  if (!vehicle.isolation.lifted_elements.empty()) add_state(vehicle.rest_state(), true, trials);
  return trials;
}

std::string TrialFactory::label(const Trial& trial, std::size_t outcome) const {
  if (trial.table != nullptr) return trial.table->label(outcome);
  if (trial.step.type == Step::Type::sign)
    return std::string(readings::name_of(sign_words[outcome]));
  return outcome == 0 ? "damage" : "clean";
}

}  // namespace faultloom::advice
