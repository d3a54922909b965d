#include "unit/belief/bench.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <numeric>
#include <random>

/// What must hold of a posterior whatever the evidence.
namespace faultloom::test {
namespace {

using belief::Posterior;
using readings::Entry;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// Bit for bit, entries compared by id.
void expect_identical(const Posterior& a, const std::vector<Entry>& a_entries, const Posterior& b,
                      const std::vector<Entry>& b_entries) {
  EXPECT_EQ(a.no_fault, b.no_fault);
  EXPECT_EQ(a.not_in_model, b.not_in_model);
  EXPECT_EQ(a.bound, b.bound);
  EXPECT_EQ(a.log_evidence, b.log_evidence);
  EXPECT_EQ(a.conflict, b.conflict);
  EXPECT_EQ(a.candidates_summed, b.candidates_summed);
  EXPECT_EQ(a.modes, b.modes);
  EXPECT_EQ(a.components, b.components);
  EXPECT_EQ(a.wires, b.wires);
  ASSERT_EQ(a.candidates.size(), b.candidates.size());
  for (std::size_t t = 0; t < a.candidates.size(); ++t) {
    EXPECT_EQ(a.candidates[t].candidate, b.candidates[t].candidate);
    EXPECT_EQ(a.candidates[t].probability, b.candidates[t].probability);
  }
  ASSERT_EQ(a.entries.size(), b.entries.size());
  for (std::size_t i = 0; i < a.entries.size(); ++i) {
    const auto same = std::find_if(b_entries.begin(), b_entries.end(),
                                   [&](const Entry& e) { return e.id == a_entries[i].id; });
    ASSERT_NE(same, b_entries.end());
    const auto& other = b.entries[static_cast<std::size_t>(same - b_entries.begin())];
    EXPECT_EQ(a.entries[i].used, other.used);
    EXPECT_EQ(a.entries[i].misreading, other.misreading);
    EXPECT_EQ(a.entries[i].predictive, other.predictive);
    EXPECT_EQ(a.entries[i].marginal, other.marginal);
    EXPECT_EQ(a.entries[i].decibans, other.decibans);
  }
}

class Invariants : public testing::Test {
 protected:
  /// The demonstration job with looks, a repeat and a few more readings.
  belief::Evidence evidence() {
    auto result = bench.job("compost-yard-dead-tug");
    const auto truth = bench.modes({"W2/open"});
    auto& list = result.entries;
    list.push_back(list[4]);
    list.back().id = "again";
    list.push_back(bench.answered(
        bench.reading("low_impedance_meter", "TK.stud", "BN.stud", bench.run_state()), truth));
    list.push_back(bench.look("W2", Outcome::damage));
    list.push_back(bench.look("W2", Outcome::clean));
    list.push_back(bench.look("F1", Outcome::clean));
    return result;
  }
  belief::Belief fresh() const { return {bench.candidates(), bench.instruments(), bench.rates()}; }

