#include <faultloom/advice/next_step.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/advice/scan.hpp>
#include <limits>
#include <map>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

std::vector<Step::Leader> leaders(std::span<const Hypothesis> hypotheses,
                                  std::span<const double> weights) {
  std::map<Index, double> by_component;
  double whole = 0;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    whole += weights[h];
    if (hypotheses[h].components.empty()) by_component[vehicle::none] += weights[h];
    for (const auto c : hypotheses[h].components) by_component[c] += weights[h];
  }
  std::vector<Step::Leader> list;
  list.reserve(by_component.size());
  for (const auto& [c, w] : by_component) list.push_back({c, whole > 0 ? w / whole : 0});
  std::stable_sort(list.begin(), list.end(),
                   [](const auto& a, const auto& b) { return a.probability > b.probability; });
  if (list.size() > 3) list.resize(3);
  return list;
}

class Chooser {
 public:
  Chooser(const LiveSet& live, const RepairCosts& costs, std::vector<bool> open_zones,
          std::span<const Index> off_limits)
      : live_(live), costs_(costs), open_zones_(std::move(open_zones)) {
    for (const auto& h : live_.hypotheses) {
      fix_.push_back(costs_.fix(h, open_zones_));
      weights_.push_back(h.weight);
    }
    order_ = repair_order(live_.hypotheses, weights_, costs_, open_zones_);
    for (const auto c : order_.components) {
      const auto zone = costs_.vehicle().components[at(c)].zone;
      if (first_repair_ == vehicle::none &&
          std::find(off_limits.begin(), off_limits.end(), zone) == off_limits.end())
        first_repair_ = c;
    }
  }

  /// Whether something can be done without a test: a repair in reach, or proof that nothing is broken.
  [[nodiscard]] bool can_finish() const { return first_repair_ != vehicle::none || sound(); }

  [[nodiscard]] const RepairOrder& order() const noexcept { return order_; }

  /// Cheap estimate for every trial; fills scores and the price of a bit.
  void rate(const std::vector<Trial>& trials) {
    double best = std::numeric_limits<double>::infinity();
    for (const auto& trial : trials) {
      scores_.push_back(score(trial, live_.hypotheses, fix_));
      const double gain = scores_.back().information_nat;
      if (gain > 1e-9) best = std::min(best, trial.step.cost_usd / gain);
    }
    usd_per_nat_ = std::isfinite(best) ? best : 0;
  }

  [[nodiscard]] double estimate(const std::vector<Trial>& trials, std::size_t i) const {
    return trials[i].step.cost_usd + scores_[i].fix_usd + usd_per_nat_ * scores_[i].entropy_nat;
  }

  /// Expected cost of finishing after the trial: per outcome the smaller of repairing in order and of
  /// repairing what is broken plus paying for the uncertainty left.
  [[nodiscard]] double leaf_cost(const Trial& trial) const {
    auto open = open_zones_;
    for (const auto z : trial.step.zones_to_open) open[at(z)] = true;
    std::vector<double> fix;
    for (const auto& h : live_.hypotheses) fix.push_back(costs_.fix(h, open));
    double total = trial.step.cost_usd;
    std::vector<double> weights;
    for (std::size_t o = 0; o < trial.outcomes; ++o) {
      condition(trial, o, live_.hypotheses, weights);
      double mass = 0;
      double fixing = 0;
      double log = 0;
      for (std::size_t h = 0; h < weights.size(); ++h) {
        mass += weights[h];
        fixing += weights[h] * fix[h];
        if (weights[h] > 0) log += weights[h] * std::log(weights[h]);
      }
      if (mass < 1e-9) continue;
      const double entropy = std::log(mass) - log / mass;
      const double in_order = repair_order(live_.hypotheses, weights, costs_, open).expected_usd;
      total += mass * std::min(in_order, fixing / mass + usd_per_nat_ * entropy);
    }
    return total;
  }

  [[nodiscard]] Step repair_step() const {
    Step step;
    step.type = sound() ? Step::Type::verify : Step::Type::repair;
    step.expected_total_usd = order_.expected_usd;
    if (sound()) {
      step.minutes = costs_.prices().verify_minutes;
      step.cost_usd = costs_.prices().of_minutes(step.minutes);
      step.state = costs_.vehicle().run_state;
      step.results = {result("runs", weights_, 1)};
      return step;
    }
    const auto c = first_repair_;
    const auto& component = costs_.vehicle().components[at(c)];
    step.component = c;
    step.minutes = component.repair.minutes + costs_.prices().verify_minutes;
    step.cost_usd = costs_.prices().of_minutes(step.minutes) + component.repair.price_usd;
    if (component.zone != vehicle::none && !open_zones_[at(component.zone)]) {
      const auto& zone = costs_.vehicle().zones[at(component.zone)];
      step.zones_to_open.push_back(component.zone);
      step.minutes += zone.open_minutes + zone.close_minutes;
      step.cost_usd += costs_.zone(component.zone);
    }
    std::vector<double> cured(weights_.size(), 0);
    std::vector<double> rest = weights_;
    double p = 0;
    for (std::size_t h = 0; h < rest.size(); ++h) {
      const auto& parts = live_.hypotheses[h].components;
      if (parts.size() == 1 && parts.front() == c) {
        cured[h] = weights_[h];
        rest[h] = 0;
        p += weights_[h];
      }
    }
    step.results = {result("runs", cured, p)};
    if (p < 0.995) step.results.push_back(result("still faulty", rest, 1 - p));
    return step;
  }

