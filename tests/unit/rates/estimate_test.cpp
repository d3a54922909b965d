#include <faultloom/rates/estimate.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

// Histories are drawn from known rates; what is learned must come out near them, within the errors stated.
namespace faultloom::rates {
namespace {

/// A fleet of vehicles with `parts` components of each line, no two of which readings tell apart for sure.
struct Fleet {
  std::vector<Line> lines;
  std::vector<double> truth;                ///< rates per 10^6 h
  std::vector<std::vector<double>> shares;  ///< true
  std::vector<Surroundings> environments{{"dry", 1, false}, {"wet", 3, true}};
  double true_wet = 3;
  std::vector<double> parts;
  std::vector<std::vector<double>> look;  ///< P(what was read | line)
  double hours = 400;
  std::mt19937_64 engine{2026};

  Fleet() {
    const std::vector<double> known{10, 20, 5, 40, 8, 8};
    truth = {25, 15, 5, 140, 20, 2};
    parts = {8, 4, 20, 1, 6, 6};
    for (std::size_t i = 0; i < known.size(); ++i) {
      lines.push_back({"line" + std::to_string(i),
                       i < 3 ? "first" : "second",
                       {1, 1 / known[i]},
                       {0.5, 0.3, 0.2}});
      shares.push_back({0.2, 0.6, 0.2});
    }
    // What is read: mostly right, else one of the others.
    for (std::size_t i = 0; i < known.size(); ++i) {
      look.emplace_back(known.size(), 0.06);
      look.back()[i] = 0.7;
    }
  }

  std::vector<AtRisk> at_risk(std::int32_t environment, double time) const {
    std::vector<AtRisk> result;
    for (std::size_t i = 0; i < lines.size(); ++i)
      for (std::int32_t m = 0; m < 3; ++m)
        result.push_back({static_cast<std::int32_t>(i), m, environment, parts[i] * time / 1e6});
    return result;
  }

  /// One vehicle until it breaks or its hours are over, or nothing if it ran all of them and `running` is
  /// false. The mode is known once the line is.
  std::vector<Case> draw(bool running) {
    std::uniform_real_distribution<double> uniform(0, 1);
    const std::int32_t environment = uniform(engine) < 0.3 ? 1 : 0;
    const double harsh = environment == 1 ? true_wet : 1;
    std::vector<double> hazard;
    double whole = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      hazard.push_back(truth[i] * harsh * parts[i] / 1e6);
      whole += hazard.back();
    }
    const double ran = -std::log(uniform(engine)) / whole;
    if (ran < hours) {
      std::discrete_distribution<std::size_t> broken(hazard.begin(), hazard.end());
      const auto i = broken(engine);
      std::discrete_distribution<int> mode(shares[i].begin(), shares[i].end());
      std::discrete_distribution<std::size_t> read(look[i].begin(), look[i].end());
      const auto sign = read(engine);
      return {seen(environment, sign, mode(engine), running ? ran : hours)};
    }
    if (!running) return {};
    Case one;
    one.at_risk = at_risk(environment, hours);
    return {one};
  }

  /// A job with causes as a ranking under the known rates would give them.
  Case seen(std::int32_t environment, std::size_t read, std::int32_t mode, double time) const {
    Case one;
    one.at_risk = at_risk(environment, time);
    const double harsh = environments[static_cast<std::size_t>(environment)].multiplier;
    double whole = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const double odds = parts[i] * std::expm1(lines[i].prior.mean() * harsh * time / 1e6) *
                          lines[i].shares[static_cast<std::size_t>(mode)];
      whole += odds * look[i][read];
      one.causes.push_back(
          {odds * look[i][read],
           {{{static_cast<std::int32_t>(i), mode, environment, 1, 1, time / 1e6}}}});
    }
    for (auto& cause : one.causes) cause.probability /= whole;
    return one;
  }

  std::vector<Case> history(std::size_t vehicles, bool running) {
    std::vector<Case> cases;
    for (std::size_t v = 0; v < vehicles; ++v)
      for (auto& one : draw(running)) cases.push_back(std::move(one));
    return cases;
  }
};

/// Deviations of the learned rates from the truth, in the errors stated.
std::vector<double> errors(const HistoryEstimate& found, const std::vector<double>& truth) {
  std::vector<double> result;
  for (std::size_t i = 0; i < truth.size(); ++i)
    result.push_back((std::log(found.lines[i].after.mean()) - std::log(truth[i])) *
                     std::sqrt(found.lines[i].after.shape));
  return result;
}

