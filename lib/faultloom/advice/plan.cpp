#include <faultloom/advice/plan.hpp>

#include <algorithm>
#include <map>
#include <optional>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// What is broken under each hypothesis of a problem.
std::vector<std::vector<Index>> components_of(const StepTable& table) {
  const auto& problem = table.policy().problem();
  std::vector<std::vector<Index>> list(problem.hypotheses.size());
  for (std::size_t h = 0; h < list.size(); ++h) {
    if (problem.hypotheses[h].runs) continue;
    // A large set has one order only; a small one names all its components at once.
    auto next = static_cast<std::int32_t>(h);
    do {
      const auto& cures = problem.hypotheses[at(next)].cures;
      for (const auto& cure : cures) list[h].push_back(table.made().components[at(cure.repair)]);
      next = cures.size() == 1 ? cures.front().next : DecisionProblem::none;
    } while (next != DecisionProblem::none);
  }
  return list;
}

/// Puts the policy's actions into words, from where a branch stands.
class Teller {
 public:
  explicit Teller(const StepTable& table) : table_(table), components_(components_of(table)) {}

  [[nodiscard]] Step step(const DecisionState& state, DecisionAction action) const {
    return action.type == DecisionAction::Type::test ? test(state, action)
                                                     : repair(state, action.index);
  }

  [[nodiscard]] std::vector<Step::Leader> leaders(std::span<const double> weights) const {
    return leading_components(components_, weights);
  }

  [[nodiscard]] std::string label(DecisionAction action, std::size_t outcome) const {
    if (action.type == DecisionAction::Type::repair) return outcome == 0 ? "runs" : "still faulty";
    const auto& trial = table_.trials()[at(action.index)];
    const auto& alike = table_.made().outcomes[at(action.index)][outcome];
    constexpr std::size_t most_named = 3;
    std::string text;
    for (std::size_t i = 0; i < std::min(alike.size(), most_named); ++i)
      text += (i == 0 ? "" : " or ") + table_.factory().label(trial, alike[i]);
    return alike.size() > most_named ? text + " or alike" : text;
  }

  /// Of a repair that is the next action; none: prove that it runs.
  [[nodiscard]] Index component(DecisionAction action) const {
    return table_.made().components[at(action.index)];
  }

 private:
  [[nodiscard]] Step test(const DecisionState& state, DecisionAction action) const {
    const auto& trial = table_.trials()[at(action.index)];
    const auto& vehicle = table_.costs().vehicle();
    const auto& prices = table_.costs().prices();
    auto step = trial.step;
    step.zones_to_open.clear();
    step.minutes = trial.own_minutes;
    for (const auto z : trial.zones) {
      if (state.open[at(z)]) continue;
      step.zones_to_open.push_back(z);
      step.minutes += vehicle.zones[at(z)].open_minutes + vehicle.zones[at(z)].close_minutes;
    }
    if (!trial.setup.state.empty() && state.setup != DecisionProblem::none)
      step.minutes +=
          change_minutes(vehicle, prices, table_.made().setups[at(state.setup)], trial.setup);
    step.cost_usd = prices.of_minutes(step.minutes);
    return step;
  }

  [[nodiscard]] Step repair(const DecisionState& state, std::int32_t index) const {
    const auto& vehicle = table_.costs().vehicle();
    const auto& prices = table_.costs().prices();
    Step step;
    step.component = table_.made().components[at(index)];
    if (step.component == vehicle::none) {
      step.type = Step::Type::verify;
      step.state = vehicle.run_state;
      step.minutes = prices.verify_minutes;
      step.cost_usd = prices.of_minutes(step.minutes);
      return step;
    }
    const auto& own = vehicle.components[at(step.component)];
    step.minutes = repair_minutes(table_.costs(), step.component, state.open);
    if (own.zone != vehicle::none && !state.open[at(own.zone)])
      step.zones_to_open.push_back(own.zone);
    step.cost_usd = prices.of_minutes(step.minutes) + own.repair.price_usd;
    step.type = step.cost_usd > table_.constraints().authorized_usd ? Step::Type::authorize
                                                                    : Step::Type::repair;
    return step;
  }

  const StepTable& table_;
  std::vector<std::vector<Index>> components_;  ///< by hypothesis
};

