// Plans for the shipped jobs: every branch is walked, and the expected cost is compared with that of jobs
// played through the tree by the problem's own rules.
#include <faultloom/advice/plan.hpp>
#include <faultloom/documents/answers.hpp>
#include <faultloom/documents/model_parts.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "unit/circuit/shipped.hpp"

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

std::string data(const std::string& name) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/" + name);
  std::stringstream all;
  all << file.rdbuf();
  return all.str();
}

documents::ModelSources sources(const std::string& vehicle) {
  documents::ModelSources s;
  s.vehicle = vehicle;
  return s;
}

/// A shipped job up to where a plan is made for it.
struct Case {
  explicit Case(const std::string& name)
      : job_text(data("jobs/" + name + ".json")),
        vehicle_text(data("vehicles/" + vehicle_of(job_text) + ".json")),
        model(sources(vehicle_text)),
        job(model.parts().job(job_text)),
        belief(model.parts().space, model.parts().instruments, model.parts().rates),
        store(belief) {
    belief::Options how;
    how.judge_entries = false;
    posterior = belief.posterior({job.entries, job.exposure, job.repairs}, how);
    constraints.open_zones = job.opened_zones;
    constraints.made = job.entries;
    for (const auto& id : job.instruments)
      constraints.instruments.push_back(model.parts().instruments.find(id));
  }
  static std::string vehicle_of(const std::string& text) {
    return nlohmann::json::parse(text)["vehicle"].get<std::string>();
  }
  [[nodiscard]] const vehicle::Vehicle& v() const { return model.parts().vehicle; }
  [[nodiscard]] std::set<std::string> cautions(const Step& step) const {
    const auto& parts = model.parts();
    std::set<std::string> ids;
    for (const auto& item :
         documents::cautions_json({parts.vehicle, parts.instruments, parts.cautions, job}, step))
      ids.insert(item["id"].get<std::string>());
    return ids;
  }

  std::string job_text;
  std::string vehicle_text;
  documents::Model model;
  documents::Job job;
  belief::Belief belief;
  PredictionStore store;
  belief::Posterior posterior;
  Prices prices;
  Constraints constraints;
};

/// One for each vehicle.
const std::vector<std::string> jobs{"rose-walk-no-click", "palm-house-after-charging",
                                    "compost-yard-dead-tug"};

void expect_cautions(const Case& job, const Step& step) {
  const auto ids = job.cautions(step);
  EXPECT_FALSE(step.type != Step::Type::look && ids.empty());
  if (step.isolated || step.type == Step::Type::repair) {
    EXPECT_TRUE(ids.contains("pack_isolated"));
    EXPECT_TRUE(ids.contains("capacitors_discharged"));
  }
  if (step.type == Step::Type::bridge) {
    EXPECT_TRUE(ids.contains("bypass"));
  }
  if (step.type == Step::Type::verify || step.type == Step::Type::repair) {
    EXPECT_TRUE(ids.contains("interlock_restored"));
  }
}

void expect_within(const Case& job, const PlanStep& node) {
  const auto& c = job.constraints;
  const auto& step = node.step;
  const auto off = [&](Index zone) {
    return zone != vehicle::none &&
           std::find(c.closed_zones.begin(), c.closed_zones.end(), zone) != c.closed_zones.end();
  };
  for (const auto z : step.zones_to_open) EXPECT_FALSE(off(z));
  for (const auto t : {step.red, step.black})
    if (t != vehicle::none) {
      EXPECT_FALSE(off(job.v().terminals[at(t)].zone));
    }
  for (const auto part : {step.component, step.lifted})
    if (part != vehicle::none && step.type != Step::Type::sign) {
      EXPECT_FALSE(off(job.v().components[at(part)].zone));
    }
  if (step.instrument >= 0 && !c.instruments.empty()) {
    EXPECT_NE(std::find(c.instruments.begin(), c.instruments.end(), step.instrument),
              c.instruments.end());
  }
  EXPECT_LE(step.minutes, c.most_minutes + 1e-9);
  if (!c.allow_live) {
    EXPECT_TRUE(step.isolated || step.type == Step::Type::look);
  }
  if (step.type == Step::Type::repair) {
    EXPECT_LE(step.cost_usd, c.authorized_usd);
  }
}

