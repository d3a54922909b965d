#include <faultloom/advice/next_step.hpp>

#include <algorithm>
#include <faultloom/advice/policy.hpp>
#include <faultloom/advice/scan.hpp>
#include <faultloom/advice/step_problem.hpp>
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

/// Turns the planner's options into steps that say what each outcome would mean.
class Narrator {
 public:
  Narrator(const LiveSet& live, const RepairCosts& costs, const std::vector<bool>& open_zones,
           const Constraints& constraints, const TrialFactory& factory,
           std::span<const Trial> trials, const StepProblem& problem)
      : live_(live),
        costs_(costs),
        open_zones_(open_zones),
        constraints_(constraints),
        factory_(factory),
        trials_(trials),
        problem_(problem) {}

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
    return {std::move(label), probability, leaders(live_.hypotheses, weights)};
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
    std::vector<double> rest(live_.hypotheses.size(), 0);
    double p = 0;
    for (std::size_t h = 0; h < rest.size(); ++h) {
      const auto& item = live_.hypotheses[h];
      const bool ends = std::all_of(item.components.begin(), item.components.end(),
                                    [&](Index c) { return c == component; });
      const double taken = item.components.empty() ? 1 : ends ? 1 - prices.not_taken : 0;
      mended[h] = taken * item.weight;
      rest[h] = item.weight - mended[h];
      p += mended[h];
    }
    step.results = {result("runs", mended, p)};
    if (p < 0.995) step.results.push_back(result("still faulty", rest, 1 - p));
    return step;
  }

  const LiveSet& live_;
  const RepairCosts& costs_;
  const std::vector<bool>& open_zones_;
  const Constraints& constraints_;
  const TrialFactory& factory_;
  std::span<const Trial> trials_;
  const StepProblem& problem_;
};

}  // namespace

Advice next_step(belief::Belief& belief, PredictionStore& store, const belief::Posterior& posterior,
                 const Prices& prices, const Constraints& constraints, const Progress& progress) {
  const auto& vehicle = belief.space().vehicle();
  const auto live = live_set(belief.space(), belief.solver(), posterior);
  const RepairCosts costs(vehicle, prices);
  std::vector<bool> open_zones(vehicle.zones.size(), false);
  for (const auto z : constraints.open_zones) open_zones[at(z)] = true;

  TrialFactory factory(belief, store, live, costs, constraints, open_zones);
  constexpr std::size_t most_trials = 320;
  auto trials =
      live.hypotheses.empty() ? std::vector<Trial>() : factory.make(part_of(progress, 0, 0.5));
  const auto distinct = trials.size();
  if (!constraints.exhaustive)
    trials = leading_trials(std::move(trials), live, costs, open_zones, most_trials);
  auto made = make_step_problem(belief.space(), live, trials, costs, open_zones, factory.present(),
                                constraints);
  const Policy policy(std::move(made.problem));
  PolicyOptions options;
  // Wide rather than deep: more tests to choose from change the advice, improbable branches do not.
  options.hypotheses = 64;
  options.tests = 200;
  options.candidates = 6;
  options.least_reach = 8e-3;
  options.least_weight = 1e-3;
  options.later_depth = 0;
  options.alternatives = constraints.alternatives;
  options.exhaustive = constraints.exhaustive;
  options.most_nodes = constraints.budget_decisions;
  if (constraints.budget_seconds > 0) options.most_seconds = constraints.budget_seconds;
  const auto decision = policy.choose(made.state, options, part_of(progress, 0.5, 1));
  if (decision.options.empty())
    throw Error(Code::no_step,
                "Nothing can be tested or repaired within these constraints; allow a zone, an "
                "instrument or more minutes");

  Advice advice;
  advice.repair_only_usd = decision.repair_only_usd;
  advice.steps_compared = factory.compared();
  advice.steps_distinct = distinct;
  advice.decisions = decision.nodes;
  advice.cut_short = decision.cut_short;
  const Narrator narrator(live, costs, open_zones, constraints, factory, trials, made);
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
