#include <faultloom/readings/forecast.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <span>
#include <vector>

namespace faultloom::readings {
namespace {

class Repeats : public testing::Test {
 protected:
  /// The click of the contactor, heard or not.
  [[nodiscard]] Entry click(Outcome outcome) const {
    Entry entry;
    entry.type = Entry::Type::sign;
    entry.sign = 0;
    entry.state = cart.run_state;
    entry.outcome = outcome;
    return entry;
  }

  vehicle::Vehicle cart = test::small_cart();
  InstrumentSet set = test::bench_instruments();
  circuit::Circuit circuit{cart};
  circuit::Solver solver{circuit};
  circuit::Overrides healthy;
};

TEST_F(Repeats, LeavingOutAnEntryIsAsIfItHadNeverBeen) {
  Forecast three(solver, set, {click(Outcome::yes), click(Outcome::no), click(Outcome::no)});
  Forecast two(solver, set, {click(Outcome::no), click(Outcome::no)});
  ASSERT_EQ(three.group_count(), 1U);
  std::vector<EntryProbability> of_three(3);
  std::vector<EntryProbability> of_two(2);
  three.evaluate(healthy, of_three);
  two.evaluate(healthy, of_two);
  EXPECT_DOUBLE_EQ(three.group_probability(0, of_three, 0), two.group_probability(0, of_two));
}

TEST_F(Repeats, SayingTheSameAgainCountsLessThanTwice) {
  Forecast once(solver, set, {click(Outcome::no)});
  Forecast twice(solver, set, {click(Outcome::no), click(Outcome::no)});
  std::vector<EntryProbability> of_once(1);
  std::vector<EntryProbability> of_twice(2);
  once.evaluate(healthy, of_once);
  twice.evaluate(healthy, of_twice);
  const double p = once.group_probability(0, of_once);
  const double both = twice.group_probability(0, of_twice);
  EXPECT_NEAR(both, 0.5 * p * p + 0.5 * p, 1e-15)
      << "half of the time the second is an echo of the first";
}

TEST_F(Repeats, AnotherVisitOrProvocationIsAnotherReading) {
  auto later = click(Outcome::no);
  later.visit = 1;
  auto wiggled = click(Outcome::no);
  wiggled.provocation = Entry::Provocation::wiggle;
  wiggled.provoked_zone = 0;
  auto elsewhere = wiggled;
  elsewhere.provoked_zone = 1;
  auto heated = wiggled;
  heated.provocation = Entry::Provocation::heat;
  const Forecast forecast(solver, set,
                          {click(Outcome::no), later, wiggled, elsewhere, heated, wiggled});
  EXPECT_EQ(forecast.group_count(), 5U);
  EXPECT_EQ(forecast.group(2), (std::vector<std::size_t>{2, 5}));
}

TEST_F(Repeats, TheSlipOfAVisitIsNotMadeAgainAtTheNext) {
  auto later = click(Outcome::no);
  later.visit = 1;
  Forecast forecast(solver, set, {click(Outcome::no), later});
  std::vector<EntryProbability> entries(2);
  forecast.evaluate(healthy, entries);
  EXPECT_DOUBLE_EQ(forecast.group_probability(0, entries) * forecast.group_probability(1, entries),
                   entries[0].total * entries[0].total);
}

TEST_F(Repeats, LooksAndCuesAreNotElectrical) {
  for (const auto type : {Entry::Type::look, Entry::Type::cue}) {
    Entry entry;
    entry.type = type;
    try {
      const Forecast forecast(solver, set, {entry});
      FAIL();
    } catch (const Error& error) {
      EXPECT_EQ(error.code(), Code::reading);
    }
  }
}

class RoughNumber : public Repeats {
 protected:
  /// The pack, read with a meter as `volt` give or take `tolerance`.
  [[nodiscard]] Entry pack(double volt, double tolerance) const {
    Entry entry;
    entry.instrument = set.find("meter");
    entry.red = cart.terminal("BAT1.positive");
    entry.black = cart.datum;
    entry.state = cart.rest_state();
    entry.outcome = Outcome::number;
    entry.number = volt;
    entry.tolerance = tolerance;
    return entry;
  }

  [[nodiscard]] EntryProbability of(const Entry& entry) {
    Forecast forecast(solver, set, {entry});
    std::vector<EntryProbability> out(1);
    forecast.evaluate(healthy, out);
    EXPECT_LE(out[0].total, forecast.group_ceiling(0) * (1 + 1e-12));
    return out[0];
  }
};

TEST_F(RoughNumber, FitsWhereAnExactOneDoesNot) {
  const auto exact = of(pack(40, 0));
  const auto rough = of(pack(40, 6));
  EXPECT_LT(exact.proper / exact.total, 0.5) << "50 V is five standard deviations away";
  EXPECT_GT(rough.proper / rough.total, 0.9);
  EXPECT_NEAR(
      rough.proper + rough.no_contact + rough.wrong_neighbour + rough.wrong_state + rough.gross,
      rough.total, 1e-15);
}

TEST_F(RoughNumber, SaysLittleWithoutContactEither) {
  EXPECT_GT(of(pack(3, 3)).no_contact, of(pack(3, 0)).no_contact);
}

/// The contactor pulls in while both controls are moved; a control that was left elsewhere moves nothing.
TEST_F(Repeats, AControlLeftElsewhereMakesNoChange) {
  const auto run = solver.stage(cart.run_state);
  const auto key_on = solver.stage({0, 1});
  const auto truth_with = [&](Index control, Index position, circuit::Stage stage) {
    const circuit::Setting setting{control, position};
    solver.begin(healthy, std::span(&setting, 1));
    return sign_truth(solver, 0, stage);
  };
  solver.begin(healthy);
  ASSERT_EQ(sign_truth(solver, 0, run), SignTruth::present) << "pressing the pedal clicks";
  const auto pedal = cart.control("pedal");
  const auto key = cart.control("key");
  EXPECT_EQ(truth_with(pedal, 1, run), SignTruth::absent) << "it had clicked with the key already";
  EXPECT_EQ(truth_with(pedal, 0, run), SignTruth::absent) << "it never pulls in";
  EXPECT_EQ(truth_with(key, 1, run), SignTruth::present) << "the pedal still makes the change";
  EXPECT_EQ(truth_with(pedal, 1, key_on), SignTruth::present)
      << "now the key makes it, as the pedal is down all the time";
  EXPECT_EQ(truth_with(key, 0, key_on), SignTruth::absent);
}

}  // namespace
}  // namespace faultloom::readings