/// Walks a plan from the start and checks what must hold of every branch; counts leaves.
class Walk {
 public:
  Walk(const Case& job, const Plan& plan, const PlanOptions& options)
      : job_(job), plan_(plan), options_(options) {}

  std::size_t leaves() {
    visited_.assign(plan_.steps.size(), 0);
    go(0, 1, {}, {});
    for (const auto count : visited_) EXPECT_EQ(count, 1) << "a tree comes to each step once";
    EXPECT_NEAR(open_, plan_.open_share, 1e-9);
    EXPECT_NEAR(whole_, 1, 1e-9);
    return leaves_;
  }

 private:
  using Deeds = std::vector<DecisionAction>;

  void go(std::size_t place, double reach, Deeds before, std::vector<Index> open) {
    const auto& node = plan_.steps[place];
    ++visited_[place];
    EXPECT_NEAR(node.reach, reach, 1e-9) << "the product along the path";
    EXPECT_EQ(node.level, before.size());
    EXPECT_LT(node.level, options_.depth);
    EXPECT_TRUE(place == 0 || node.reach >= options_.residual);
    EXPECT_EQ(std::find(before.begin(), before.end(), node.action), before.end()) << "repeated";
    expect_cautions(job_, node.step);
    expect_within(job_, node);
    EXPECT_GT(node.step.minutes, 0);
    for (const auto z : node.step.zones_to_open) {
      EXPECT_EQ(std::find(open.begin(), open.end(), z), open.end()) << "opened before";
      open.push_back(z);
    }
    ASSERT_EQ(node.branches.size(), node.step.results.size());
    before.push_back(node.action);
    double sum = 0;
    for (std::size_t b = 0; b < node.branches.size(); ++b) {
      const auto& result = node.step.results[b];
      const auto& branch = node.branches[b];
      sum += result.probability;
      EXPECT_FALSE(result.label.empty());
      EXPECT_NEAR(branch.reach, reach * result.probability, 1e-9);
      EXPECT_EQ(branch.step != DecisionProblem::none, branch.standing == Standing::goes_on);
      if (branch.standing == Standing::goes_on) {
        ASSERT_GT(branch.step, static_cast<std::int32_t>(place));
        go(at(branch.step), branch.reach, before, open);
      } else {
        leaf(branch, result);
      }
    }
    EXPECT_NEAR(sum, 1, 1e-9);
  }

  void leaf(const PlanBranch& branch, const Step::Result& result) {
    ++leaves_;
    whole_ += branch.reach;
    if (branch.standing != Standing::runs) open_ += branch.reach;
    EXPECT_EQ(branch.standing == Standing::runs, branch.to_go_usd == 0);
    EXPECT_EQ(branch.standing == Standing::repair, branch.component != vehicle::none);
    // Whoever gets there is told whom to suspect.
    EXPECT_TRUE(branch.standing == Standing::runs || !result.leaders.empty());
  }

  const Case& job_;
  const Plan& plan_;
  const PlanOptions& options_;
  std::vector<int> visited_;
  std::size_t leaves_ = 0;
  double open_ = 0;
  double whole_ = 0;
};

Plan plan_of(Case& job, const PlanOptions& options, const Progress& progress = {}) {
  const StepTable table(job.belief, job.store, job.posterior, job.prices, job.constraints, {});
  return make_plan(table, options, progress);
}

TEST(Plan, EveryBranchHolds) {
  for (const auto& name : jobs) {
    SCOPED_TRACE(name);
    Case job(name);
    const PlanOptions options;
    const auto plan = plan_of(job, options);
    EXPECT_GE(plan.steps.size(), 3U);
    EXPECT_GT(Walk(job, plan, options).leaves(), plan.steps.size());
    const auto next = next_step(job.belief, job.store, job.posterior, job.prices, job.constraints);
    const auto& first = plan.steps.front().step;
    EXPECT_EQ(first.type, next.best.type);
    EXPECT_EQ(first.instrument, next.best.instrument);
    EXPECT_EQ(first.red, next.best.red);
    EXPECT_EQ(first.black, next.best.black);
    EXPECT_EQ(first.sign, next.best.sign);
    EXPECT_EQ(first.component, next.best.component);
    EXPECT_NEAR(first.minutes, next.best.minutes, 1e-9);
    EXPECT_NEAR(first.cost_usd, next.best.cost_usd, 1e-9);
    EXPECT_EQ(plan.repair_only_usd, next.repair_only_usd);
  }
}