double root_mean_square(const std::vector<double>& values) {
  double sum = 0;
  for (const double v : values) sum += v * v / static_cast<double>(values.size());
  return std::sqrt(sum);
}

TEST(Estimate, WithSureCausesItIsTheConjugateRule) {
  const std::vector<Line> lines{{"a", "", {2, 0.5}, {1}}};
  const std::vector<Surroundings> plain{{"", 1, false}};
  std::vector<Case> cases;
  for (int i = 0; i < 3; ++i)
    cases.push_back({{{1, {{{0, 0, 0, 1, 1, 1e-9}}}}}, 0, {{0, 0, 0, 0.1}}});
  cases.push_back({{}, 0, {{0, 0, 0, 0.7}}});
  const auto found = estimate_rates(lines, plain, cases);
  EXPECT_NEAR(found.lines[0].after.shape, 5, 1e-6);
  EXPECT_NEAR(found.lines[0].after.rate, 1.5, 1e-6);
  EXPECT_NEAR(found.lines[0].failures, 3, 1e-9);
  EXPECT_TRUE(found.settled);
}

TEST(Estimate, TenPumpsInOneGroup) {
  // The same data as in the published examples, each pump a line; prior weights of one.
  const std::vector<std::pair<int, double>> pumps{{5, 94.3}, {1, 15.7},  {5, 62.9}, {14, 126},
                                                  {3, 5.24}, {19, 31.4}, {1, 1.05}, {1, 1.05},
                                                  {4, 2.10}, {22, 10.5}};
  std::vector<Line> lines;
  std::vector<Case> cases;
  for (std::size_t i = 0; i < pumps.size(); ++i) {
    const auto line = static_cast<std::int32_t>(i);
    lines.push_back({"pump" + std::to_string(i), "pumps", {1, 1}, {1}});
    for (int n = 0; n < pumps[i].first; ++n)
      cases.push_back({{{1, {{{line, 0, 0, 1, 1, 1e-12}}}}}, 0, {}});
    cases.push_back({{}, 0, {{line, 0, 0, pumps[i].second}}});
  }
  const auto found = estimate_rates(lines, {{"", 1, false}}, cases);
  ASSERT_EQ(found.groups.size(), 1U);
  EXPECT_NEAR(found.groups[0].law.dispersion, .822965, 1e-5);
  EXPECT_NEAR(found.groups[0].law.mean, .652291, 1e-5);
  // Pump 1 has much exposure, pump 7 little: one keeps its own rate, the other is drawn to the mean.
  EXPECT_NEAR(found.lines[0].after.mean(), 5 / 94.3, .01);
  EXPECT_LT(found.lines[6].after.mean(), .95);
}

TEST(Estimate, RecoversRatesFromUncertainCauses) {
  Fleet fleet;
  const auto found = estimate_rates(fleet.lines, fleet.environments, fleet.history(8000, true));
  EXPECT_TRUE(found.settled);
  const auto off = errors(found, fleet.truth);
  for (std::size_t i = 0; i < off.size(); ++i) EXPECT_LT(std::abs(off[i]), 3.5) << i;
  EXPECT_LT(root_mean_square(off), 1.8);
  for (std::size_t i = 0; i < off.size(); ++i) {
    EXPECT_LT(found.lines[i].certain, found.lines[i].failures) << "doubt has to cost something";
    if (found.lines[i].certain > 60) {
      EXPECT_NEAR(found.lines[i].shares[1], 0.6, 0.15) << i;
    }
  }
  EXPECT_NEAR(found.environments[1].factor.mean(), 1, 0.12);
}

TEST(Estimate, GuessesTakenForTruthAreWrong) {
  // The first look's probabilities as counts: what a program would learn that believed itself.
  Fleet fleet;
  const auto cases = fleet.history(8000, true);
  std::vector<double> guessed(fleet.lines.size(), 0);
  for (const auto& one : cases)
    for (const auto& cause : one.causes)
      guessed[static_cast<std::size_t>(cause.failures[0][0].line)] += cause.probability;
  const auto found = estimate_rates(fleet.lines, fleet.environments, cases);
  // The last line fails a quarter as often as thought.
  const double exposure = found.lines[5].exposure;
  EXPECT_GT(guessed[5] / exposure, 1.8 * fleet.truth[5]);
  EXPECT_LT(found.lines[5].after.mean(), 1.5 * fleet.truth[5]);
}