/// A branch whose sequel is not decided yet.
struct Pending {
  double reach = 0;
  std::size_t level = 0;
  std::size_t parent = 0;  ///< step and branch it comes from; of the start neither
  std::size_t branch = 0;
  DecisionState state;
  std::vector<std::int32_t> repairs;  ///< made on the way here
};

class Unroller {
 public:
  Unroller(const StepTable& table, const PlanOptions& options, const Progress& progress)
      : table_(table),
        options_(options),
        progress_(progress),
        teller_(table),
        thorough_(step_policy(table.constraints())),
        quick_(thorough_) {
    // In a branch that is only priced nobody asks for the runners-up.
    quick_.candidates = 1;
    quick_.alternatives = 0;
    quick_.tests = 48;
    quick_.hypotheses = 32;
    quick_.least_reach = 0.05;
    quick_.exhaustive = false;
    here_ = [this](double) { return !progress_ || progress_(std::min(settled_, 1.0)); };
  }

  Plan plan() {
    start();
    while (!pending_.empty()) {
      const auto next = pending_.begin();
      const Pending item = std::move(next->second);
      pending_.erase(next);
      report(progress_, std::min(settled_, 1.0));
      decide(item);
    }
    total();
    report(progress_, 1);
    return std::move(plan_);
  }

 private:
  void start() {
    Pending item;
    item.reach = 1;
    item.state = table_.made().state;
    const auto decision = chosen_from(item.state, thorough_);
    plan_.repair_only_usd = decision.repair_only_usd;
    const auto option = chosen(item, decision);
    if (!option)
      throw Error(Code::no_step,
                  "Nothing can be tested or repaired within these constraints; allow a zone, an "
                  "instrument or more minutes");
    add_step(item, *option);
  }

  /// The best action that the constraints allow here and that is no repair made before.
  [[nodiscard]] std::optional<DecisionAction> chosen(const Pending& item,
                                                     const Decision& decision) const {
    for (const auto& option : decision.options) {
      const auto action = option.action;
      const bool repeated =
          action.type == DecisionAction::Type::repair &&
          std::find(item.repairs.begin(), item.repairs.end(), action.index) != item.repairs.end();
      if (!repeated &&
          teller_.step(item.state, action).minutes <= table_.constraints().most_minutes)
        return action;
      // Whether to try the same again is to be asked with what was found meanwhile.
      if (repeated) break;
    }
    return std::nullopt;
  }

  /// No single branch may take all the time that is left.
  [[nodiscard]] Decision chosen_from(const DecisionState& state, PolicyOptions how) const {
    constexpr double share = 0.1;
    how.most_seconds = share * table_.seconds_left();
    return table_.policy().choose(state, how, here_);
  }

  void decide(const Pending& item) {
    auto& branch = plan_.steps[item.parent].branches[item.branch];
    const auto decision = chosen_from(item.state, thorough_);
    const auto action = chosen(item, decision);
    if (action && item.level < options_.depth && plan_.steps.size() < options_.most_steps &&
        table_.seconds_left() > 0) {
      branch.standing = Standing::goes_on;
      branch.step = static_cast<std::int32_t>(plan_.steps.size());
      add_step(item, *action);
      return;
    }
    if (action && item.level < options_.depth) plan_.cut_short = true;
    branch.to_go_usd =
        decision.options.empty() ? decision.repair_only_usd : decision.options.front().total_usd;
    branch.standing = decision.options.empty() ? Standing::stuck : Standing::ask_again;
    if (action && action->type == DecisionAction::Type::repair) {
      branch.component = teller_.component(*action);
      branch.standing = branch.component == vehicle::none ? Standing::verify : Standing::repair;
    }
    settled_ += item.reach;
    plan_.open_share += item.reach;
  }