TEST(Plan, ConstraintsHoldAtEveryStep) {
  for (const auto& name : jobs) {
    SCOPED_TRACE(name);
    Case job(name);
    job.constraints.most_minutes = 25;
    job.constraints.authorized_usd = 60;
    for (std::size_t z = 0; z < job.v().zones.size(); z += 3)
      job.constraints.closed_zones.push_back(static_cast<Index>(z));
    PlanOptions options;
    options.depth = 4;
    options.residual = 0.05;
    const auto plan = plan_of(job, options);
    EXPECT_GT(Walk(job, plan, options).leaves(), 1U);
  }
  Case dead(jobs.back());
  dead.constraints.allow_live = false;
  PlanOptions options;
  options.residual = 0.05;
  EXPECT_GT(Walk(dead, plan_of(dead, options), options).leaves(), 1U);
}

TEST(Plan, DepthStepsAndResidualAreLimits) {
  Case job(jobs.front());
  PlanOptions options;
  options.depth = 1;
  auto plan = plan_of(job, options);
  EXPECT_EQ(plan.steps.size(), 1U);
  EXPECT_FALSE(plan.cut_short);
  Walk(job, plan, options).leaves();
  options.depth = 8;
  options.most_steps = 4;
  plan = plan_of(job, options);
  EXPECT_EQ(plan.steps.size(), 4U);
  EXPECT_TRUE(plan.cut_short);
  Walk(job, plan, options).leaves();
  for (std::size_t i = 1; i < plan.steps.size(); ++i)
    EXPECT_LE(plan.steps[i].reach, plan.steps[i - 1].reach);
  options.most_steps = 60;
  options.residual = 1;
  EXPECT_LE(plan_of(job, options).steps.size(), 2U);  // a certain outcome is followed
}

/// Plays jobs through a plan by the rules of the problem, which is not how the plan adds up.
class Player {
 public:
  Player(const StepTable& table, const Plan& plan, std::uint64_t seed)
      : problem_(table.policy().problem()),
        state_(table.made().state),
        plan_(plan),
        random_(seed) {}

  double cost_of_one() {
    auto truth = draw(state_.weights);
    auto open = state_.open;
    auto setup = state_.setup;
    double cost = 0;
    std::size_t place = 0;
    for (;;) {
      const auto& node = plan_.steps[place];
      const bool test = node.action.type == DecisionAction::Type::test;
      const auto index = at(node.action.index);
      for (const auto z : test ? problem_.tests[index].zones : problem_.repairs[index].zones) {
        if (!open[at(z)]) cost += problem_.zone_usd[at(z)];
        open[at(z)] = true;
      }
      std::size_t outcome = 0;
      if (test) {
        const auto& t = problem_.tests[index];
        cost += t.cost_usd + problem_.change(setup, t.setup);
        if (t.setup != DecisionProblem::none) setup = t.setup;
        std::vector<double> chances;
        for (std::size_t o = 0; o < t.outcomes; ++o) chances.push_back(t.probability(truth, o));
        outcome = draw(chances);
      } else {
        outcome = repair(index, truth, cost);
        if (problem_.setup_after_repair != DecisionProblem::none)
          setup = problem_.setup_after_repair;
      }
      const auto* branch = branch_of(node, outcome);
      if (branch == nullptr) {
        ADD_FAILURE() << "an outcome that the plan does not know";
        return cost;
      }
      if (branch->standing != Standing::goes_on) return cost + branch->to_go_usd;
      place = at(branch->step);
    }
  }

