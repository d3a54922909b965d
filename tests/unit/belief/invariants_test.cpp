#include "unit/belief/bench.hpp"
#include "unit/belief/oracle.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

/// What must hold of a posterior whatever the evidence.
namespace faultloom::test {
namespace {

using belief::Posterior;
using readings::Entry;
using readings::Outcome;

/// Bit for bit, entries compared by id.
void expect_identical(const Posterior& a, const std::vector<Entry>& a_entries, const Posterior& b,
                      const std::vector<Entry>& b_entries) {
  EXPECT_EQ(a.no_fault, b.no_fault);
  EXPECT_EQ(a.not_in_model, b.not_in_model);
  EXPECT_EQ(a.bound, b.bound);
  EXPECT_EQ(a.log_evidence, b.log_evidence);
  EXPECT_EQ(a.conflict, b.conflict);
  EXPECT_EQ(a.sets, b.sets);
  EXPECT_EQ(a.modes, b.modes);
  EXPECT_EQ(a.components, b.components);
  EXPECT_EQ(a.wires, b.wires);
  EXPECT_EQ(a.faults, b.faults);
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
  belief::Belief fresh() const { return {bench.space(), bench.instruments(), bench.rates()}; }

  Invariants() { quick.search.most_sets = 400; }

  Bench bench{"mulch-tug"};
  belief::Options quick;
};

TEST_F(Invariants, OrderOfEntriesDoesNotMatter) {
  const auto given = evidence();
  auto first = fresh();
  const auto expected = first.posterior(given, quick);
  std::mt19937_64 random(3);
  for (int round = 0; round < 3; ++round) {
    auto shuffled = given;
    std::shuffle(shuffled.entries.begin(), shuffled.entries.end(), random);
    auto other = fresh();
    expect_identical(expected, given.entries, other.posterior(shuffled, quick), shuffled.entries);
  }
}

TEST_F(Invariants, WithdrawingGivesTheEarlierPosterior) {
  const auto all = evidence();
  auto warm = fresh();
  warm.posterior(all, quick);
  for (const std::size_t withdrawn :
       {std::size_t{2}, std::size_t{4}, std::size_t{6}, std::size_t{7}}) {
    auto fewer = all;
    fewer.entries.erase(fewer.entries.begin() + static_cast<std::ptrdiff_t>(withdrawn));
    auto cold = fresh();
    expect_identical(cold.posterior(fewer, quick), fewer.entries, warm.posterior(fewer, quick),
                     fewer.entries);
  }
  auto cold = fresh();
  expect_identical(cold.posterior(all, quick), all.entries, warm.posterior(all, quick),
                   all.entries);
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
  const auto expected = belief.posterior(before, quick);
  auto found = belief.posterior(after, quick);
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
  // With nothing left out it is exact; what the search leaves out may hang on it.
  auto rates = bench.rates();
  const Corner corner(bench.vehicle(), instruments, rates,
                      {bench.component("F1"), bench.component("S1"), bench.component("K1")},
                      {.intermittent = true});
  auto belief = corner.belief();
  belief::Options exact;
  exact.search.exhaustive = true;
  exact.weigh_entries = true;
  const auto a = belief.posterior(before, exact);
  const auto b = belief.posterior(after, exact);
  EXPECT_NEAR(a.no_fault, b.no_fault, 1e-12);
  EXPECT_NEAR(a.not_in_model, b.not_in_model, 1e-12);
  for (std::size_t m = 0; m < a.modes.size(); ++m) EXPECT_NEAR(a.modes[m], b.modes[m], 1e-12);
  EXPECT_NEAR(b.entries.back().predictive, b.entries.back().marginal, 1e-12);
  EXPECT_NEAR(b.entries.back().misreading, 1 - b.not_in_model, 1e-9);
  for (const double db : b.entries.back().decibans) EXPECT_NEAR(db, 0, 1e-6);
}

TEST_F(Invariants, ProbabilitiesSumToOne) {
  auto belief = fresh();
  for (const auto& given : {belief::Evidence{}, bench.job("compost-yard-dead-tug"), evidence()}) {
    const auto p = belief.posterior(given, quick);
    double sum = p.not_in_model;
    for (const auto& c : p.candidates) sum += c.probability;
    EXPECT_NEAR(sum, 1, 1e-9);
    EXPECT_EQ(std::count_if(p.candidates.begin(), p.candidates.end(),
                            [](const auto& c) { return c.candidate.faults.empty(); }),
              1);
    EXPECT_GE(p.bound, 0);
    EXPECT_LE(p.bound, 1);
    for (const double m : p.modes) EXPECT_LE(m, 1);
  }
}

// Every set of faults belongs to one kernel or to one branch left out: their priors make one.
TEST_F(Invariants, PriorIsSplitWithoutOverlap) {
  const auto given = evidence();
  auto belief = fresh();
  belief.posterior(given, quick);
  circuit::Solver solver(bench.circuit());
  belief::Predictions predictions(bench.space(), solver, bench.instruments(),
                                  bench.rates().intermittence);
  const belief::Looks looks(bench.space(), given.entries, bench.instruments().repeat_correlation);
  const belief::Prior prior(bench.space(), bench.rates(), given.exposure, looks, {});
  const belief::Observations observations(solver, bench.instruments(), given.entries);
  predictions.observe(observations);
  auto options = quick.search;
  belief::Search search(predictions, observations, prior, options, 0);
  const auto found = search.run({});
  EXPECT_LE(found.seen_mass, 1 + 1e-9);
  EXPECT_GE(found.seen_mass, 0.5);
  for (std::size_t v = 0; v < bench.space().variables().size(); ++v) {
    const auto variable = static_cast<std::int32_t>(v);
    for (std::size_t k = 0; k < prior.contexts(variable); ++k) {
      double sum = prior.good(variable, k);
      const auto& faults = bench.space().variables()[v];
      for (auto f = faults.first; f < faults.first + faults.count; ++f) sum += prior.of(f, k);
      EXPECT_NEAR(sum, 1, 1e-12);
    }
  }
}

}  // namespace
}  // namespace faultloom::test
