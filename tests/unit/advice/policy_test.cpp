// The planner against the exact optimum and against simpler ways to choose, on random problems.
#include <faultloom/advice/policy.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <string>

#include "unit/advice/decision_oracle.hpp"

namespace faultloom::advice {
namespace {

/// By how much expected costs exceed the optimum, as shares.
struct Excess {
  std::vector<double> shares;

  [[nodiscard]] double mean() const {
    return std::accumulate(shares.begin(), shares.end(), 0.0) / static_cast<double>(shares.size());
  }
  [[nodiscard]] double within(double limit) const {
    return static_cast<double>(
               std::count_if(shares.begin(), shares.end(), [&](double s) { return s <= limit; })) /
           static_cast<double>(shares.size());
  }
  [[nodiscard]] double worst() const { return *std::max_element(shares.begin(), shares.end()); }
};

struct Comparison {
  Excess planner;
  Excess one_step;
  Excess information;
  Excess repairs;

  void record(const std::string& name) const {
    const auto note = [&](const std::string& who, const Excess& e) {
      const auto text = std::to_string(100 * e.mean()) + " % mean, " +
                        std::to_string(100 * e.within(0.02)) + " % within 2 %, worst " +
                        std::to_string(100 * e.worst()) + " %";
      testing::Test::RecordProperty(name + "_" + who, text);
      std::printf("[  figures ] %s %s: %s\n", name.c_str(), who.c_str(), text.c_str());
    };
    note("planner", planner);
    note("one_step_value", one_step);
    note("information_for_money", information);
    note("repairs_only", repairs);
  }
};

oracle::Chooser planner(const Policy& policy) {
  return
      [&policy](const DecisionState& state) { return policy.choose(state).options.front().action; };
}

void compare(const oracle::Shape& shape, std::size_t problems, unsigned seed, bool errors,
             Comparison& all) {
  std::mt19937 random(seed);
  for (std::size_t k = 0; k < problems; ++k) {
    const auto problem = oracle::random_problem(shape, random);
    const double best =
        errors ? oracle::optimum_with_errors(problem) : oracle::optimum_without_errors(problem);
    const Policy policy(problem);
    const auto add = [&](Excess& excess, const oracle::Chooser& chooser) {
      const double cost = oracle::expected_cost(problem, chooser);
      ASSERT_GE(cost, best * (1 - 1e-9)) << "problem " << k;
      excess.shares.push_back(cost / best - 1);
    };
    add(all.planner, planner(policy));
    add(all.one_step, oracle::one_step_value(problem));
    add(all.information, oracle::information_for_money(problem, errors ? 0.95 : 1 - 1e-9));
    add(all.repairs, oracle::repairs_only(problem));
  }
}

TEST(Policy, CostsHardlyMoreThanTheOptimum) {
  Comparison all;
  const std::pair<oracle::Family, const char*> families[] = {
      {oracle::Family::random, "random"},
      {oracle::Family::chain, "chain"},
      {oracle::Family::three_outcomes, "three_outcomes"},
      {oracle::Family::setups, "setups"}};
  for (const auto& [family, name] : families) {
    Comparison own;
    oracle::Shape shape;
    shape.family = family;
    compare(shape, 100, 20 + static_cast<unsigned>(family), false, own);
    own.record(name);
    for (const auto& [into, from] : {std::pair{&all.planner, &own.planner},
                                     {&all.one_step, &own.one_step},
                                     {&all.information, &own.information},
                                     {&all.repairs, &own.repairs}})
      into->shares.insert(into->shares.end(), from->shares.begin(), from->shares.end());
  }
  all.record("all");
  EXPECT_LE(all.planner.mean(), 0.005);
  EXPECT_GE(all.planner.within(0.02), 0.95);
  EXPECT_GE(all.one_step.mean(), 2 * all.planner.mean());
  EXPECT_GE(all.information.mean(), all.one_step.mean());
  EXPECT_GE(all.repairs.mean(), all.information.mean());
}

TEST(Policy, CostsHardlyMoreThanTheOptimumWithTestsThatErr) {
  Comparison all;
  oracle::Shape shape;
  shape.hypotheses = 7;
  shape.tests = 6;
  shape.zones = 2;
  shape.least_error = 0.02;
  shape.most_error = 0.15;
  compare(shape, 100, 7, true, all);
  all.record("errors");
  EXPECT_LE(all.planner.mean(), 0.005);
  EXPECT_GE(all.planner.within(0.02), 0.95);
  EXPECT_GE(all.one_step.mean(), 2 * all.planner.mean());
  EXPECT_GE(all.information.mean(), all.one_step.mean());
}

}  // namespace
}  // namespace faultloom::advice