 private:
  /// 0: it runs, 1: it does not.
  std::size_t repair(std::size_t index, std::size_t& truth, double& cost) {
    const auto& r = problem_.repairs[index];
    cost += r.attempt_usd;
    if (problem_.hypotheses[truth].runs) return 0;
    for (const auto& cure : problem_.hypotheses[truth].cures) {
      if (at(cure.repair) != index || shipped::unit(random_) < r.not_taken) continue;
      cost += r.rest_usd;
      if (cure.next == DecisionProblem::none) return 0;
      truth = at(cure.next);
      break;
    }
    if (shipped::unit(random_) >= problem_.missed_under(static_cast<std::int32_t>(truth))) return 1;
    cost += problem_.comeback_usd;
    return 0;
  }

  std::size_t draw(const std::vector<double>& chances) {
    double sum = 0;
    for (const double c : chances) sum += c;
    double left = shipped::unit(random_) * sum;
    std::size_t last = 0;
    for (std::size_t i = 0; i < chances.size(); ++i) {
      if (chances[i] <= 0) continue;
      last = i;
      left -= chances[i];
      if (left < 0) break;
    }
    return last;
  }

  static const PlanBranch* branch_of(const PlanStep& node, std::size_t outcome) {
    for (const auto& branch : node.branches)
      if (std::find(branch.outcomes.begin(), branch.outcomes.end(), outcome) !=
          branch.outcomes.end())
        return &branch;
    return nullptr;
  }

  const DecisionProblem& problem_;
  const DecisionState& state_;
  const Plan& plan_;
  std::mt19937_64 random_;
};

TEST(Plan, ExpectedCostIsThatOfJobsPlayedThroughIt) {
  for (const auto& name : jobs) {
    SCOPED_TRACE(name);
    Case job(name);
    const StepTable table(job.belief, job.store, job.posterior, job.prices, job.constraints, {});
    const auto plan = make_plan(table, {});
    Player player(table, plan, 11);
    constexpr int runs = 40000;
    double sum = 0;
    double squares = 0;
    for (int k = 0; k < runs; ++k) {
      const double cost = player.cost_of_one();
      sum += cost;
      squares += cost * cost;
    }
    const double mean = sum / runs;
    const double error = std::sqrt((squares / runs - mean * mean) / runs);
    testing::Test::RecordProperty(name + "_expected_usd", std::to_string(plan.expected_usd));
    testing::Test::RecordProperty(name + "_played_usd",
                                  std::to_string(mean) + " +- " + std::to_string(error));
    EXPECT_NEAR(mean, plan.expected_usd, 3 * error);
    EXPECT_LT(error, 0.02 * mean) << "too coarse to tell";
  }
}

/// Adds up what a plan costs under one truth after the other, by the rules of the problem.
class Account {
 public:
  Account(const StepTable& table, const Plan& plan)
      : problem_(table.policy().problem()), state_(table.made().state), plan_(plan) {}

  double whole() {
    double sum = 0;
    for (std::size_t h = 0; h < state_.weights.size(); ++h)
      if (state_.weights[h] > 0)
        sum += state_.weights[h] * cost(0, static_cast<std::int32_t>(h), state_.open, state_.setup);
    return sum;
  }

 private:
  double after(const PlanStep& node, std::size_t outcome, std::int32_t truth,
               const std::vector<bool>& open, std::int32_t setup) {
    for (const auto& branch : node.branches) {
      if (std::find(branch.outcomes.begin(), branch.outcomes.end(), outcome) ==
          branch.outcomes.end())
        continue;
      return branch.standing == Standing::goes_on ? cost(at(branch.step), truth, open, setup)
                                                  : branch.to_go_usd;
    }
    ADD_FAILURE() << "an outcome that the plan does not know";
    return 0;
  }

