#include "unit/trade/visit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>

/// Nothing is broken: a control stands where it should not, and whoever reads takes it for set right, so
/// that every entry says "run", "unplugged" or "forward". Common practice, no source: settings are checked
/// first because that costs seconds, and they are what is overlooked.
namespace faultloom::test {
namespace {

struct LeftWrong {
  std::string mode;
  /// A fault that opens the same switch. Where a control has one working position only, no reading tells a
  /// switch that was not operated from one that does not answer: a glance at the control does.
  std::string sibling;
  std::string live;  ///< last terminal with voltage
  std::string dead;  ///< first one without
};

const std::map<std::string, std::vector<LeftWrong>>& left_wrong() {
  static const std::map<std::string, std::vector<LeftWrong>> all{
      {"seedling-hauler",
       {{"service_switch/left_tow", "S1/open", "S1.line", "S1.run"},
        {"charge_plug/left_plugged", "S6/stuck_charging", "S6.a", "S6.b"},
        {"selector/left_neutral", "", "TI.stud", "TS.stud"}}},
      {"orchid-runner",
       {{"service_switch/left_tow", "S1/open", "S1.line", "S1.run"},
        {"charge_plug/left_plugged", "CH1/stuck_charging", "CH1.sense_in", "CH1.sense_out"},
        {"selector/left_neutral", "", "S3.common", "S3.no"}}},
      {"mulch-tug", {{"charge_plug/left_plugged", "S6/stuck_charging", "S6.a", "S6.b"}}}};
  return all;
}

void find(const std::string& vehicle, const LeftWrong& about) {
  Visit visit({vehicle, {about.mode}});
  visit.most_sets = few_sets;
  const auto run = visit.bench.run_state();
  const auto control = about.mode.substr(0, about.mode.find('/'));
  visit.try_to_drive();
  visit.read("meter", about.live, run);
  visit.read("meter", about.dead, run);
  visit.read("filament_lamp", about.dead, run);
  if (control == "selector") {
    // One micro switch for each direction: that both fail at once is far less likely than a lever that
    // stands between them.
    const auto reverse = visit.bench.run_state({{"selector", "reverse"}});
    const std::string other = vehicle == "orchid-runner" ? "S4.no" : about.dead;
    visit.notice("M1", "turns", reverse);
    visit.read("meter", other, reverse);
    visit.read("filament_lamp", other, reverse);
  }
  visit.think();
  auto group = std::vector<std::string>{about.mode};
  if (!about.sibling.empty()) group.push_back(about.sibling);
  expect_leads(visit, group);
  visit.look(control, readings::Outcome::damage);
  visit.think();
  expect_leads(visit, {about.mode});
  EXPECT_GT(visit.of_mode(about.mode), 0.9) << visit.shown();
}

TEST(Settings, LeftWrongLeads) {
  for (const auto& [vehicle, rows] : left_wrong())
    for (const auto& row : rows) find(vehicle, row);
}

// A glance that finds the setting right leaves what looks the same in the lead: of the two, the setting
// loses as much as such a glance is worth.
TEST(Settings, FoundRightIsCleared) {
  for (const auto& [vehicle, rows] : left_wrong())
    for (const auto& row : rows) {
      if (row.sibling.empty()) continue;
      Visit visit({vehicle, {row.sibling}});
      visit.most_sets = few_sets;
      visit.try_to_drive();
      for (const auto* instrument : {"meter", "filament_lamp"}) {
        visit.read(instrument, row.live, visit.bench.run_state());
        visit.read(instrument, row.dead, visit.bench.run_state());
      }
      visit.think();
      const double before = visit.of_mode(row.mode) / visit.of_mode(row.sibling);
      visit.check_settings();
      visit.think();
      const double after = visit.of_mode(row.mode) / visit.of_mode(row.sibling);
      EXPECT_EQ(visit.leading_mode(), row.sibling) << visit.shown();
      const auto& mode = visit.bench.vehicle().modes.at(
          static_cast<std::size_t>(visit.bench.modes({row.mode}).front()));
      const auto& setting =
          visit.bench.vehicle().components.at(static_cast<std::size_t>(mode.component));
      const double worth = (1 - mode.seen) / (1 - setting.look_false_alarm);
      // A little more or less: the search sees other pairs of faults each time.
      EXPECT_NEAR(after / before, worth, 0.1 * worth) << visit.shown();
    }
}

// Whoever put it right looked at it. If the vehicle stands still all the same, the setting is not what it
// is: it has far less than a new part that may be bad has, and what looks the same leads.
TEST(Settings, PutRightIsOutOfTheQuestion) {
  for (const auto& [vehicle, rows] : left_wrong())
    for (const auto& row : rows) {
      if (row.sibling.empty()) continue;
      Visit visit({vehicle, {row.sibling}});
      visit.most_sets = few_sets;
      const auto run = visit.bench.run_state();
      visit.try_to_drive();
      visit.read("meter", row.live, run);
      visit.read("meter", row.dead, run);
      visit.repair(row.mode.substr(0, row.mode.find('/')));
      visit.try_to_drive();
      visit.read("meter", row.dead, run);
      visit.read("filament_lamp", row.dead, run);
      visit.think();
      EXPECT_EQ(visit.leading_mode(), row.sibling) << visit.shown();
      EXPECT_LT(visit.of_mode(row.mode), 0.2) << visit.shown();
    }
}

TEST(Settings, EveryOneIsTried) {
  for (const auto& [vehicle, rows] : left_wrong()) {
    std::vector<std::string> tried;
    for (const auto& row : rows) tried.push_back(row.mode);
    std::sort(tried.begin(), tried.end());
    EXPECT_EQ(tried, modes_left_by(Bench(vehicle), "left_wrong")) << vehicle;
  }
}

}  // namespace
}  // namespace faultloom::test
