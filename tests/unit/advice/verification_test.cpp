#include <faultloom/advice/verification.hpp>

#include <gtest/gtest.h>

#include <algorithm>

#include "unit/belief/bench.hpp"

/// What has to be proved after a repair, on the shipped vehicles.
namespace faultloom::test {
namespace {

using advice::Check;
using readings::Entry;
using readings::Outcome;
using Type = Check::Type;
using Result = Check::Result;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

class Repaired {
 public:
  Repaired(const std::string& vehicle, const std::string& component)
      : bench(vehicle), solver(bench.circuit()), component_(bench.component(component)) {
    repair();
  }

  void repair() {
    Entry e;
    e.type = Entry::Type::repair;
    e.component = component_;
    e.epoch = ++epoch_;
    entries.push_back(e);
  }

  /// Notes an entry made now, with what the vehicle shows with these faults.
  void note(Entry entry, const std::vector<std::string>& truth = {}) {
    entry = bench.answered(std::move(entry), bench.modes(truth));
    entry.epoch = epoch_;
    entries.push_back(std::move(entry));
  }

  std::vector<Check> checks() { return advice::checks_due(solver, bench.instruments(), entries); }

  Entry entry_for(const Check& check) {
    const auto& v = bench.vehicle();
    if (check.type == Type::drop)
      return bench.reading("meter", v.terminals[at(check.red)].name,
                           v.terminals[at(check.black)].name, check.state);
    const auto& sign = v.signs[at(check.sign)];
    return bench.sign(v.components[at(sign.component)].id, sign.id, check.state);
  }

  Bench bench;
  circuit::Solver solver;
  std::vector<Entry> entries;

 private:
  Index component_;
  int epoch_ = 0;
};

std::size_t count(const std::vector<Check>& checks, Type type) {
  return static_cast<std::size_t>(
      std::count_if(checks.begin(), checks.end(), [&](const Check& c) { return c.type == type; }));
}

// Both ways, the charge plug and more, and the drop along the wire, which carries the coil's current.
TEST(Verification, AsksForDrivingInterlocksAndTheDrop) {
  for (const auto& [vehicle, wire] :
       {std::pair{"seedling-hauler", "W21"}, std::pair{"orchid-runner", "W12"},
        std::pair{"mulch-tug", "W7"}}) {
    Repaired job(vehicle, wire);
    const auto checks = job.checks();
    EXPECT_GE(count(checks, Type::drives), 2U) << vehicle;
    EXPECT_GE(count(checks, Type::interlock), 3U) << vehicle;
    ASSERT_EQ(count(checks, Type::drop), 1U) << vehicle;
    EXPECT_EQ(advice::overall(checks), Result::open);
    const auto plug = job.bench.vehicle().control("charge_plug");
    EXPECT_TRUE(std::any_of(checks.begin(), checks.end(), [&](const Check& c) {
      return c.type == Type::interlock && c.control == plug;
    })) << vehicle;
    for (const auto& check : checks) {
      EXPECT_EQ(check.result, Result::open);
      if (check.type != Type::drop) continue;
      EXPECT_LT(check.expected_volt, 0.05);
      EXPECT_GE(check.limit_volt, 0.05);
      EXPECT_NE(check.red, check.black);
    }
  }
}

TEST(Verification, ASoundVehiclePassesEveryCheck) {
  for (const auto* vehicle : {"seedling-hauler", "orchid-runner", "mulch-tug"}) {
    const auto wires = Bench(vehicle).vehicle().wires;
    for (std::size_t w = 0; w < wires.size(); w += 5) {
      const Bench bench(vehicle);
      Repaired job(vehicle, bench.vehicle().components[at(wires[w].component)].id);
      for (const auto& check : job.checks()) job.note(job.entry_for(check));
      const auto checks = job.checks();
      EXPECT_EQ(advice::overall(checks), Result::passed) << vehicle << " wire " << w;
      for (const auto& check : checks) EXPECT_TRUE(check.entry.has_value());
    }
  }
}

// The splice has resistance left: it drives, and only the drop under load tells.
TEST(Verification, ABadSpliceFailsUnderLoadOnly) {
  Repaired job("seedling-hauler", "W21");
  const auto due = job.checks();
  const std::vector<std::string> truth{"W21/resistive"};
  for (const auto& check : due) job.note(job.entry_for(check), truth);
  for (const auto& check : job.checks())
    if (check.type == Type::drop) {
      EXPECT_EQ(check.result, Result::failed);
      ASSERT_TRUE(check.after_volt.has_value());
      EXPECT_GT(*check.after_volt, check.limit_volt);
    }
  EXPECT_EQ(advice::overall(job.checks()), Result::failed);
}

TEST(Verification, ABypassedInterlockFails) {
  Repaired job("seedling-hauler", "W21");
  for (const auto& check : job.checks()) job.note(job.entry_for(check), {"S6:work/bypassed"});
  bool failed = false;
  for (const auto& check : job.checks())
    failed = failed || (check.type == Type::interlock && check.result == Result::failed);
  EXPECT_TRUE(failed);
}

// Another repair: everything has to be proved again; figures from before it stay to be compared with.
TEST(Verification, AnotherRepairAsksForAllOfItAgain) {
  Repaired job("seedling-hauler", "W21");
  for (const auto& check : job.checks()) job.note(job.entry_for(check));
  ASSERT_EQ(advice::overall(job.checks()), Result::passed);
  job.repair();
  for (const auto& check : job.checks()) {
    EXPECT_EQ(check.result, Result::open);
    if (check.type == Type::drop) {
      EXPECT_TRUE(check.before_volt.has_value());
      EXPECT_FALSE(check.after_volt.has_value());
    }
  }
}

// One good try in three proves nothing.
TEST(Verification, OfSeveralTriesABadOneCounts) {
  Repaired job("mulch-tug", "W7");
  const auto due = job.checks();
  const auto& drives = due.front();
  ASSERT_EQ(drives.type, Type::drives);
  auto e = job.entry_for(drives);
  e.epoch = 1;
  for (const auto& [id, outcome] : {std::pair{"e1", Outcome::yes}, std::pair{"e1#2", Outcome::no},
                                    std::pair{"e1#3", Outcome::yes}}) {
    e.id = id;
    e.outcome = outcome;
    job.entries.push_back(e);
  }
  EXPECT_EQ(job.checks().front().result, Result::failed);
  // Said again later on its own, it counts.
  e.id = "e2";
  e.outcome = Outcome::yes;
  job.entries.push_back(e);
  EXPECT_EQ(job.checks().front().result, Result::passed);
}

// Nothing was repaired: it still has to drive, and to be stopped, before "no fault found" is said.
TEST(Verification, WithoutARepairNoDropIsDue) {
  Bench bench("mulch-tug");
  circuit::Solver solver(bench.circuit());
  const auto checks = advice::checks_due(solver, bench.instruments(), {});
  EXPECT_GE(count(checks, Type::drives), 2U);
  EXPECT_EQ(count(checks, Type::drop), 0U);
}

}  // namespace
}  // namespace faultloom::test