TEST(Estimate, StatedErrorsCoverOverManyHistories) {
  std::vector<double> off;
  for (int repetition = 0; repetition < 8; ++repetition) {
    Fleet fleet;
    fleet.engine.seed(static_cast<std::uint64_t>(1000 + repetition));
    const auto found = estimate_rates(fleet.lines, fleet.environments, fleet.history(1500, true));
    for (const double e : errors(found, fleet.truth)) off.push_back(e);
  }
  // Priors are off by up to a factor of four here, which small histories can't mend in full.
  EXPECT_LT(root_mean_square(off), 1.5);
  EXPECT_GT(root_mean_square(off), 0.6);
}

TEST(Estimate, LearnsHowHarshAnEnvironmentIs) {
  Fleet fleet;
  fleet.true_wet = 6;
  const auto found = estimate_rates(fleet.lines, fleet.environments, fleet.history(8000, true));
  EXPECT_NEAR(found.environments[1].factor.mean(), 2, 0.25);
  EXPECT_EQ(found.environments[0].factor.mean(), 1);
  EstimateOptions fixed;
  fixed.learn_environments = false;
  const auto without =
      estimate_rates(fleet.lines, fleet.environments, fleet.history(8000, true), fixed);
  EXPECT_EQ(without.environments[1].factor.mean(), 1);
}

TEST(Estimate, OnlyBrokenVehiclesSeen) {
  Fleet fleet;
  fleet.hours = 60;
  const auto cases = fleet.history(20000, false);
  EstimateOptions broken;
  broken.only_broken_seen = true;
  const auto corrected = estimate_rates(fleet.lines, fleet.environments, cases, broken);
  const auto taken = estimate_rates(fleet.lines, fleet.environments, cases);
  const auto mean_log = [&](const HistoryEstimate& found) {
    double sum = 0;
    for (std::size_t i = 0; i < fleet.truth.size(); ++i)
      sum += std::log(found.lines[i].after.mean() / fleet.truth[i]) /
             static_cast<double>(fleet.truth.size());
    return sum;
  };
  EXPECT_GT(mean_log(taken), 0.4) << "taken as they are, such histories show far too many failures";
  EXPECT_LT(std::abs(mean_log(corrected)), 3 * corrected.common_sigma);
  EXPECT_GT(corrected.common_sigma, 0);
  for (const double e : errors(corrected, fleet.truth)) EXPECT_LT(std::abs(e), 3.5);
  // How often one fails compared with another is known far better than the common level.
  const double ratio = corrected.lines[3].after.mean() / corrected.lines[0].after.mean();
  EXPECT_NEAR(ratio / (fleet.truth[3] / fleet.truth[0]), 1, 0.15);
}

TEST(Estimate, UnnoticedModesDoNotLowerTheRate) {
  // Mode 1 of the only line shows only half of the time.
  std::vector<Line> lines{{"a", "", {1, 0.1}, {0.5, 0.5}}};
  std::vector<Case> cases;
  constexpr double true_rate = 30;
  std::mt19937_64 engine(5);
  std::uniform_real_distribution<double> uniform(0, 1);
  const double exposure = 1e-3;
  for (int i = 0; i < 40000; ++i) {
    Case one;
    one.at_risk = {{0, 0, 0, exposure}, {0, 1, 0, exposure / 2}};
    if (uniform(engine) < -std::expm1(-true_rate * exposure)) {
      const std::int32_t mode = uniform(engine) < 0.5 ? 0 : 1;
      if (mode == 0 || uniform(engine) < 0.5) one.causes = {{1, {{{0, mode, 0, 1, 1, exposure}}}}};
    }
    cases.push_back(one);
  }
  const auto found = estimate_rates(lines, {{"", 1, false}}, cases);
  EXPECT_NEAR(found.lines[0].after.mean(), true_rate, 3);
  EXPECT_NEAR(found.lines[0].shares[1], 0.5, 0.05);
}

TEST(Estimate, StopsWhenAskedTo) {
  Fleet fleet;
  const auto cases = fleet.history(100, true);
  EXPECT_THROW((void)estimate_rates(fleet.lines, fleet.environments, cases, {},
                                    [](double) { return false; }),
               Error);
}

}  // namespace
}  // namespace faultloom::rates
