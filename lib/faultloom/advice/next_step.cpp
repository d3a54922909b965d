#include <faultloom/advice/next_step.hpp>

#include <algorithm>
#include <faultloom/advice/step_table.hpp>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Turns the planner's options into steps that say what each outcome would mean.
class Narrator {
 public:
  explicit Narrator(const StepTable& table)
      : live_(table.live()),
        costs_(table.costs()),
        open_zones_(table.open_zones()),
        constraints_(table.constraints()),
        factory_(table.factory()),
        trials_(table.trials()),
        problem_(table.made()) {
    for (const auto& h : live_.hypotheses) components_.push_back(h.components);
  }

  [[nodiscard]] Step step(const DecisionOption& option) const {
    auto step = option.action.type == DecisionAction::Type::test
                    ? test(trials_[at(option.action.index)])
                    : repair(problem_.components[at(option.action.index)]);
    step.expected_total_usd = option.total_usd;
    return step;
  }

 private:
  [[nodiscard]] Step::Result result(std::string label, std::span<const double> weights,
                                    double probability) const {
    return {std::move(label), probability, leading_components(components_, weights)};
  }

  [[nodiscard]] Step test(const Trial& trial) const {
    auto step = trial.step;
    std::vector<double> weights;
    std::vector<double> rare(live_.hypotheses.size(), 0);
    double rare_mass = 0;
    for (std::size_t o = 0; o < trial.outcomes; ++o) {
      condition(trial, o, live_.hypotheses, weights);
      double mass = 0;
      for (const double w : weights) mass += w;
      if (mass >= 0.005) {
        step.results.push_back(result(factory_.label(trial, o), weights, mass));
        continue;
      }
      rare_mass += mass;
      for (std::size_t h = 0; h < rare.size(); ++h) rare[h] += weights[h];
    }
    if (rare_mass > 0) step.results.push_back(result("anything else", rare, rare_mass));
    std::stable_sort(step.results.begin(), step.results.end(),
                     [](const auto& a, const auto& b) { return a.probability > b.probability; });
    return step;
  }

  [[nodiscard]] Step repair(Index component) const {
    const auto& vehicle = costs_.vehicle();
    const auto& prices = costs_.prices();
    Step step;
    step.type = component == vehicle::none ? Step::Type::verify : Step::Type::repair;
    step.component = component;
    step.minutes = prices.verify_minutes;
    if (component == vehicle::none) {
      step.state = vehicle.run_state;
      step.cost_usd = prices.of_minutes(step.minutes);
    } else {
      const auto& own = vehicle.components[at(component)];
      step.minutes = repair_minutes(costs_, component, open_zones_);
      if (own.zone != vehicle::none && !open_zones_[at(own.zone)])
        step.zones_to_open.push_back(own.zone);
      step.cost_usd = prices.of_minutes(step.minutes) + own.repair.price_usd;
      if (step.cost_usd > constraints_.authorized_usd) step.type = Step::Type::authorize;
    }
    std::vector<double> mended(live_.hypotheses.size(), 0);
    double p = 0;
    std::vector<std::vector<Index>> faulty;  // what still is, if it does not run afterwards
    std::vector<double> rest;
    for (std::size_t h = 0; h < mended.size(); ++h) {
      const auto& item = live_.hypotheses[h];
      auto others = item.components;
      std::erase(others, component);
      const double cured =
          others.size() < item.components.size() ? 1 - costs_.not_taken(component) : 0;
      const double taken = item.components.empty() ? 1 : others.empty() ? cured : 0;
      // What comes and goes may let a trial run pass.
      const double passes = item.swing ? 1 - item.swing->shows : 0;
      mended[h] = (taken + (1 - taken) * passes) * item.weight;
      p += mended[h];
      const double left = item.weight - mended[h];
      const double moved = others.empty() ? 0 : left * cured;
      if (moved > 0) {
        faulty.push_back(std::move(others));
        rest.push_back(moved);
      }
      faulty.push_back(item.components);
      rest.push_back(left - moved);
    }
    step.results = {result("runs", mended, p)};
    if (p < 0.995)
      step.results.push_back({"still faulty", 1 - p, leading_components(faulty, rest)});
    return step;
  }

  const LiveSet& live_;
  const RepairCosts& costs_;
  const std::vector<bool>& open_zones_;
  const Constraints& constraints_;
  const TrialFactory& factory_;
  std::span<const Trial> trials_;
  const StepProblem& problem_;
  std::vector<std::vector<Index>> components_;  ///< by hypothesis
};

}  // namespace

Advice next_step(belief::Belief& belief, PredictionStore& store, const belief::Posterior& posterior,
                 const Prices& prices, const Constraints& constraints, const Progress& progress) {
  const StepTable table(belief, store, posterior, prices, constraints, part_of(progress, 0, 0.5));
  auto how = step_policy(constraints);
  how.most_seconds = table.seconds_left();
  const auto decision = table.policy().choose(table.made().state, how, part_of(progress, 0.5, 1));
  if (decision.options.empty())
    throw Error(Code::no_step,
                "Nothing can be tested or repaired within these constraints; allow a zone, an "
                "instrument or more minutes");

  Advice advice;
  advice.repair_only_usd = decision.repair_only_usd;
  advice.steps_compared = table.factory().compared();
  advice.steps_distinct = table.distinct();
  advice.decisions = decision.nodes;
  advice.cut_short = decision.cut_short;
  const Narrator narrator(table);
  advice.best = narrator.step(decision.options.front());
  for (std::size_t i = 1; i < decision.options.size(); ++i)
    advice.alternatives.push_back(narrator.step(decision.options[i]));
  report(progress, 1);
  return advice;
}

Advice next_step(belief::Belief& belief, const belief::Posterior& posterior, const Prices& prices,
                 const Constraints& constraints, const Progress& progress) {
  PredictionStore store(belief);
  return next_step(belief, store, posterior, prices, constraints, progress);
}

}  // namespace faultloom::advice
