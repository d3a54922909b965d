#include <faultloom/rates/pooling.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

namespace faultloom::rates {
namespace {

/// Failures of ten pumps in thousands of hours (Gaver and O'Muircheartaigh 1987), times as rounded in the
/// examples of the OpenBUGS manual.
const std::array<PoolMember, 10> pumps{{{5, 94.3, 1},
                                        {1, 15.7, 1},
                                        {5, 62.9, 1},
                                        {14, 126, 1},
                                        {3, 5.24, 1},
                                        {19, 31.4, 1},
                                        {1, 1.05, 1},
                                        {1, 1.05, 1},
                                        {4, 2.10, 1},
                                        {22, 10.5, 1}}};

/// Shape exponential with mean one, rate Gamma(0.1, 1), as densities of the logarithms of shape and mean.
double published_prior(double shape, double mean) {
  const double rate = shape / mean;
  return -shape + (0.1 - 1) * std::log(rate) - rate + std::log(shape) + std::log(rate);
}

TEST(Pooling, TenPumpsByTypeTwo) {
  // Maximum of the negative-binomial likelihood, computed with another program.
  const auto law = type_two_law(pumps);
  EXPECT_NEAR(law.dispersion, .822965, 2e-6);
  EXPECT_NEAR(law.rate(), 1.261653, 4e-6);
  EXPECT_NEAR(law.mean, .652291, 2e-6);
  EXPECT_TRUE(law.spread);
  const std::array<double, 10> means{.060934, .107476, .090755, .116476,  .587999,
                                     .606919, .788598, .788598, 1.434700, 1.940456};
  for (std::size_t i = 0; i < pumps.size(); ++i)
    EXPECT_NEAR(law.member(pumps[i]).mean(), means[i], 2e-6 * (1 + means[i])) << i;
}

TEST(Pooling, TenPumpsWithThePublishedPrior) {
  const auto all = pooled(pumps, published_prior);
  // By quadrature with another program.
  const std::array<Spread, 10> exact{{{.059818, .025198},
                                      {.101826, .079449},
                                      {.089242, .037577},
                                      {.115788, .030258},
                                      {.601338, .316011},
                                      {.609388, .137529},
                                      {.892536, .724420},
                                      {.892536, .724420},
                                      {1.586312, .769518},
                                      {1.989835, .424987}}};
  EXPECT_NEAR(all.dispersion.mean, .697169, 2e-5);
  EXPECT_NEAR(std::sqrt(all.dispersion.variance), .270775, 2e-5);
  for (std::size_t i = 0; i < exact.size(); ++i) {
    EXPECT_NEAR(all.members[i].mean, exact[i].mean, 3e-5) << i;
    EXPECT_NEAR(std::sqrt(all.members[i].variance), exact[i].variance, 5e-5) << i;
  }
  // Published means and standard deviations, OpenBUGS manual, 10,000 updates: within four Monte Carlo errors
  // (a quarter of a hundredth of the deviation and more, as the chain is correlated).
  const std::array<Spread, 10> manual{{{.05981, .02518},
                                       {.1027, .08174},
                                       {.08916, .03802},
                                       {.1157, .0301},
                                       {.5977, .3124},
                                       {.6104, .1376},
                                       {.9035, .7396},
                                       {.9087, .7523},
                                       {1.583, .7647},
                                       {1.984, .4212}}};
  for (std::size_t i = 0; i < manual.size(); ++i)
    EXPECT_NEAR(all.members[i].mean, manual[i].mean, .04 * manual[i].variance) << i;
  EXPECT_NEAR(all.dispersion.mean, .6951, 4 * .0054);
}

TEST(Pooling, OneMemberWithALogNormalPrior) {
  // NASA/SP-2009-569 example 4: median 5e-7 per hour, error factor 14, no failure in 4800 h. 1.6e-6.
  const double sigma = std::log(14) / 1.645;
  const double unit = 5e-7 * std::exp(0.5 * sigma * sigma);  // the mean of the log-normal
  const auto prior = about_one(sigma, 1e-3);
  const std::array<PoolMember, 1> none{{{0, 4800 * unit, 1e9}}};
  EXPECT_NEAR(pooled(none, prior).members[0].mean * unit, 1.674882e-6, 3e-11);
  // Example 6: seven failures in 12,782,181 h. 5.5e-7.
  const std::array<PoolMember, 1> seven{{{7, 12782181 * unit, 1e9}}};
  EXPECT_NEAR(pooled(seven, prior).members[0].mean * unit, 5.470019e-7, 2e-12);
}

TEST(Pooling, OneMemberWithALogNormalPriorFailingOnDemand) {
  // NASA/SP-2009-569 example 2: mean 1e-6, error factor 10, two failures in 285 demands. Computed from
  // these with another program: 4.6890e-5; the text prints 4.7e-6, an exponent amiss, beside a 90 %
  // interval of 1.9e-6 to 1.8e-4. At such chances counts on demand are Poisson.
  const std::array<PoolMember, 1> two{{{2, 285 * 1e-6, 1e9}}};
  const auto found = pooled(two, about_one(std::log(10) / 1.645, 1e-3));
  EXPECT_NEAR(found.members[0].mean * 1e-6, 4.6890e-5, 2e-8);
}

TEST(Pooling, CountsOutOfFewTriesAreNearlyTheSame) {
  // NASA/SP-2009-569 section 4.5.1: eleven sources of failures on demand. Type-II maximum of the
  // beta-binomial likelihood: 0.503628, 133.807, mean 0.003750. Chances are small, so counts are nearly
  // Poisson.
  const std::array<double, 11> x{0, 1, 0, 2, 2, 0, 1, 1, 4, 4, 3};
  const std::array<double, 11> n{164, 322, 13, 186, 6151, 3264, 4747, 3211, 457, 456, 277};
  std::array<PoolMember, 11> sources;
  for (std::size_t i = 0; i < x.size(); ++i) sources[i] = {x[i], n[i], 1};
  const auto law = type_two_law(sources);
  EXPECT_NEAR(law.dispersion, .503628, .01);
  EXPECT_NEAR(law.mean, .003750, 4e-5);
}

TEST(Pooling, CountsThatSpreadNoMoreThanChance) {
  const std::array<PoolMember, 4> alike{{{10, 100, 1}, {10, 100, 1}, {20, 200, 1}, {5, 50, 1}}};
  const auto law = type_two_law(alike);
  EXPECT_FALSE(law.spread);
  EXPECT_NEAR(law.mean, 0.1, 1e-6);
  const std::array<PoolMember, 2> nothing{{{0, 100, 1}, {0, 10, 1}}};
  EXPECT_THROW((void)type_two_law(nothing), Error);
  const auto still = pooled(nothing, about_one(0.7, 0.7));
  EXPECT_LT(still.members[0].mean, still.members[1].mean) << "the longer without, the less";
}

TEST(Pooling, WithoutDataThePriorStays) {
  const std::array<PoolMember, 2> unseen{{{0, 0, 2}, {0, 0, 0.5}}};
  const double sigma = 0.6;
  const auto all = pooled(unseen, about_one(sigma, 0.5));
  EXPECT_NEAR(all.mean.mean, 1, 1e-6);
  EXPECT_NEAR(all.members[0].mean, all.mean.mean, 1e-6);
  EXPECT_LT(all.members[0].variance, all.members[1].variance);
}

TEST(Pooling, RecoversASimulatedLaw) {
  std::mt19937_64 engine(20090901);
  std::gamma_distribution<double> rate(1.5, 2.0 / 1.5);
  std::vector<PoolMember> members;
  for (int i = 0; i < 400; ++i) {
    const double exposure = 0.5 + 0.01 * i;
    std::poisson_distribution<int> count(rate(engine) * exposure);
    members.push_back({static_cast<double>(count(engine)), exposure, 1});
  }
  const auto law = type_two_law(members);
  EXPECT_NEAR(law.dispersion, 1.5, 0.3);
  EXPECT_NEAR(law.mean, 2.0, 0.25);
}

}  // namespace
}  // namespace faultloom::rates
