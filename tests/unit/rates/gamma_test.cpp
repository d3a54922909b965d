#include <faultloom/rates/gamma.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <vector>

// Examples of NASA/SP-2009-569 (2009), chapter 4, and the air-conditioner failure times of Proschan (1963).
// Printed figures have two digits; those with more were computed from the printed inputs with another
// program.
namespace faultloom::rates {
namespace {

void expect_relative(double found, double expected, double tolerance = 2e-6) {
  EXPECT_NEAR(found, expected, tolerance * std::abs(expected));
}

TEST(Gamma, NasaExample3NoFailureInTwoHundredDays) {
  const Gamma after = Gamma{1.6, 365000}.after(0, 4800);
  EXPECT_NEAR(after.mean(), 4.3e-6, 5e-8);
  expect_relative(after.mean(), 4.326663e-6);
  expect_relative(after.quantile(.05), 5.626933e-7);
  expect_relative(after.quantile(.95), 1.103120e-5);
  EXPECT_NEAR(std::exp(-after.mean() * 1000), .9956827, 1e-7);
  EXPECT_NEAR(after.survival(1000), .9957, 1e-4) << "mean over the rate, not at its mean";
}

TEST(Gamma, NasaExample5FailureTimes) {
  const std::vector<double> hours{55707, 255092, 56776, 111646, 11358772, 875209, 68978};
  const double sum = std::accumulate(hours.begin(), hours.end(), 0.0);
  EXPECT_EQ(sum, 12782180) << "the text prints one more";
  const Gamma after = Gamma{1.6, 365000}.after(7, 12782181);
  EXPECT_DOUBLE_EQ(after.shape, 8.6);
  EXPECT_DOUBLE_EQ(after.rate, 13147181);
  expect_relative(after.mean(), 6.541326e-7);
  expect_relative(after.quantile(.05), 3.352368e-7);
  expect_relative(after.quantile(.95), 1.058943e-6);
}

TEST(Gamma, NasaExample8FromTwoQuantiles) {
  // Printed with a spreadsheet's precision: shape 0.6, rate 1.2e9.
  const auto gamma = Gamma::with_quantiles(2e-10, .5, 2e-9, .95);
  expect_relative(gamma.shape, .439524, 1e-5);
  expect_relative(gamma.rate, 8.836014e8, 1e-5);
  expect_relative(gamma.quantile(.5), 2e-10, 1e-9);
  expect_relative(gamma.quantile(.95), 2e-9, 1e-9);
  EXPECT_THROW((void)Gamma::with_quantiles(2, .5, 1, .95), Error);
}

TEST(Gamma, NasaSection442ConstantRate) {
  const auto rate = Gamma::jeffreys(16 + 10 + 7 + 13 + 9 + 6 + 2,
                                    14.63 + 14.15 + 15.75 + 17.77 + 17.11 + 17.19 + 17.34);
  EXPECT_NEAR(rate.mean(), .55, .01) << "printed";
  expect_relative(rate.quantile(.05), .447475);
  expect_relative(rate.mean(), .557311, 2e-3);
  expect_relative(rate.quantile(.95), .677117);
}

TEST(Gamma, AirConditionerFailures) {
  const std::vector<double> hours{3, 5, 7, 18, 43, 85, 91, 98, 100, 130, 230, 487};
  const double sum = std::accumulate(hours.begin(), hours.end(), 0.0);
  EXPECT_EQ(sum, 1297);
  const Gamma rate{12, sum};
  expect_relative(rate.mean(), .00925212);
  expect_relative(rate.quantile(.05), .00533864);
  expect_relative(rate.quantile(.95), .01403818);
}

TEST(Gamma, JeffreysOnTwoOfTheTenPumps) {
  expect_relative(Gamma::jeffreys(5, 94.3).mean(), .058324, 1e-5);
  expect_relative(Gamma::jeffreys(5, 94.3).quantile(.05), .024257, 3e-5);
  expect_relative(Gamma::jeffreys(5, 94.3).quantile(.95), .104322, 1e-5);
  expect_relative(Gamma::jeffreys(22, 10.5).mean(), 2.142857);
  expect_relative(Gamma::jeffreys(22, 10.5).quantile(.95), 2.936011);
}

TEST(Beta, NasaExample1) {
  const Beta prior{1.24, 189075};
  expect_relative(prior.mean(), 6.558201e-6);
  expect_relative(prior.quantile(.05), 5.441163e-7);
  expect_relative(prior.quantile(.95), 1.822457e-5);
  const Beta after = prior.after(2, 285);
  EXPECT_DOUBLE_EQ(after.b, 189358) << "the text prints 189,226, a slip of its own";
  EXPECT_NEAR(after.mean(), 1.7e-5, 5e-7);
  expect_relative(after.mean(), 1.711015e-5);
  expect_relative(after.quantile(.05), 4.980187e-6);
  expect_relative(after.quantile(.95), 3.513054e-5);
}

TEST(Beta, NasaSection451FirstOption) {
  const auto prior = Beta::with_moments(.005016, .01399 * .01399);
  expect_relative(prior.a, .122891, 3e-3);
  expect_relative(prior.b, 24.377, 3e-3);
  // The text goes on with 0.12 and 24.3.
  const Beta after = Beta{.12, 24.3}.after(1, 403);
  EXPECT_NEAR(after.mean(), 2.6e-3, 5e-5);
  expect_relative(after.mean(), 2.620373e-3);
  expect_relative(after.quantile(.05), 1.7590e-4, 2e-5);
  expect_relative(after.quantile(.95), 7.53371e-3);
}

TEST(Dirichlet, NasaExample7) {
  const auto after = Dirichlet{{1, 1, 1}}.after(std::vector<double>{20, 5, 1});
  EXPECT_NEAR(after.mean(0), .724138, 1e-6);
  EXPECT_NEAR(after.mean(1), .206897, 1e-6);
  EXPECT_NEAR(after.mean(2), .068966, 1e-6);
  // Of the failures that are not of the first sort, the share of the third.
  const Beta third{after.weights[2], after.weights[1]};
  EXPECT_NEAR(third.mean(), .25, 1e-12);
  EXPECT_NEAR(third.quantile(.05), .053376, 1e-6);
  EXPECT_NEAR(third.quantile(.95), .520703, 1e-6);
}

TEST(Gamma, RefusesWhatIsNoDistribution) {
  EXPECT_THROW((void)(Gamma{0, 1}.quantile(.5)), Error);
  EXPECT_THROW((void)(Gamma{1, 1}.quantile(1)), Error);
  EXPECT_THROW((void)Gamma::with_moments(-1, 1), Error);
  EXPECT_THROW((void)Beta::with_moments(.5, 1), Error);
  EXPECT_THROW((void)Dirichlet{{1}}.after(std::vector<double>{1, 2}), Error);
}

}  // namespace
}  // namespace faultloom::rates
