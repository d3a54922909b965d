#include "unit/learning/simulated_jobs.hpp"

#include "unit/belief/bench.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <set>
#include <string>

// Whether the belief's chances are right over many jobs drawn from the model. The whole vehicle takes long;
// FAULTLOOM_CALIBRATION_JOBS=2000 runs that many on it.
namespace faultloom::test {
namespace {

rates::Rates plain_rates(const Bench& bench) {
  auto rates = bench.rates();
  rates.not_in_model = 0;  // what it looks like is drawn from nothing
  rates.events.clear();
  rates.per_visit.clear();
  return rates;
}

/// Signs, and lamp and beeper readings along the way from the pack to the contactor.
std::vector<readings::Entry> tests_on(Bench& bench) {
  std::vector<readings::Entry> tests;
  const auto run = bench.run_state();
  const auto& vehicle = bench.vehicle();
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    const auto& sign = vehicle.signs[s];
    const auto& part = vehicle.components[static_cast<std::size_t>(sign.component)].id;
    if (sign.id == "turns") tests.insert(tests.begin(), bench.sign(part, sign.id, run));
    if (sign.id == "click" || sign.id == "lit") tests.push_back(bench.sign(part, sign.id, run));
  }
  for (const auto* point : {"F1.out", "S1.in", "S1.out", "K1.coil_feed", "K1.main_in", "K1.line",
                            "K1.load", "K1.coil_return"})
    if (vehicle.terminal(point) != vehicle::none)
      tests.push_back(bench.reading("filament_lamp", point, "BAT1.negative", run));
  return tests;
}

/// Five of them, so that the same evidence comes again and again.
std::vector<readings::Entry> few_tests_on(Bench& bench) {
  const auto run = bench.run_state();
  std::vector<readings::Entry> tests{bench.sign("M1", "turns", run),
                                     bench.sign("K1", "click", run)};
  for (const auto* point : {"F1.out", "S1.out", "K1.coil_feed"})
    tests.push_back(bench.reading("filament_lamp", point, "BAT1.negative", run));
  return tests;
}

void report_scores(const char* name, const rates::Scores& scores, std::size_t weighed) {
  ::testing::Test::RecordProperty(std::string(name) + "_jobs", static_cast<int>(scores.jobs));
  ::testing::Test::RecordProperty(std::string(name) + "_weighed", static_cast<int>(weighed));
  ::testing::Test::RecordProperty(std::string(name) + "_calibration_error",
                                  std::to_string(scores.calibration_error));
  ::testing::Test::RecordProperty(std::string(name) + "_noise_floor",
                                  std::to_string(scores.noise_floor));
  ::testing::Test::RecordProperty(std::string(name) + "_excess_nat",
                                  std::to_string(scores.excess.mean));
  ::testing::Test::RecordProperty(std::string(name) + "_excess_error_nat",
                                  std::to_string(scores.excess.standard_error));
}

TEST(Calibration, AHundredThousandJobsOnACorner) {
  Bench bench("mulch-tug");
  std::set<Index> able;
  const auto& vehicle = bench.vehicle();
  const std::set<std::string> kinds{"fuse",      "key_switch", "contactor",
                                    "dash_lamp", "main_fuse",  "motor_permanent"};
  for (std::size_t c = 0; c < vehicle.components.size(); ++c)
    if (kinds.contains(vehicle.components[c].kind)) able.insert(static_cast<Index>(c));
  ASSERT_GE(able.size(), 5U);
  const auto rates = plain_rates(bench);
  const Corner corner(vehicle, bench.instruments(), rates, able, {});
  // Years without a look, so that two faults at once are common.
  SimulatedJobs jobs(corner, few_tests_on(bench), {4000, ""}, 42);
  const auto claims = jobs.claims(100000, 4, rates);
  const auto scores = rates::score(claims, 10);
  report_scores("corner", scores, jobs.weighed());
  EXPECT_EQ(scores.jobs, 100000U);
  EXPECT_LE(scores.calibration_error, 0.005);
  EXPECT_LT(std::abs(scores.excess.mean), 3 * scores.excess.standard_error);
  EXPECT_GT(scores.resolution, 0.1 * scores.uncertainty) << "the readings have to say something";

  // Rates that are three times too high for one kind and too low for another must show.
  auto wrong = rates;
  wrong.kinds["fuse"].gamma_shape *= 3;
  wrong.kinds["key_switch"].gamma_shape /= 3;
  SimulatedJobs again(corner, few_tests_on(bench), {4000, ""}, 42);
  const auto off = again.claims(20000, 4, wrong);
  const auto worse = rates::score(off, 10);
  EXPECT_GT(worse.excess.mean, 3 * worse.excess.standard_error);
  const std::vector<rates::Claim> first(claims.begin(),
                                        claims.begin() + static_cast<std::ptrdiff_t>(off.size()));
  const auto difference =
      rates::paired_difference(rates::job_losses(off), rates::job_losses(first));
  EXPECT_GT(difference.mean, 3 * difference.standard_error) << "job by job it shows";
}

TEST(Calibration, TheWholeVehicleIfAskedFor) {
  const char* asked = std::getenv("FAULTLOOM_CALIBRATION_JOBS");
  if (asked == nullptr) GTEST_SKIP() << "set FAULTLOOM_CALIBRATION_JOBS to a number of jobs";
  Bench bench("mulch-tug");
  auto rates = plain_rates(bench);
  rates.per_visit = bench.rates().per_visit;
  std::set<Index> all;
  for (std::size_t c = 0; c < bench.vehicle().components.size(); ++c)
    all.insert(static_cast<Index>(c));
  const Corner corner(bench.vehicle(), bench.instruments(), rates, all, {});
  SimulatedJobs jobs(corner, tests_on(bench), {1500, ""}, 43);
  const auto scores = rates::score(
      jobs.claims(static_cast<std::size_t>(std::strtoul(asked, nullptr, 10)), 6, rates), 10);
  report_scores("whole", scores, jobs.weighed());
  EXPECT_LE(scores.calibration_error, 0.005 + scores.noise_floor);
  EXPECT_LT(std::abs(scores.excess.mean), 4 * scores.excess.standard_error);
}

}  // namespace
}  // namespace faultloom::test