  void add_step(const Pending& item, DecisionAction action) {
    const auto place = plan_.steps.size();
    PlanStep node;
    node.step = teller_.step(item.state, action);
    node.action = action;
    node.reach = item.reach;
    node.level = item.level;
    node.spent_usd = table_.policy().cost(item.state, action);
    auto outcomes = table_.policy().branches(item.state, action);
    std::stable_sort(outcomes.begin(), outcomes.end(),
                     [](const auto& a, const auto& b) { return a.probability > b.probability; });
    std::vector<DecisionBranch> rare;
    for (auto& outcome : outcomes) {
      const double reach = item.reach * outcome.probability;
      constexpr double worth_telling = 0.005;
      if (outcome.probability < worth_telling && reach < options_.residual && !outcome.ends) {
        rare.push_back(std::move(outcome));
        continue;
      }
      PlanBranch branch;
      branch.outcomes = {outcome.outcome};
      branch.reach = reach;
      branch.extra_usd = outcome.extra_usd;
      node.step.results.push_back(
          {teller_.label(action, outcome.outcome), outcome.probability,
           outcome.ends ? std::vector<Step::Leader>() : teller_.leaders(outcome.state.weights)});
      if (outcome.ends) {
        branch.standing = Standing::runs;
        settled_ += reach;
      } else if (reach < options_.residual) {
        branch.to_go_usd = price(outcome.state);
        settled_ += reach;
        plan_.open_share += reach;
      } else {
        follow(item, action, place, node.branches.size(), reach, std::move(outcome.state));
      }
      node.branches.push_back(std::move(branch));
    }
    if (!rare.empty()) add_rare(item, action, rare, node);
    plan_.steps.push_back(std::move(node));
  }

  void follow(const Pending& from, DecisionAction action, std::size_t parent, std::size_t branch,
              double reach, DecisionState state) {
    Pending next;
    next.reach = reach;
    next.level = from.level + 1;
    next.parent = parent;
    next.branch = branch;
    next.state = std::move(state);
    next.repairs = from.repairs;
    if (action.type == DecisionAction::Type::repair) next.repairs.push_back(action.index);
    pending_.emplace(std::pair(-reach, order_++), std::move(next));
  }

  /// Outcomes that are too rare to be told one by one.
  void add_rare(const Pending& item, DecisionAction action, const std::vector<DecisionBranch>& rare,
                PlanStep& node) {
    PlanBranch branch;
    double mass = 0;
    std::vector<double> weights(item.state.weights.size(), 0);
    for (const auto& outcome : rare) {
      branch.outcomes.push_back(outcome.outcome);
      mass += outcome.probability;
      branch.extra_usd += outcome.probability * outcome.extra_usd;
      branch.to_go_usd += outcome.probability * price(outcome.state);
      for (std::size_t h = 0; h < weights.size(); ++h)
        weights[h] += outcome.probability * outcome.state.weights[h];
    }
    branch.extra_usd /= mass;
    branch.to_go_usd /= mass;
    branch.reach = item.reach * mass;
    const auto label = rare.size() == 1 ? teller_.label(action, rare.front().outcome)
                                        : std::string("anything else");
    node.step.results.push_back({label, mass, teller_.leaders(weights)});
    node.branches.push_back(std::move(branch));
    settled_ += node.branches.back().reach;
    plan_.open_share += node.branches.back().reach;
  }

  /// What a branch that is not followed costs.
  [[nodiscard]] double price(const DecisionState& state) const {
    report(progress_, std::min(settled_, 1.0));
    const auto decision = chosen_from(state, quick_);
    return decision.options.empty() ? decision.repair_only_usd : decision.options.front().total_usd;
  }

  /// Expected costs, from the leaves to the start.
  void total() {
    for (std::size_t i = plan_.steps.size(); i-- > 0;) {
      auto& node = plan_.steps[i];
      double sum = node.spent_usd;
      for (std::size_t b = 0; b < node.branches.size(); ++b) {
        auto& branch = node.branches[b];
        if (branch.step != DecisionProblem::none)
          branch.to_go_usd = plan_.steps[at(branch.step)].step.expected_total_usd;
        sum += node.step.results[b].probability * (branch.extra_usd + branch.to_go_usd);
      }
      node.step.expected_total_usd = sum;
    }
    plan_.expected_usd = plan_.steps.front().step.expected_total_usd;
  }

  const StepTable& table_;
  const PlanOptions& options_;
  const Progress& progress_;
  Teller teller_;
  PolicyOptions thorough_;
  PolicyOptions quick_;
  Progress here_;       ///< while an action is chosen
  double settled_ = 0;  ///< probability of what is decided to its end
  std::size_t order_ = 0;
  /// The most probable first, of equal ones the older.
  std::map<std::pair<double, std::size_t>, Pending> pending_;
  Plan plan_;
};

}  // namespace

Plan make_plan(const StepTable& table, const PlanOptions& options, const Progress& progress) {
  return Unroller(table, options, progress).plan();
}

}  // namespace faultloom::advice
