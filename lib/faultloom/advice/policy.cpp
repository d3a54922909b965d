#include <faultloom/advice/policy.hpp>

#include <algorithm>
#include <faultloom/advice/lookahead.hpp>
#include <numeric>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

void normalize(std::vector<double>& weights) {
  const double sum = std::accumulate(weights.begin(), weights.end(), 0.0);
  if (sum > 0)
    for (auto& w : weights) w /= sum;
}

double opening_usd(const DecisionProblem& problem, const DecisionState& state,
                   const std::vector<std::int32_t>& zones) {
  double sum = 0;
  for (const auto z : zones)
    if (!state.open[at(z)]) sum += problem.zone_usd[at(z)];
  return sum;
}

}  // namespace

Policy::Policy(DecisionProblem problem)
    : problem_(std::make_shared<const DecisionProblem>(std::move(problem))),
      chart_(std::make_shared<const DecisionChart>(*problem_)) {}

DecisionState Policy::start() const {
  DecisionState state;
  for (const auto& h : problem_->hypotheses) state.weights.push_back(h.weight);
  normalize(state.weights);
  state.open.assign(problem_->zone_usd.size(), false);
  state.made.assign(problem_->tests.size(), false);
  return state;
}

Decision Policy::choose(const DecisionState& state, const PolicyOptions& options,
                        const Progress& progress) const {
  return Lookahead(*problem_, *chart_, options, progress).choose(state);
}

double Policy::cost(const DecisionState& state, DecisionAction action) const {
  if (action.type == DecisionAction::Type::repair) {
    const auto& repair = problem_->repairs[at(action.index)];
    return repair.attempt_usd + opening_usd(*problem_, state, repair.zones);
  }
  const auto& test = problem_->tests[at(action.index)];
  return test.cost_usd + opening_usd(*problem_, state, test.zones) +
         problem_->change(state.setup, test.setup);
}

std::vector<DecisionBranch> Policy::branches(const DecisionState& state,
                                             DecisionAction action) const {
  if (action.type == DecisionAction::Type::repair) return after_repair(state, action.index);
  const auto& test = problem_->tests[at(action.index)];
  std::vector<DecisionBranch> list;
  for (std::size_t o = 0; o < test.outcomes; ++o) {
    DecisionBranch branch;
    branch.outcome = o;
    branch.state = state;
    for (std::size_t h = 0; h < state.weights.size(); ++h) {
      branch.state.weights[h] *= test.probability(h, o);
      branch.probability += branch.state.weights[h];
    }
    if (branch.probability <= 0) continue;
    normalize(branch.state.weights);
    for (const auto z : test.zones) branch.state.open[at(z)] = true;
    branch.state.made[at(action.index)] = true;
    if (test.setup != DecisionProblem::none) branch.state.setup = test.setup;
    list.push_back(std::move(branch));
  }
  return list;
}

std::vector<DecisionBranch> Policy::after_repair(const DecisionState& state,
                                                 std::int32_t index) const {
  const auto& repair = problem_->repairs[at(index)];
  DecisionBranch runs;
  runs.ends = true;
  DecisionBranch rest;
  rest.outcome = 1;
  rest.state = state;
  rest.state.weights.assign(state.weights.size(), 0);
  std::vector<double> rests(state.weights.size(), 0);  // by what is left
  for (std::size_t h = 0; h < state.weights.size(); ++h) {
    const auto& item = problem_->hypotheses[h];
    const double w = state.weights[h];
    if (w <= 0) continue;
    if (item.runs) {
      runs.probability += w;
      continue;
    }
    const auto cure = std::find_if(item.cures.begin(), item.cures.end(),
                                   [&](const auto& c) { return c.repair == index; });
    const double moved = cure == item.cures.end() ? 0 : w * (1 - repair.not_taken);
    rest.state.weights[h] += w - moved;
    if (moved <= 0) continue;
    if (cure->next != DecisionProblem::none) {
      rest.state.weights[at(cure->next)] += moved;
      rests[at(cure->next)] += moved * repair.rest_usd;
    } else {
      runs.probability += moved;
      runs.extra_usd += moved * repair.rest_usd;
    }
  }
  for (std::size_t h = 0; h < rests.size(); ++h) {
    const double missed = problem_->missed_under(static_cast<std::int32_t>(h));
    auto& w = rest.state.weights[h];
    // A comeback has the parts of the outcome that it was mistaken for.
    runs.extra_usd += missed * (rests[h] + w * problem_->comeback_usd);
    rest.extra_usd += (1 - missed) * rests[h];
    runs.probability += w * missed;
    w *= 1 - missed;
    rest.probability += w;
  }
  if (runs.probability > 0) runs.extra_usd /= runs.probability;
  if (rest.probability > 0) rest.extra_usd /= rest.probability;
  normalize(rest.state.weights);
  for (const auto z : repair.zones) rest.state.open[at(z)] = true;
  if (problem_->setup_after_repair != DecisionProblem::none)
    rest.state.setup = problem_->setup_after_repair;
  std::vector<DecisionBranch> list;
  if (runs.probability > 0) list.push_back(std::move(runs));
  if (rest.probability > 0) list.push_back(std::move(rest));
  return list;
}

}  // namespace faultloom::advice
