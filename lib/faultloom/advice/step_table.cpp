#include <faultloom/advice/step_table.hpp>

#include <algorithm>
#include <limits>
#include <map>

namespace faultloom::advice {

StepTable::StepTable(belief::Belief& belief, PredictionStore& store,
                     const belief::Posterior& posterior, const Prices& prices,
                     const Constraints& constraints, const Progress& progress)
    : constraints_(&constraints),
      live_(live_set(belief.space(), belief.solver(), posterior)),
      costs_(belief.space().vehicle(), prices, belief.rates().repair),
      open_zones_(belief.space().vehicle().zones.size(), false) {
  for (const auto z : constraints.open_zones) open_zones_[static_cast<std::size_t>(z)] = true;
  factory_ = std::make_unique<TrialFactory>(belief, store, live_, costs_, constraints, open_zones_);
  constexpr std::size_t most_trials = 320;
  if (!live_.hypotheses.empty()) trials_ = factory_->make(progress);
  distinct_ = trials_.size();
  if (!constraints.exhaustive)
    trials_ = leading_trials(std::move(trials_), live_, costs_, open_zones_, most_trials);
  made_ = make_step_problem(belief.space(), live_, trials_, costs_, open_zones_,
                            factory_->present(), constraints);
  policy_ = std::make_unique<const Policy>(std::move(made_.problem));
}

double StepTable::seconds_left() const {
  if (constraints_->budget_seconds <= 0) return std::numeric_limits<double>::infinity();
  const std::chrono::duration<double> used = std::chrono::steady_clock::now() - started_;
  return std::max(constraints_->budget_seconds - used.count(), 0.0);
}

PolicyOptions step_policy(const Constraints& constraints) {
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
  return options;
}

std::vector<Step::Leader> leading_components(std::span<const std::vector<Index>> components,
                                             std::span<const double> weights) {
  std::map<Index, double> by_component;
  double whole = 0;
  for (std::size_t h = 0; h < components.size(); ++h) {
    whole += weights[h];
    if (components[h].empty()) by_component[vehicle::none] += weights[h];
    for (const auto c : components[h]) by_component[c] += weights[h];
  }
  std::vector<Step::Leader> list;
  list.reserve(by_component.size());
  for (const auto& [c, w] : by_component) list.push_back({c, whole > 0 ? w / whole : 0});
  std::stable_sort(list.begin(), list.end(),
                   [](const auto& a, const auto& b) { return a.probability > b.probability; });
  constexpr std::size_t most = 3;
  if (list.size() > most) list.resize(most);
  return list;
}

}  // namespace faultloom::advice
