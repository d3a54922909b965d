#include <faultloom/readings/forecast.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

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

}  // namespace
}  // namespace faultloom::readings