  [[nodiscard]] Step::Result result(std::string label, std::span<const double> weights,
                                    double probability) const {
    return {std::move(label), probability, leaders(live_.hypotheses, weights)};
  }

  void describe(Step& step, const Trial& trial, const TrialFactory& factory) const {
    std::vector<double> weights;
    for (std::size_t o = 0; o < trial.outcomes; ++o) {
      condition(trial, o, live_.hypotheses, weights);
      double mass = 0;
      for (const double w : weights) mass += w;
      if (mass >= 0.005) step.results.push_back(result(factory.label(trial, o), weights, mass));
    }
    std::stable_sort(step.results.begin(), step.results.end(),
                     [](const auto& a, const auto& b) { return a.probability > b.probability; });
  }

 private:
  [[nodiscard]] double nothing_broken() const {
    double p = 0;
    for (const auto& h : live_.hypotheses)
      if (h.components.empty()) p += h.weight;
    return p;
  }

  [[nodiscard]] bool sound() const { return order_.components.empty() || nothing_broken() > 0.9; }

  const LiveSet& live_;
  const RepairCosts& costs_;
  Index first_repair_ = vehicle::none;
  std::vector<bool> open_zones_;
  std::vector<double> fix_;
  std::vector<double> weights_;
  RepairOrder order_;
  std::vector<TrialScore> scores_;
  double usd_per_nat_ = 0;
};

}  // namespace

Advice next_step(belief::Belief& belief, const belief::Posterior& posterior, const Prices& prices,
                 const Constraints& constraints, const Progress& progress) {
  const auto& vehicle = belief.space().vehicle();
  const auto live = live_set(belief.space(), belief.solver(), posterior);
  const RepairCosts costs(vehicle, prices);
  std::vector<bool> open_zones(vehicle.zones.size(), false);
  for (const auto z : constraints.open_zones) open_zones[at(z)] = true;

  TrialFactory factory(belief, live, costs, constraints, open_zones);
  const auto trials = factory.make(progress);
  Chooser chooser(live, costs, open_zones, constraints.closed_zones);
  chooser.rate(trials);

  // The cheap estimate ranks; the full leaf decides among the best few.
  std::vector<std::size_t> shortlist(trials.size());
  for (std::size_t i = 0; i < shortlist.size(); ++i) shortlist[i] = i;
  std::stable_sort(shortlist.begin(), shortlist.end(), [&](std::size_t a, std::size_t b) {
    return chooser.estimate(trials, a) < chooser.estimate(trials, b);
  });
  constexpr std::size_t closer_look = 24;
  if (!constraints.exhaustive && shortlist.size() > closer_look) shortlist.resize(closer_look);

  Advice advice;
  advice.repair_only_usd = chooser.order().expected_usd;
  advice.steps_compared = factory.compared();
  advice.steps_distinct = trials.size();
  std::vector<std::pair<Step, const Trial*>> ranked;
  if (chooser.can_finish()) ranked.emplace_back(chooser.repair_step(), nullptr);
  for (const auto i : shortlist) {
    auto step = trials[i].step;
    step.expected_total_usd = chooser.leaf_cost(trials[i]);
    ranked.emplace_back(std::move(step), &trials[i]);
  }
  if (ranked.empty())
    throw Error(Code::no_step,
                "Nothing can be tested or repaired within these constraints; allow a zone or an "
                "instrument");
  std::stable_sort(ranked.begin(), ranked.end(), [](const auto& a, const auto& b) {
    return a.first.expected_total_usd < b.first.expected_total_usd;
  });
  for (std::size_t i = 0; i < ranked.size() && i <= constraints.alternatives; ++i) {
    auto& [step, trial] = ranked[i];
    if (trial != nullptr) chooser.describe(step, *trial, factory);
    if (i == 0) {
      advice.best = std::move(step);
    } else {
      advice.alternatives.push_back(std::move(step));
    }
  }
  report(progress, 1);
  return advice;
}

}  // namespace faultloom::advice