  double cost(std::size_t place, std::int32_t truth, std::vector<bool> open, std::int32_t setup) {
    const auto& node = plan_.steps[place];
    const auto index = at(node.action.index);
    const bool test = node.action.type == DecisionAction::Type::test;
    double sum = 0;
    for (const auto z : test ? problem_.tests[index].zones : problem_.repairs[index].zones) {
      if (!open[at(z)]) sum += problem_.zone_usd[at(z)];
      open[at(z)] = true;
    }
    if (test) {
      const auto& t = problem_.tests[index];
      sum += t.cost_usd + problem_.change(setup, t.setup);
      if (t.setup != DecisionProblem::none) setup = t.setup;
      for (std::size_t o = 0; o < t.outcomes; ++o)
        if (const double p = t.probability(at(truth), o); p > 0)
          sum += p * after(node, o, truth, open, setup);
      return sum;
    }
    const auto& r = problem_.repairs[index];
    sum += r.attempt_usd;
    if (problem_.hypotheses[at(truth)].runs) return sum;
    if (problem_.setup_after_repair != DecisionProblem::none) setup = problem_.setup_after_repair;
    const auto still_wrong = [&](std::int32_t left) {
      const double missed = problem_.missed_under(left);
      return missed * problem_.comeback_usd + (1 - missed) * after(node, 1, left, open, setup);
    };
    for (const auto& cure : problem_.hypotheses[at(truth)].cures) {
      if (at(cure.repair) != index) continue;
      const double mended = cure.next == DecisionProblem::none ? 0 : still_wrong(cure.next);
      return sum + (1 - r.not_taken) * (r.rest_usd + mended) + r.not_taken * still_wrong(truth);
    }
    return sum + still_wrong(truth);
  }

  const DecisionProblem& problem_;
  const DecisionState& state_;
  const Plan& plan_;
};

TEST(Plan, ExpectedCostIsTheSumOverEveryTruth) {
  for (const auto& name : jobs) {
    SCOPED_TRACE(name);
    Case job(name);
    const StepTable table(job.belief, job.store, job.posterior, job.prices, job.constraints, {});
    PlanOptions options;
    options.residual = 0.01;
    const auto plan = make_plan(table, options);
    EXPECT_TRUE(std::any_of(plan.steps.begin(), plan.steps.end(), [](const auto& node) {
      return node.action.type == DecisionAction::Type::repair;
    }));
    EXPECT_NEAR(Account(table, plan).whole(), plan.expected_usd, 1e-9 * plan.expected_usd);
  }
}

TEST(Plan, SameBytesTwiceAndAfterOtherQuestions) {
  const Case job(jobs.back());
  const auto options = R"({"depth":4})";
  const auto first = job.model.plan_json(job.job_text, options);
  const auto card = job.model.plan_card(job.job_text, options);
  EXPECT_EQ(job.model.plan_json(job.job_text, options), first);
  EXPECT_EQ(job.model.plan_card(job.job_text, options), card);
  const documents::Model fresh(sources(job.vehicle_text));
  static_cast<void>(fresh.next_json(job.job_text));
  EXPECT_EQ(fresh.plan_json(job.job_text, options), first);
  EXPECT_EQ(fresh.plan_card(job.job_text, options), card);
}

TEST(Plan, CanBeStoppedAtAnyMoment) {
  Case job(jobs.back());
  PlanOptions options;
  options.depth = 2;
  options.residual = 0.1;
  std::vector<double> shares;
  const StepTable table(job.belief, job.store, job.posterior, job.prices, job.constraints, {});
  const auto plan = make_plan(table, options, [&](double share) {
    shares.push_back(share);
    return true;
  });
  std::size_t leaves = 0;
  for (const auto& node : plan.steps) leaves += node.branches.size();
  EXPECT_GE(shares.size(), plan.steps.size() + leaves / 2);
  EXPECT_TRUE(std::is_sorted(shares.begin(), shares.end()));
  EXPECT_EQ(shares.back(), 1);
  // Every call early on, then a sample; each try goes as far as it is let.
  for (std::size_t stop = 0; stop < shares.size(); stop += 1 + shares.size() / 60) {
    std::size_t calls = 0;
    try {
      static_cast<void>(make_plan(table, options, [&](double) { return calls++ != stop; }));
      ADD_FAILURE() << "not stopped at call " << stop;
    } catch (const Error& error) {
      EXPECT_EQ(error.problems().front().code, Code::cancelled);
    }
    EXPECT_EQ(calls, stop + 1);
  }
  EXPECT_EQ(make_plan(table, options).expected_usd, plan.expected_usd);
}

TEST(Plan, NothingAllowedIsNoStep) {
  Case job(jobs.back());
  job.constraints.most_minutes = 0;
  EXPECT_THROW(plan_of(job, {}), Error);
}

}  // namespace
}  // namespace faultloom::advice
