#include "unit/trade/visit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>

/// A bridge that somebody left across a switch to get a vehicle home. It does not stop the vehicle, so it
/// is found by trying what the switch should prevent: one control at a time is put where the switch
/// should be open, and whatever still works there is noted. Then the voltage behind the switch is read
/// with a low-impedance meter, which no damp film can feign. Common practice, no source.
namespace faultloom::test {
namespace {

struct Bypass {
  std::string part;
  /// The switch itself stuck the same way. It closes as the bridge does, through a few hundredths of an
  /// ohm, so no reading on the outside of the switch tells the two apart; a look at it does.
  std::string sibling;
  Positions state;      ///< the switch should be open, so that nothing happens
  std::string noticed;  ///< part with the sign that tells otherwise
  std::string sign;
  std::string behind;       ///< terminal that should be dead
  std::string lifted = {};  ///< wire whose removal shows that it is this switch that feeds `fed`
  std::string fed = {};
};

const Positions unplugged_and_on{{"service_switch", "run"}, {"key", "on"}};

Positions and_also(Positions positions, const Positions& more) {
  positions.insert(positions.end(), more.begin(), more.end());
  return positions;
}

const std::map<std::string, std::vector<Bypass>>& bypasses() {
  static const std::map<std::string, std::vector<Bypass>> all{
      {"seedling-hauler",
       {// The dash comes alive in tow.
        {"S1", "stuck_run", {{"key", "on"}}, "H1", "lit", "S1.run"},
        // It clicks with the key off. The dash alone would not do: a repinned plug lights that as well.
        {"S2",
         "stuck_on",
         {{"service_switch", "run"}, {"selector", "forward"}, {"pedal", "pressed"}},
         "K1",
         "click",
         "S2.out"},
        // It clicks in neutral. Both direction switches feed one stud; with the wire of the bridged one off
        // the stud is dead.
        {"S3", "stuck_operated", and_also(unplugged_and_on, {{"pedal", "pressed"}}), "K1", "click",
         "TS.stud", "W14:from", "TS.stud"},
        {"S4", "stuck_operated", and_also(unplugged_and_on, {{"pedal", "pressed"}}), "K1", "click",
         "TS.stud", "W15:from", "TS.stud"},
        // The reverse alarm sounds in forward.
        {"S7", "stuck_operated", and_also(unplugged_and_on, {{"selector", "forward"}}), "BZ1",
         "sounds", "S7.no"},
        // It clicks at the selector already, the foot off the pedal.
        {"S5", "stuck_operated", and_also(unplugged_and_on, {{"selector", "forward"}}), "K1",
         "click", "S5.no"},
        // It clicks with the charger plugged in.
        {"S6", "stuck_free",
         and_also(unplugged_and_on,
                  {{"charge_plug", "plugged"}, {"selector", "forward"}, {"pedal", "pressed"}}),
         "K1", "click", "S6.b"}}},
      {"orchid-runner",
       {{"S1", "stuck_run", {{"key", "on"}}, "H1", "lit", "S1.run"},
        {"S2",
         "stuck_on",
         {{"service_switch", "run"}, {"selector", "forward"}, {"pedal", "pressed"}},
         "M1",
         "turns",
         "S2.out"},
        // It drives in neutral.
        {"S3", "stuck_operated", and_also(unplugged_and_on, {{"pedal", "pressed"}}), "M1", "turns",
         "S3.no"},
        {"S4", "stuck_operated", and_also(unplugged_and_on, {{"pedal", "pressed"}}), "BZ1",
         "sounds", "S4.no"},
        {"S5", "stuck_operated", and_also(unplugged_and_on, {{"selector", "forward"}}), "K1",
         "click", "S5.no"},
        {"CH1", "stuck_free",
         and_also(unplugged_and_on,
                  {{"charge_plug", "plugged"}, {"selector", "forward"}, {"pedal", "pressed"}}),
         "M1", "turns", "CH1.sense_out"}}},
      {"mulch-tug",
       {{"S1", "stuck_on", {}, "H1", "lit", "S1.out"},
        // It drives with the tiller upright, where the brake should hold it.
        {"S2", "stuck_operated", {{"key", "on"}, {"butterfly", "forward"}}, "M1", "turns", "S2.no"},
        // The input of a direction is live with the butterfly released.
        {"S3", "stuck_operated", {{"key", "on"}, {"tiller", "lowered"}}, "M1", "turns", "S3.no"},
        {"S4", "stuck_operated", {{"key", "on"}, {"tiller", "lowered"}}, "BZ1", "sounds", "S4.no"},
        {"S6", "stuck_free", {{"charge_plug", "plugged"}, {"key", "on"}}, "K1", "click", "S6.b"}}}};
  return all;
}

void find(const std::string& vehicle, const Bypass& about) {
  const std::string mode = about.part + ":work/bypassed";
  Visit visit({vehicle, {mode}});
  visit.most_sets = few_sets;
  const auto state = visit.bench.state(about.state);
  visit.notice(about.noticed, about.sign, state);
  visit.read("low_impedance_meter", about.behind, state);
  visit.read("filament_lamp", about.behind, state);
  if (!about.lifted.empty())
    visit.read("low_impedance_meter", about.fed, state, "BAT1.negative", {about.lifted});
  visit.check_settings();
  visit.think();
  const std::string sibling = about.part + "/" + about.sibling;
  expect_leads(visit, {mode, sibling});
  visit.look(about.part + ":work", readings::Outcome::damage);
  visit.think();
  expect_leads(visit, {mode});
  EXPECT_GT(visit.of_mode(mode), 10 * visit.of_mode(sibling)) << visit.shown();
}

TEST(Bypass, IsFoundByTryingWhatTheSwitchShouldPrevent) {
  for (const auto& [vehicle, rows] : bypasses())
    for (const auto& row : rows) find(vehicle, row);
}

// No bridge that a vehicle may have is left out above.
TEST(Bypass, EveryPlaceForOneIsTried) {
  for (const auto& [vehicle, rows] : bypasses()) {
    std::vector<std::string> tried;
    for (const auto& row : rows) tried.push_back(row.part + ":work/bypassed");
    std::sort(tried.begin(), tried.end());
    EXPECT_EQ(tried, modes_left_by(Bench(vehicle), "bypassed")) << vehicle;
  }
}

// A bridged interlock is no reason why a vehicle does not go: the fault that stops it still leads, and the
// bridge comes to light when the interlock is tried.
TEST(Bypass, DoesNotHideTheFaultThatStopsIt) {
  Visit visit({"seedling-hauler", {"S6:work/bypassed", "K1/coil_open"}});
  visit.most_sets = few_sets;
  const auto run = visit.bench.run_state();
  const auto plugged = visit.bench.run_state({{"charge_plug", "plugged"}});
  visit.try_to_drive();
  visit.read("meter", "K1.coil_feed", run, "K1.coil_return");
  visit.read("filament_lamp", "K1.load", run);
  visit.read_ohms("K1.coil_feed", "K1.coil_return", {"W21:to"});
  visit.read("low_impedance_meter", "S6.b", plugged);
  visit.read("filament_lamp", "S6.b", plugged);
  visit.check_settings();
  visit.think();
  EXPECT_EQ(visit.leading_mode(), "K1/coil_open") << visit.shown();
  EXPECT_GT(visit.of_mode("K1/coil_open"), 0.9) << visit.shown();
  EXPECT_GT(visit.of_mode("S6:work/bypassed") + visit.of_mode("S6/stuck_free"), 0.5)
      << visit.shown();
}

}  // namespace
}  // namespace faultloom::test
