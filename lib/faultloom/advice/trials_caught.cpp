#include <faultloom/advice/trials.hpp>

#include <algorithm>
#include <boost/container_hash/hash.hpp>
#include <cmath>
#include <map>
#include <utility>

/// Trials at the moment at which something that comes and goes is at work: an instrument stays in place,
/// or an eye on something, and it is tried until it fails. One such reading says as much as one of a
/// fault that stays.
namespace faultloom::advice {
namespace {

using belief::Predictions;
using readings::SignTruth;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Of what comes and goes, this much at least must be suspected to try for it.
constexpr double worth_catching = 0.02;
/// Situations to try it in: forward, and reverse if that fails for other reasons.
constexpr std::size_t most_failing = 2;
/// Nobody is sure to see it fail, nor to see it run.
constexpr double least_chance = 0.01;
/// Chances are told apart to this part.
constexpr double fine = 64;
/// A prediction of what hardly ever fails is not worth a test.
constexpr double hardly = 0.05;

double chance_to_fail(std::uint8_t truth) {
  return static_cast<SignTruth>(truth) == SignTruth::present ? least_chance : 1 - least_chance;
}

/// Tries until it is caught, or none of them did. @param caught  chance that one does
double expected_tries(double caught) {
  constexpr double most = Predictions::catching_tries;
  if (caught >= 1 - least_chance) return 1;
  // As if each were drawn anew.
  const double each = 1 - std::pow(1 - caught, 1 / most);
  return each > 0 ? caught / each : most;
}

}  // namespace

std::vector<TrialFactory::Failing> TrialFactory::failing_signs() const {
  const auto& vehicle = costs_->vehicle();
  const auto count = vehicle.signs.size();
  std::vector<Failing> list;
  for (std::size_t s = 0; s < store_->states().size(); ++s)
    for (std::size_t k = 0; k < count; ++k) {
      if (vehicle.signs[k].id != "turns") continue;
      Failing item{s, k, std::vector<bool>(live_->hypotheses.size(), false), 0, 0};
      for (std::size_t h = 0; h < item.shows.size(); ++h) {
        const auto& hypothesis = live_->hypotheses[h];
        if (!hypothesis.swing) continue;
        const auto truth = [&](std::int32_t candidate) {
          return static_cast<SignTruth>(rows_[at(candidate)]->signs[s * count + k]);
        };
        item.shows[h] = truth(hypothesis.swing->quiet) == SignTruth::present &&
                        truth(hypothesis.swing->lively) != SignTruth::present;
        if (item.shows[h]) item.weight += hypothesis.weight;
      }
      if (item.weight < worth_catching) continue;
      item.minutes = change_minutes(vehicle, costs_->prices(), present_,
                                    {store_->states()[s], false, vehicle::none, vehicle::none});
      list.push_back(std::move(item));
    }
  // Those that show most, then those that the first ones do not show.
  std::vector<Failing> chosen;
  std::vector<bool> shown(live_->hypotheses.size(), false);
  while (chosen.size() < most_failing && !list.empty()) {
    const auto further = [&](const Failing& item) {
      double sum = 0;
      for (std::size_t h = 0; h < shown.size(); ++h)
        if (item.shows[h] && !shown[h]) sum += live_->hypotheses[h].weight;
      return sum;
    };
    const auto best = std::min_element(list.begin(), list.end(), [&](const auto& a, const auto& b) {
      const double x = further(a);
      const double y = further(b);
      return std::abs(x - y) > 1e-9 ? x > y : a.minutes < b.minutes;
    });
    if (further(*best) < worth_catching) break;
    for (std::size_t h = 0; h < shown.size(); ++h)
      if (best->shows[h]) shown[h] = true;
    chosen.push_back(std::move(*best));
    list.erase(best);
  }
  return chosen;
}

void TrialFactory::add_catches() {
  for (const auto& failing : failing_signs()) add_catches_of(failing);
}

void TrialFactory::add_catches_of(const Failing& failing) {
  const auto& vehicle = costs_->vehicle();
  const auto count = vehicle.signs.size();
  const Setup setup{store_->states()[failing.situation], false, vehicle::none, vehicle::none};
  live_codes_.resize(rows_.size());
  for (std::size_t k = 0; k < count; ++k) {
    if (k == failing.sign) continue;
    for (std::size_t c = 0; c < rows_.size(); ++c)
      live_codes_[c] = rows_[c]->signs[failing.situation * count + k];
    auto trial = sign_trial(k);
    trial.setup = setup;
    offer_caught(std::move(trial), failing, live_codes_);
  }
  const auto& places = store_->places();
  std::vector<const std::uint32_t*> ports;
  ports.reserve(rows_.size());
  for (const auto* row : rows_)
    ports.push_back(row->networks[row->network_of[failing.situation]].ports.data());
  for (std::size_t p = 0; p < places.size(); ++p) {
    const auto& place = places[p];
    if (!reachable(place.red) || !reachable(place.black)) continue;
    if (repeats_terminal(place)) continue;
    const bool differs = std::any_of(ports.begin(), ports.end(), [&](const std::uint32_t* own) {
      return own[p] != ports.front()[p];
    });
    if (!differs) continue;
    at_place_.find(ports, p);
    for (std::size_t i = 0; i < belief_->instruments().instruments.size(); ++i) {
      if (!usable(i, place, false)) continue;
      at_place_.read(*store_, i);
      at_place_.codes_by_candidate(live_codes_);
      Trial trial;
      trial.step.type = Step::Type::reading;
      trial.step.instrument = static_cast<int>(i);
      trial.step.red = place.red;
      trial.step.black = place.black;
      trial.outcomes = store_->table(i).outcome_count();
      trial.setup = setup;
      offer_caught(std::move(trial), failing, live_codes_);
    }
  }
}

void TrialFactory::offer_caught(Trial&& trial, const Failing& failing,
                                std::span<const std::int32_t> code_of) {
  ++compared_;
  const auto& hypotheses = live_->hypotheses;
  const auto truths = costs_->vehicle().signs.size();
  const auto truth_of = [&](std::int32_t c) {
    return rows_[at(c)]->signs[failing.situation * truths + failing.sign];
  };
  // Not the test tells apart what fails from what does not, the tries alone do: it has to tell apart
  // what fails.
  std::int32_t first = -1;
  bool tells = false;
  for (std::size_t h = 0; h < hypotheses.size() && !tells; ++h) {
    const auto& item = hypotheses[h];
    const auto candidate = failing.shows[h] ? item.swing->lively : item.live;
    const double fails =
        failing.shows[h] ? item.swing->caught : chance_to_fail(truth_of(candidate));
    if (fails < hardly || item.weight <= 0) continue;
    if (first < 0) first = code_of[at(candidate)];
    tells = code_of[at(candidate)] != first;
  }
  if (!tells) return;
  trial.step.when_sign = static_cast<Index>(failing.sign);
  trial.step.most_tries = Predictions::catching_tries;
  trial.step.state = trial.setup.state;
  if (made(trial.step, vehicle::none, std::span(&trial.setup.state, 1))) return;

  const auto given = std::move(trial.rows);
  trial.rows.clear();
  const auto own = trial.outcomes;
  ++trial.outcomes;
  std::map<std::pair<std::int32_t, long>, std::int32_t> mixed;
  const auto code = [&](std::int32_t of_test, double fails) {
    fails = std::clamp(fails, least_chance, 1 - least_chance);
    const auto [entry, added] = mixed.try_emplace({of_test, std::lround(fails * fine)},
                                                  static_cast<std::int32_t>(trial.rows.size()));
    if (added) {
      const auto& shown =
          trial.step.instrument < 0
              ? given[at(of_test)]
              : store_->distribution(static_cast<std::size_t>(trial.step.instrument), of_test);
      OutcomeTable::Distribution row{};
      for (std::size_t o = 0; o < own; ++o) row[o] = fails * shown[o];
      row[own] = 1 - fails;
      trial.rows.push_back(row);
    }
    return entry->second;
  };
  for (std::size_t c = 0; c < code_of.size(); ++c)
    trial.plain.push_back(code(code_of[c], chance_to_fail(truth_of(static_cast<std::int32_t>(c)))));
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    const auto& item = hypotheses[h];
    if (!failing.shows[h]) {
      trial.codes.push_back(trial.plain[at(item.live)]);
      trial.tries += item.weight * expected_tries(chance_to_fail(truth_of(item.live)));
      continue;
    }
    trial.codes.push_back(code(code_of[at(item.swing->lively)], item.swing->caught));
    trial.tries += item.weight * expected_tries(item.swing->caught);
  }
  if (!settle(trial)) return;
  // Of trials that predict the same the cheapest is kept.
  std::vector<std::int32_t> same;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    const auto candidate = failing.shows[h] ? hypotheses[h].swing->lively : hypotheses[h].live;
    same.push_back(code_of[at(candidate)]);
    same.push_back(trial.codes[h]);
  }
  same.push_back(static_cast<std::int32_t>(failing.sign));
  const int kind = trial.step.instrument >= 0 ? trial.step.instrument : -1;
  const auto [known, added] = known_caught_.try_emplace({kind, std::move(same)}, trials_.size());
  if (added) {
    trials_.push_back(std::move(trial));
  } else if (trial.step.cost_usd < trials_[known->second].step.cost_usd) {
    trials_[known->second] = std::move(trial);
  }
}

}  // namespace faultloom::advice
