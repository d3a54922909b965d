#include <faultloom/advice/repair_order.hpp>
#include <faultloom/advice/scan.hpp>
#include <faultloom/belief/belief.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

/// Published examples, put to the library's own functions.
namespace faultloom::test {
namespace {

using advice::Hypothesis;
using advice::Trial;

Hypothesis hypothesis(double weight, std::vector<vehicle::Index> components = {}) {
  Hypothesis h;
  h.weight = weight;
  h.components = std::move(components);
  return h;
}

double bits(double nat) { return nat / std::log(2.0); }

// General Report on Tunny (1945), p. 39: a penny is either double-headed, 1 in 10^4 beforehand, or fair.
// Twenty heads in a row, 3 decibans each, are 60 decibans for the first; the report rounds the odds to
// 100 to 1 on. Exactly 2^20 / 10^4 = 104.8576.
// The penny is a part whose damage is seen twice as often as imagined, and a head is "damage".
TEST(Published, TwentyHeads) {
  auto cart = small_cart();
  const auto penny = static_cast<std::size_t>(cart.component("S1"));
  cart.components[penny].kind = "penny";
  cart.components[penny].look_false_alarm = 0.45;
  ASSERT_EQ(cart.components[penny].modes.size(), 1U);
  cart.modes[static_cast<std::size_t>(cart.components[penny].modes[0])].seen = 0.9;
  auto instruments = bench_instruments();
  instruments.repeat_correlation = 0;  // every toss is a fresh one
  rates::Rates rates;
  rates.not_in_model = 0;
  // 1 - exp(-rate hours / 10^6) = p with p / (1 - p) = 10^-4.
  rates.kinds["penny"] = {std::log1p(1e-4), 1, {{"stuck_open", 1.0}}, "test"};
  const rates::Exposure exposure{1e6, ""};

  const circuit::Circuit circuit(cart);
  const belief::FaultSpace space(circuit);
  belief::Belief belief(space, instruments, rates);
  belief::Evidence evidence;
  evidence.exposure = exposure;
  const auto odds = [&] {
    const double p = belief.posterior(evidence).components[penny];
    return p / (1 - p);
  };
  EXPECT_NEAR(odds(), 1e-4, 1e-15);
  readings::Entry head;
  head.type = readings::Entry::Type::look;
  head.component = static_cast<vehicle::Index>(penny);
  head.outcome = readings::Outcome::damage;
  for (int toss = 0; toss < 20; ++toss) {
    head.id = std::to_string(toss);
    evidence.entries.push_back(head);
  }
  EXPECT_NEAR(odds(), 104.8576, 1e-7);
  EXPECT_NEAR(10 * std::log10(odds()), 20.206, 5e-4);
  double gained = 0;
  belief::Options weighed;
  weighed.weigh_entries = true;
  for (const auto& entry : belief.posterior(evidence, weighed).entries) {
    EXPECT_NEAR(entry.decibans[penny], 3.0103, 5e-5);
    gained += entry.decibans[penny];
  }
  EXPECT_NEAR(gained, 60.206, 5e-4);
}

/// A trial that shows plainly on which side of a split each hypothesis lies.
Trial split(const std::vector<bool>& left) {
  Trial trial;
  trial.outcomes = 2;
  trial.rows = {{1, 0}, {0, 1}};
  for (const bool l : left) trial.codes.push_back(l ? 0 : 1);
  return trial;
}

/// Mean number of probes until one of `n` equally likely places is left, choosing by information.
double mean_probes(std::size_t n) {
  if (n == 1) return 0;
  const std::vector<Hypothesis> places(n, hypothesis(1.0 / static_cast<double>(n)));
  const std::vector<double> costs(n, 0.0);
  std::size_t best = 0;
  double most = -1;
  for (std::size_t cut = 1; cut < n; ++cut) {
    std::vector<bool> left(n, false);
    std::fill_n(left.begin(), cut, true);
    const auto score = advice::score(split(left), places, costs, advice::entropy_nat(places));
    EXPECT_NEAR(score.information_nat + score.entropy_nat, std::log(static_cast<double>(n)), 1e-12);
    if (score.information_nat > most + 1e-12) {
      most = score.information_nat;
      best = cut;
    }
  }
  const double share = static_cast<double>(best) / static_cast<double>(n);
  return 1 + share * mean_probes(best) + (1 - share) * mean_probes(n - best);
}

// Half-split: check at or next to the midpoint of the brackets (US Army Subcourse IT0338, edition A, 1996,
// "Introduction to Logical Troubleshooting", frames 9 and 10). Ten lamps in series, one of them open, is
// the example of notatek.pl, "Strategia pomiarowa"; 3.4 is the mean of its tree, six lamps found by three
// readings and four by four. The entropy bounds it from below: H <= L < H + 1 (textbook, from memory).
TEST(Published, TenLampsInSeries) {
  EXPECT_NEAR(mean_probes(10), 3.4, 1e-12);
  EXPECT_NEAR(mean_probes(8), 3.0, 1e-12);
  for (std::size_t n = 2; n <= 20; ++n) {
    const double entropy = std::log2(static_cast<double>(n));
    EXPECT_GE(mean_probes(n), entropy - 1e-12);
    EXPECT_LT(mean_probes(n), entropy + 1);
  }
  EXPECT_NEAR(std::log2(10.0), 3.3219, 5e-5);
}

// Places in a chain that are not equally likely: a cut is worth most where it halves the probability, not
// the length. Worked out for these weights: 1.7219 bits in all.
TEST(Published, HalfSplitHalvesProbability) {
  std::vector<Hypothesis> places;
  for (const double p : {0.1, 0.4, 0.1, 0.4}) places.push_back(hypothesis(p));
  const std::vector<double> costs(4, 0.0);
  const auto cut = [&](std::size_t n) {
    std::vector<bool> left(4, false);
    std::fill_n(left.begin(), n, true);
    return advice::score(split(left), places, costs, advice::entropy_nat(places));
  };
  EXPECT_NEAR(bits(cut(2).information_nat), 1, 1e-12);
  EXPECT_GT(cut(2).information_nat, cut(1).information_nat);
  EXPECT_GT(cut(2).information_nat, cut(3).information_nat);
  EXPECT_NEAR(bits(cut(2).information_nat + cut(2).entropy_nat), 1.721928, 5e-7);
}

/// Four inverters in a row, A to D, from input a to output e. A failed one puts out 0 or 1, evenly.
class Inverters {
 public:
  /// Hypotheses given the input and, if wanted, the output seen.
  explicit Inverters(int input, int output = -1) : input_(input), output_(output) {
    double sum = 0;
    for (unsigned failed = 0; failed < 16; ++failed) {
      double weight = 1;
      for (unsigned i = 0; i < 4; ++i) weight *= (failed >> i & 1U) != 0 ? 0.01 : 0.99;
      if (output >= 0) weight *= chance(failed, 4, output);
      sets.push_back(hypothesis(weight));
      sum += weight;
    }
    for (auto& h : sets) h.weight /= sum;
    evidence = sum;
  }
  /// Entropy left after looking at point 1 (b) to 4 (e) [bit].
  double after(unsigned point) const {
    Trial trial;
    trial.outcomes = 2;
    for (unsigned failed = 0; failed < 16; ++failed) {
      double one = chance(failed, point, 1);
      if (output_ >= 0) {
        const double seen = chance(failed, 4, output_);
        one = seen > 0 ? joint(failed, point) / seen : 0.5;
      }
      trial.rows.push_back({1 - one, one});
      trial.codes.push_back(static_cast<std::int32_t>(failed));
    }
    return bits(advice::score(trial, sets, std::vector<double>(16, 0.0), advice::entropy_nat(sets))
                    .entropy_nat);
  }
  double entropy() const {
    double sum = 0;
    for (const auto& h : sets)
      if (h.weight > 0) sum -= h.weight * std::log2(h.weight);
    return sum;
  }

