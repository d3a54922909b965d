#include <faultloom/advice/trials.hpp>

#include <algorithm>
#include <array>
#include <utility>

/// Trials without an instrument: signs watched, further tries of what comes and goes, looks.
namespace faultloom::advice {
namespace {

using readings::Outcome;
using readings::SignTruth;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

constexpr std::array<Outcome, 3> sign_words{Outcome::yes, Outcome::no, Outcome::chatters};
/// As often is it worth trying whether something that comes and goes shows, and wiggling in one place.
constexpr std::size_t most_tries = 3;
constexpr std::size_t most_wiggles = 2;

}  // namespace

Trial TrialFactory::sign_trial(std::size_t sign) const {
  Trial trial;
  trial.step.type = Step::Type::sign;
  trial.step.sign = static_cast<Index>(sign);
  trial.outcomes = sign_words.size();
  const auto& sense = belief_->instruments().sense(costs_->vehicle().signs[sign].sense);
  for (const auto truth : {SignTruth::absent, SignTruth::present, SignTruth::chatters}) {
    OutcomeTable::Distribution row{};
    for (std::size_t o = 0; o < sign_words.size(); ++o)
      row[o] = (1 - sense.wrong_state) * readings::sign_probability(sense, sign_words[o], truth) +
               (sign_words[o] == Outcome::chatters ? 0 : sense.wrong_state / 2);
    trial.rows.push_back(row);
  }
  return trial;
}

void TrialFactory::add_signs(std::size_t situation) {
  const auto& vehicle = costs_->vehicle();
  live_codes_.resize(rows_.size());
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    ++compared_;
    for (std::size_t c = 0; c < rows_.size(); ++c)
      live_codes_[c] = rows_[c]->signs[situation * vehicle.signs.size() + s];
    if (all_equal(live_codes_)) continue;
    auto trial = sign_trial(s);
    trial.setup.state = store_->states()[situation];
    trial.step.state = trial.setup.state;
    if (made(trial.step, vehicle::none, std::span(&trial.setup.state, 1))) continue;
    keep(std::move(trial), live_codes_);
  }
}

/// Whether it runs, once more or while things are wiggled somewhere: worth asking as long as something
/// that comes and goes is suspected.
void TrialFactory::add_tries() {
  const auto& vehicle = costs_->vehicle();
  std::vector<bool> suspected(vehicle.zones.size(), false);
  bool any = false;
  for (const auto& h : live_->hypotheses) {
    if (!h.swing) continue;
    any = true;
    for (const auto m : h.modes) {
      const auto zone = vehicle.components[at(vehicle.modes[at(m)].component)].zone;
      if (vehicle.modes[at(m)].intermittent() && zone != vehicle::none) suspected[at(zone)] = true;
    }
  }
  if (!any) return;
  const auto& states = store_->states();
  const auto run = std::find(states.begin(), states.end(), vehicle.run_state);
  if (run == states.end()) return;
  const auto situation = static_cast<std::size_t>(run - states.begin());
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    if (vehicle.signs[s].id != "turns") continue;
    Deed deed;
    deed.sign = static_cast<Index>(s);
    deed.state = vehicle.run_state;
    // The first try is a sign like any other.
    if (deeds_.contains(deed) && tries_.count(deed) < most_tries)
      add_try(s, situation, vehicle::none);
    for (std::size_t z = 0; z < suspected.size(); ++z) {
      deed.wiggled_zone = static_cast<Index>(z);
      if (suspected[z] && allowed(deed.wiggled_zone) && tries_.count(deed) < most_wiggles)
        add_try(s, situation, deed.wiggled_zone);
    }
  }
}

void TrialFactory::add_try(std::size_t sign, std::size_t situation, Index zone) {
  ++compared_;
  auto trial = sign_trial(sign);
  trial.setup.state = store_->states()[situation];
  trial.step.wiggled_zone = zone;
  const auto count = costs_->vehicle().signs.size();
  for (const auto* row : rows_) trial.plain.push_back(row->signs[situation * count + sign]);
  constexpr double fine = 64;  // chances are told apart to this part
  std::map<std::tuple<std::int32_t, std::int32_t, long>, std::int32_t> mixed;
  for (const auto& h : live_->hypotheses) {
    if (!h.swing || trial.plain[at(h.swing->lively)] == trial.plain[at(h.swing->quiet)]) {
      trial.codes.push_back(trial.plain[at(h.live)]);
      continue;
    }
    const auto lively = trial.plain[at(h.swing->lively)];
    const auto quiet = trial.plain[at(h.swing->quiet)];
    const double shows = zone == vehicle::none ? h.swing->shows : h.swing->wiggled[at(zone)];
    const auto [entry, added] = mixed.try_emplace({lively, quiet, std::lround(shows * fine)},
                                                  static_cast<std::int32_t>(trial.rows.size()));
    if (added)
      trial.rows.push_back(
          OutcomeTable::mixture(trial.rows[at(lively)], trial.rows[at(quiet)], shows));
    trial.codes.push_back(entry->second);
  }
  if (!all_equal(trial.codes) && settle(trial)) trials_.push_back(std::move(trial));
}

void TrialFactory::add_looks() {
  const auto& vehicle = costs_->vehicle();
  std::vector<bool> suspect(vehicle.components.size(), false);
  for (const auto& h : live_->hypotheses)
    for (const auto m : h.modes) suspect[at(vehicle.modes[at(m)].component)] = true;
  for (std::size_t c = 0; c < vehicle.components.size(); ++c) {
    const auto& component = vehicle.components[c];
    if (!suspect[c] || !allowed(component.zone)) continue;
    ++compared_;
    Trial trial;
    trial.step.type = Step::Type::look;
    trial.step.component = static_cast<Index>(c);
    if (made(trial.step, vehicle::none, {})) continue;
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
    if (!all_equal(trial.codes) && settle(trial)) trials_.push_back(std::move(trial));
  }
}

}  // namespace faultloom::advice
