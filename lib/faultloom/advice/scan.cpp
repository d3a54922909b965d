#include <faultloom/advice/scan.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

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

std::vector<Trial> leading_trials(std::vector<Trial> trials, const LiveSet& live,
                                  const RepairCosts& costs, const std::vector<bool>& open_zones,
                                  std::size_t most) {
  if (trials.size() <= most) return trials;
  std::vector<TrialScore> scores;
  scores.reserve(trials.size());
  std::map<std::vector<Index>, std::vector<double>> fix_of;  // by zones of the trial
  double usd_per_nat = std::numeric_limits<double>::infinity();
  for (const auto& trial : trials) {
    auto& fix = fix_of[trial.zones];
    if (fix.empty()) {
      auto open = open_zones;
      for (const auto z : trial.zones) open[at(z)] = true;
      for (const auto& h : live.hypotheses) fix.push_back(costs.fix(h, open));
    }
    scores.push_back(score(trial, live.hypotheses, fix));
    if (scores.back().information_nat > 1e-6)
      usd_per_nat = std::min(usd_per_nat, trial.step.cost_usd / scores.back().information_nat);
  }
  if (!std::isfinite(usd_per_nat)) usd_per_nat = 0;
  const auto after = [&](std::size_t i) {
    return scores[i].fix_usd + usd_per_nat * scores[i].entropy_nat;
  };
  std::vector<std::size_t> order(trials.size());
  std::vector<bool> chosen(trials.size(), false);
  const auto choose = [&](std::size_t count, const auto& key) {
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::vector<double> keys;
    keys.reserve(trials.size());
    for (std::size_t i = 0; i < trials.size(); ++i) keys.push_back(key(i));
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return keys[a] < keys[b]; });
    for (std::size_t k = 0; k < count; ++k) chosen[order[k]] = true;
  };
  choose(most / 2, [&](std::size_t i) { return trials[i].step.cost_usd + after(i); });
  choose(most / 4, [&](std::size_t i) {
    return costs.prices().of_minutes(trials[i].own_minutes) + after(i);
  });
  choose(most / 4, [&](std::size_t i) {
    return trials[i].step.cost_usd / std::max(scores[i].information_nat, 1e-12);
  });
  std::vector<Trial> leading;
  for (std::size_t i = 0; i < trials.size(); ++i)
    if (chosen[i]) leading.push_back(std::move(trials[i]));
  return leading;
}

void condition(const Trial& trial, std::size_t outcome, std::span<const Hypothesis> hypotheses,
               std::vector<double>& weights) {
  weights.resize(hypotheses.size());
  for (std::size_t h = 0; h < hypotheses.size(); ++h)
    weights[h] = hypotheses[h].weight * trial.row(trial.codes[h])[outcome];
}

}  // namespace faultloom::advice