  std::vector<Hypothesis> sets;
  double evidence = 0;

 private:
  /// P(the point has this value | which have failed), starting from a value at an earlier point.
  static double chain(unsigned failed, unsigned from, int value, unsigned to, int wanted) {
    if (from == to) return value == wanted ? 1 : 0;
    if ((failed >> from & 1U) == 0) return chain(failed, from + 1, 1 - value, to, wanted);
    return 0.5 * (chain(failed, from + 1, 0, to, wanted) + chain(failed, from + 1, 1, to, wanted));
  }
  double chance(unsigned failed, unsigned point, int value) const {
    return chain(failed, 0, input_, point, value);
  }
  /// P(1 at the point and the output as seen | which have failed).
  double joint(unsigned failed, unsigned point) const {
    return chance(failed, point, 1) * chain(failed, point, 1, 4, output_);
  }

  int input_;
  int output_;
};

// Cascaded inverters after de Kleer and Williams, "Diagnosing multiple faults", Artificial Intelligence 32
// (1987). The set-up is from memory; the figures are worked out for it (each fails with 1 %), not quoted.
TEST(Published, CascadedInverters) {
  const Inverters nothing_seen(1);
  EXPECT_NEAR(nothing_seen.entropy(), 0.323173, 5e-7);
  EXPECT_NEAR(nothing_seen.after(1), 0.287758, 5e-7);
  EXPECT_NEAR(nothing_seen.after(2), 0.262611, 5e-7);
  EXPECT_NEAR(nothing_seen.after(3), 0.241416, 5e-7);
  EXPECT_NEAR(nothing_seen.after(4), 0.222812, 5e-7);  // the far end tells most

  const Inverters wrong_output(1, 0);
  EXPECT_NEAR(wrong_output.evidence, 0.019702, 5e-7);
  EXPECT_NEAR(wrong_output.entropy(), 2.122114, 5e-7);
  for (const std::size_t single : {1U, 2U, 4U, 8U})
    EXPECT_NEAR(wrong_output.sets[single].weight, 0.246244, 5e-7);
  EXPECT_NEAR(wrong_output.after(1), 1.318353, 5e-7);
  EXPECT_NEAR(wrong_output.after(2), 1.132164, 5e-7);  // half-split
  EXPECT_NEAR(wrong_output.after(3), 1.318353, 5e-7);

  const Inverters right_output(1, 1);
  EXPECT_NEAR(right_output.sets[0].weight, 0.979902, 5e-7);
  EXPECT_NEAR(right_output.sets[4].weight, 0.004949, 5e-7);
}

// One fault, independent actions: the order of probability over cost is best. The rule is credited to
// Kadane and Simon (1977) by Ottosen and Jensen, "The Cost of Troubleshooting Cost Clusters with Inside
// Information" (2010). The example is worked out: of the six orders two tie at 9.8, the others cost 10.6
// to 12.6.
TEST(Published, ProbabilityOverCost) {
  auto cart = small_cart();
  const std::array<std::string, 3> names{"BAT1", "S1", "K1"};
  const std::array<double, 3> probability{0.5, 0.3, 0.2};
  const std::array<double, 3> cost{10, 2, 4};
  advice::Prices prices;
  prices.labour_usd_per_hour = 60;
  prices.verify_minutes = 0;
  std::vector<Hypothesis> hypotheses;
  std::vector<double> weights;
  for (std::size_t i = 0; i < names.size(); ++i) {
    const auto component = cart.component(names[i]);
    auto& repair = cart.components[static_cast<std::size_t>(component)].repair;
    repair.minutes = cost[i];
    repair.price_usd = 0;
    hypotheses.push_back(hypothesis(probability[i], {component}));
    weights.push_back(probability[i]);
  }
  const advice::RepairCosts costs(cart, prices);
  const auto order = advice::repair_order(hypotheses, weights, costs, {true, true});
  EXPECT_NEAR(order.expected_usd, 9.8, 1e-12);
  ASSERT_EQ(order.components.size(), 3U);
  EXPECT_EQ(order.components.front(), cart.component("S1"));

  // No order is cheaper.
  std::array<std::size_t, 3> permutation{0, 1, 2};
  std::vector<double> all;
  do {
    double spent = 0;
    double expected = 0;
    for (const auto i : permutation) {
      spent += cost[i];
      expected += probability[i] * spent;
    }
    all.push_back(expected);
  } while (std::next_permutation(permutation.begin(), permutation.end()));
  std::sort(all.begin(), all.end());
  EXPECT_NEAR(all[0], 9.8, 1e-12);
  EXPECT_NEAR(all[1], 9.8, 1e-12);
  EXPECT_NEAR(all[2], 10.6, 1e-12);
  EXPECT_NEAR(all.back(), 12.6, 1e-12);
}

}  // namespace
}  // namespace faultloom::test
