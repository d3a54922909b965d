#include <faultloom/rates/rates.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <numeric>
#include <random>
#include <vector>

namespace faultloom::rates {
namespace {

Rates some_rates() {
  Rates rates;
  rates.exposure_hours = 400;
  rates.environments = {{"dry", 1.0}, {"wet", 3.0}};
  rates.kinds["contactor"] = {6, 2, {{"coil_open", 0.75}, {"welded", 0.25}}, "test"};
  rates.kinds["control_termination"] = {1, 4, {{"corroded", 1.0}}, "test"};
  return rates;
}

TEST(Priors, FollowTheExponentialLaw) {
  const auto cart = test::small_cart();
  const auto priors = mode_priors(cart, some_rates(), {});
  ASSERT_EQ(priors.size(), cart.modes.size());
  const auto prior = [&](std::string_view mode) {
    return priors[static_cast<std::size_t>(test::mode(cart, mode))];
  };
  // 6 failures in 2 million hours, 400 hours: 1 - exp(-0.0012)
  EXPECT_DOUBLE_EQ(prior("K1/coil_open"), 0.75 * -std::expm1(-0.0012));
  EXPECT_DOUBLE_EQ(prior("K1/welded"), 0.25 * -std::expm1(-0.0012));
  EXPECT_DOUBLE_EQ(prior("W1:to/corroded"), -std::expm1(-0.0001));
  EXPECT_EQ(prior("M1/open"), 0) << "a kind without a rate never fails";
}

TEST(Priors, HoursEnvironmentAndFactorMultiply) {
  auto cart = test::small_cart();
  const auto k1 = static_cast<std::size_t>(cart.component("K1"));
  const auto mode = static_cast<std::size_t>(test::mode(cart, "K1/coil_open"));
  cart.components[k1].rate_factor = 2;
  EXPECT_DOUBLE_EQ(mode_priors(cart, some_rates(), {1000, "wet"})[mode],
                   0.75 * -std::expm1(-3e-6 * 3 * 2 * 1000));
  cart.components[k1].environment = "dry";
  EXPECT_DOUBLE_EQ(mode_priors(cart, some_rates(), {1000, "wet"})[mode],
                   0.75 * -std::expm1(-3e-6 * 2 * 1000));
  try {
    (void)mode_priors(cart, some_rates(), {0, "moon"});
    FAIL();
  } catch (const Error& error) {
    EXPECT_EQ(error.code(), Code::reference);
    EXPECT_EQ(error.problems()[0].pointer, "/environment");
  }
}

TEST(Priors, ModesOfOneComponentExcludeEachOther) {
  const auto cart = test::small_cart();
  const auto priors = mode_priors(cart, some_rates(), {5e6, ""});
  const auto parts = component_priors(cart, priors);
  ASSERT_EQ(parts.size(), cart.components.size());
  const auto k1 = static_cast<std::size_t>(cart.component("K1"));
  EXPECT_DOUBLE_EQ(parts[k1], -std::expm1(-15.0)) << "P(any mode) is the sum, never above one";
  EXPECT_LE(parts[k1], 1);
  double all = 0;
  for (const double p : parts) all += p;
  EXPECT_NEAR(all, std::accumulate(priors.begin(), priors.end(), 0.0), 1e-12);
}

TEST(Priors, PerVisitTakesThePlaceOfARate) {
  auto cart = test::small_cart();
  auto rates = some_rates();
  rates.per_visit = {{"swapped", 0.02}};
  const auto welded = static_cast<std::size_t>(test::mode(cart, "K1/welded"));
  const auto coil = static_cast<std::size_t>(test::mode(cart, "K1/coil_open"));
  const double before = mode_priors(cart, rates, {})[coil];
  cart.modes[welded].per_visit = "swapped";
  cart.modes[welded].per_visit_share = 0.25;
  const auto priors = mode_priors(cart, rates, {});
  EXPECT_DOUBLE_EQ(priors[welded], 0.005) << "neither hours nor its share of the kind count";
  EXPECT_EQ(priors[coil], before);
  cart.modes[welded].per_visit = "bypassed";
  EXPECT_EQ(mode_priors(cart, rates, {})[welded], 0) << "no entry, no probability";
}

TEST(Priors, PerVisitNeverUsesUpAComponent) {
  auto cart = test::small_cart();
  auto rates = some_rates();
  rates.per_visit = {{"left_wrong", 0.5}};
  for (const auto* name : {"K1/welded", "K1/coil_open"})
    cart.modes[static_cast<std::size_t>(test::mode(cart, name))].per_visit = "left_wrong";
  const auto k1 = static_cast<std::size_t>(cart.component("K1"));
  const auto parts = component_priors(cart, mode_priors(cart, rates, {}));
  EXPECT_DOUBLE_EQ(parts[k1], 0.5) << "1 becomes 1 / (1 + 1)";
}

TEST(Priors, EventsAndCuesAreLeftAlone) {
  const auto cart = test::small_cart();
  auto rates = some_rates();
  const auto before = mode_priors(cart, rates, {});
  rates.events["pinch"] = {"Pinch", Event::On::loom, 1, 1, 3, {{"open", 1.0}}, "test"};
  rates.cues["recent_work"] = {"Recent work", {{"contactor", 0.9}}, 0.1, "test"};
  EXPECT_EQ(mode_priors(cart, rates, {}), before);
}

double more_by_brute_force(const std::vector<double>& p, int most) {
  double sum = 0;
  for (unsigned set = 0; set < (1U << p.size()); ++set) {
    if (std::popcount(set) <= most) continue;
    double product = 1;
    for (std::size_t i = 0; i < p.size(); ++i) product *= ((set >> i) & 1U) != 0 ? p[i] : 1 - p[i];
    sum += product;
  }
  return sum;
}

TEST(Tail, AgreesWithEverySubsetCounted) {
  std::mt19937_64 random(3);
  std::uniform_real_distribution<double> decades(-6, 0);
  for (int round = 0; round < 30; ++round) {
    std::vector<double> p;
    for (int i = 0; i < 12; ++i) p.push_back(std::pow(10, decades(random)));
    for (int most = 0; most < 5; ++most) {
      const double expected = more_by_brute_force(p, most);
      EXPECT_NEAR(probability_of_more_than(p, most) / expected, 1, 1e-12) << most;
    }
  }
}

TEST(Tail, KeepsItsDigitsWhenItIsSmall) {
  // Equal probabilities: the tail's first term is C(20, 3) p^3 (1 - p)^17.
  const double p = 1e-8;
  const double expected = 1140 * p * p * p * (1 - 17 * p) + 4845 * p * p * p * p;
  EXPECT_NEAR(probability_of_more_than(std::vector<double>(20, p), 2) / expected, 1, 1e-12);
}

TEST(Tail, Limits) {
  EXPECT_EQ(probability_of_more_than({}, 0), 0);
  EXPECT_EQ(probability_of_more_than(std::vector<double>{1, 1, 1}, 2), 1);
  EXPECT_EQ(probability_of_more_than(std::vector<double>{1, 1, 1}, 3), 0);
  EXPECT_DOUBLE_EQ(probability_of_more_than(std::vector<double>{0.5, 0.5}, 0), 0.75);
}

}  // namespace
}  // namespace faultloom::rates
