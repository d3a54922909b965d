#include <faultloom/advice/scan.hpp>

#include <algorithm>
#include <boost/container/static_vector.hpp>
#include <cmath>
#include <limits>
#include <numeric>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

double entropy_nat(std::span<const Hypothesis> hypotheses) {
  double sum = 0;
  for (const auto& h : hypotheses)
    if (h.weight > 0) sum -= h.weight * std::log(h.weight);
  return sum;
}

TrialScore score(const Trial& trial, std::span<const Hypothesis> hypotheses,
                 std::span<const double> fix_usd, double entropy_before_nat) {
  // Few codes differ, so a linear search finds them fastest.
  struct Sum {
    std::int32_t code;
    double mass;
  };
  constexpr std::size_t most = 64;
  boost::container::static_vector<Sum, most> sums;
  TrialScore result;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    const double w = hypotheses[h].weight;
    const auto code = trial.codes[h];
    auto sum = std::find_if(sums.begin(), sums.end(), [&](const Sum& s) { return s.code == code; });
    if (sum == sums.end()) {
      // More kinds of prediction than matter: the rest is lumped.
      if (sums.size() < most) sums.push_back({code, 0});
      sum = std::prev(sums.end());
    }
    sum->mass += w;
    result.fix_usd += w * fix_usd[h];
  }
  // What it tells is the entropy of its outcome less what is left of that when the truth is known.
  OutcomeTable::Distribution outcome{};
  double left = 0;
  for (const auto& [code, mass] : sums) {
    const auto& row = trial.row(code);
    for (std::size_t o = 0; o < trial.outcomes; ++o) outcome[o] += mass * row[o];
    left += mass * trial.row_entropy_nat(code);
  }
  result.information_nat = std::max(0.0, OutcomeTable::entropy_nat(outcome) - left);
  result.entropy_nat = entropy_before_nat - result.information_nat;
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
  const double entropy_before_nat = entropy_nat(live.hypotheses);
  for (const auto& trial : trials) {
    auto& fix = fix_of[trial.zones];
    if (fix.empty()) {
      auto open = open_zones;
      for (const auto z : trial.zones) open[at(z)] = true;
      for (const auto& h : live.hypotheses) fix.push_back(costs.fix(h, open));
    }
    scores.push_back(score(trial, live.hypotheses, fix, entropy_before_nat));
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