  Bench bench{"mulch-tug"};
};

TEST_F(Invariants, OrderOfEntriesDoesNotMatter) {
  const auto given = evidence();
  auto first = fresh();
  const auto expected = first.posterior(given);
  std::mt19937_64 random(3);
  for (int round = 0; round < 3; ++round) {
    auto shuffled = given;
    std::shuffle(shuffled.entries.begin(), shuffled.entries.end(), random);
    auto other = fresh();
    expect_identical(expected, given.entries, other.posterior(shuffled), shuffled.entries);
  }
}

TEST_F(Invariants, WithdrawingGivesTheEarlierPosterior) {
  const auto all = evidence();
  auto warm = fresh();
  warm.posterior(all);
  for (const std::size_t withdrawn :
       {std::size_t{2}, std::size_t{4}, std::size_t{6}, std::size_t{7}}) {
    auto fewer = all;
    fewer.entries.erase(fewer.entries.begin() + static_cast<std::ptrdiff_t>(withdrawn));
    auto cold = fresh();
    expect_identical(cold.posterior(fewer), fewer.entries, warm.posterior(fewer), fewer.entries);
  }
  auto cold = fresh();
  expect_identical(cold.posterior(all), all.entries, warm.posterior(all), all.entries);
}

TEST_F(Invariants, NotSureChangesNothing) {
  const auto before = evidence();
  auto after = before;
  for (const auto outcome : {Outcome::not_sure, Outcome::cannot_reach}) {
    after.entries.push_back(bench.reading("meter", "S1.out", "BAT1.negative", bench.run_state()));
    after.entries.back().outcome = outcome;
    after.entries.push_back(bench.look("K1", outcome));
  }
  auto belief = fresh();
  const auto expected = belief.posterior(before);
  auto found = belief.posterior(after);
  for (std::size_t i = before.entries.size(); i < found.entries.size(); ++i) {
    EXPECT_FALSE(found.entries[i].used);
    EXPECT_EQ(found.entries[i].predictive, 1);
  }
  found.entries.resize(before.entries.size());
  expect_identical(expected, before.entries, found, before.entries);
}

// A meter with a broken lead shows the same whatever is wrong with the vehicle.
TEST_F(Invariants, AnEntryEquallyLikelyUnderEverythingChangesNothing) {
  auto instruments = bench.instruments();
  auto broken = instruments.instruments[static_cast<std::size_t>(instruments.find("meter"))];
  broken.id = "broken";
  broken.errors = {.no_contact = 1};
  instruments.instruments.push_back(broken);
  const auto before = evidence();
  auto after = before;
  after.entries.push_back(bench.reading("meter", "S1.out", "BAT1.negative", bench.run_state()));
  after.entries.back().instrument = static_cast<int>(instruments.instruments.size()) - 1;
  after.entries.back().outcome = Outcome::number;
  belief::Belief belief(bench.candidates(), instruments, bench.rates());
  const auto a = belief.posterior(before);
  const auto b = belief.posterior(after);
  EXPECT_NEAR(a.no_fault, b.no_fault, 1e-13);
  EXPECT_NEAR(a.not_in_model, b.not_in_model, 1e-13);
  EXPECT_EQ(a.candidates_summed, b.candidates_summed);
  for (std::size_t m = 0; m < a.modes.size(); ++m) EXPECT_NEAR(a.modes[m], b.modes[m], 1e-13);
  EXPECT_NEAR(b.entries.back().predictive, b.entries.back().marginal, 1e-12);
  EXPECT_NEAR(b.entries.back().misreading, 1 - b.not_in_model, 1e-12);
  for (const double db : b.entries.back().decibans) EXPECT_NEAR(db, 0, 1e-9);
}

TEST_F(Invariants, ProbabilitiesSumToOne) {
  auto belief = fresh();
  for (const auto& given : {belief::Evidence{}, bench.job("compost-yard-dead-tug"), evidence()})
    for (const bool pairs : {true, false}) {
      belief::Options options;
      options.pairs = pairs;
      const auto p = belief.posterior(given, options);
      double sum = p.not_in_model;
      for (const auto& c : p.candidates) sum += c.probability;
      EXPECT_NEAR(sum, 1, 1e-12);
      EXPECT_EQ(std::count_if(p.candidates.begin(), p.candidates.end(),
                              [](const auto& c) { return c.candidate.a < 0 && c.probability > 0; }),
                1);
      EXPECT_GE(p.bound, 0);
      EXPECT_LE(p.bound, 1);
    }
}

/// Every set of modes of different components, whatever its size, by its definition.
class AllSets {
 public:
  AllSets(const Bench& bench, const belief::Evidence& evidence, const rates::Rates& rates)
      : bench_(bench),
        solver_(bench.circuit()),
        forecast_(solver_, bench.instruments(), evidence.entries),
        probabilities_(evidence.entries.size()),
        priors_(rates::mode_priors(bench.vehicle(), rates, evidence.exposure)),
        failed_(rates::component_priors(bench.vehicle(), priors_)) {
    visit(0, 1);
  }
  /// Weight of the sets of each size, relative to the model being right.
  std::array<double, 16> by_size{};

 private:
  void visit(std::size_t component, double weight) {
    const auto& components = bench_.vehicle().components;
    if (component == components.size()) {
      const auto overrides = circuit::overrides_of(bench_.circuit(), modes_);
      forecast_.evaluate(overrides, probabilities_);
      for (std::size_t g = 0; g < forecast_.group_count(); ++g)
        weight *= forecast_.group_probability(g, probabilities_);
      by_size.at(modes_.size()) += weight;
      return;
    }
    visit(component + 1, weight * (1 - failed_[component]));
    for (const auto m : components[component].modes) {
      if (priors_[at(m)] == 0) continue;
      modes_.push_back(m);
      visit(component + 1, weight * priors_[at(m)]);
      modes_.pop_back();
    }
  }

  const Bench& bench_;
  circuit::Solver solver_;
  readings::Forecast forecast_;
  std::vector<readings::EntryProbability> probabilities_;
  std::vector<double> priors_;
  std::vector<double> failed_;
  std::vector<Index> modes_;
};

// Old, neglected vehicles: three or more faults are far from rare here.
TEST_F(Invariants, BoundCoversWhatLiesOutside) {
  auto rates = only(bench.rates(), {"fuse", "main_fuse", "key_switch", "reed_interlock",
                                    "tiller_switch", "buzzer"});
  for (const double hours : {200.0, 5000.0, 40000.0}) {
    auto given = bench.job("compost-yard-dead-tug");
    given.exposure.hours = hours;
    for (const std::size_t entries : {std::size_t{0}, std::size_t{2}, given.entries.size()}) {
      auto some = given;
      some.entries.resize(entries);
      const AllSets all(bench, some, rates);
      for (const bool pairs : {true, false})
        for (const double prune : {0.0, 1e-10, 1e-2}) {
          belief::Belief belief(bench.candidates(), bench.instruments(), rates);
          belief::Options options;
          options.pairs = pairs;
          options.prune = prune;
          const auto posterior = belief.posterior(some, options);
          const std::size_t within = pairs ? 3 : 2;
          const double inside = std::accumulate(
              all.by_size.begin(), all.by_size.begin() + static_cast<int>(within), 0.0);
          const double whole = std::accumulate(all.by_size.begin(), all.by_size.end(), 0.0);
          // not_in_model is a share of the summed mass: summed = in-model part / (1 - share).
          const double not_in_model =
              inside * posterior.not_in_model / (1 - posterior.not_in_model);
          const double outside = (whole - inside) / (whole + not_in_model);
          EXPECT_GE(posterior.bound, outside * (1 - 1e-9))
              << hours << " h, " << entries << " entries";
        }
    }
  }
}

}  // namespace
}  // namespace faultloom::test
