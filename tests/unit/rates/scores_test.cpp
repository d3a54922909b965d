#include <faultloom/rates/scores.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace faultloom::rates {
namespace {

TEST(Scores, BrierSplitByHand) {
  // Ten forecasts: 0.1 four times, 0.3 three times, 0.7 twice, 0.9 once. By hand: Brier 0.17, split
  // 17/600, 13/120 and 1/4 (Murphy 1973); exact, as probabilities are equal within a bin.
  const std::vector<Claim> claims{{.1, false, 0}, {.1, false, 1}, {.1, false, 2}, {.1, true, 3},
                                  {.3, false, 4}, {.3, true, 5},  {.3, false, 6}, {.7, true, 7},
                                  {.7, true, 8},  {.9, true, 9}};
  const auto scores = score(claims, 10);
  EXPECT_EQ(scores.bins.size(), 4U);
  EXPECT_NEAR(scores.brier, .17, 1e-12);
  EXPECT_NEAR(scores.reliability, 17.0 / 600, 1e-12);
  EXPECT_NEAR(scores.resolution, 13.0 / 120, 1e-12);
  EXPECT_NEAR(scores.uncertainty, .25, 1e-12);
  EXPECT_NEAR(scores.brier, scores.reliability - scores.resolution + scores.uncertainty, 1e-12);
  EXPECT_NEAR(scores.calibration_error, .4 * .15 + .3 / 30 + .2 * .3 + .1 * .1, 1e-12);
  double loss = -(3 * std::log(.9) + std::log(.1) + 2 * std::log(.7) + std::log(.3)) -
                2 * std::log(.7) - std::log(.9);
  EXPECT_NEAR(scores.log_loss.mean, loss / 10, 1e-12);
}

TEST(Scores, RightClaimsScoreAtTheirEntropy) {
  std::mt19937_64 engine(7);
  std::uniform_real_distribution<double> uniform(0, 1);
  std::vector<Claim> right;
  std::vector<Claim> sure;
  for (std::size_t job = 0; job < 50000; ++job) {
    const double p = uniform(engine);
    const bool happened = uniform(engine) < p;
    right.push_back({p, happened, job});
    const double bolder = p * p / (p * p + (1 - p) * (1 - p));
    sure.push_back({bolder, happened, job});
  }
  const auto good = score(right, 20);
  EXPECT_LT(std::abs(good.excess.mean), 3 * good.excess.standard_error);
  EXPECT_LT(good.calibration_error, 2 * good.noise_floor);
  EXPECT_GT(good.calibration_error, good.noise_floor / 2);
  const auto bold = score(sure, 20);
  EXPECT_GT(bold.excess.mean, 10 * bold.excess.standard_error);
  EXPECT_GT(bold.calibration_error, 10 * bold.noise_floor);
  const auto difference = paired_difference(job_losses(sure), job_losses(right));
  EXPECT_GT(difference.mean, 5 * difference.standard_error) << "the bolder claims lose";
  EXPECT_NEAR(difference.mean, bold.log_loss.mean - good.log_loss.mean, 1e-9);
}

TEST(Scores, NoiseFloorIsWhatChanceGives) {
  // Mean calibration error of right claims over repetitions, against the formula.
  std::mt19937_64 engine(11);
  std::uniform_real_distribution<double> uniform(0, 1);
  double mean = 0;
  double floor = 0;
  constexpr int repetitions = 200;
  for (int r = 0; r < repetitions; ++r) {
    std::vector<Claim> claims;
    for (std::size_t i = 0; i < 2000; ++i) {
      const double p = uniform(engine);
      claims.push_back({p, uniform(engine) < p, i});
    }
    const auto scores = score(claims, 10);
    mean += scores.calibration_error / repetitions;
    floor += scores.noise_floor / repetitions;
  }
  EXPECT_NEAR(mean / floor, 1, .08);
}

TEST(Scores, RefusesNonsense) {
  EXPECT_THROW((void)score({}, 10), Error);
  const std::vector<Claim> claims{{1.5, true, 0}};
  EXPECT_THROW((void)score(claims, 10), Error);
  const std::vector<double> one{1};
  EXPECT_THROW((void)paired_difference(one, {}), Error);
}

}  // namespace
}  // namespace faultloom::rates
