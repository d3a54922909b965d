#include "unit/trade/visit.hpp"

#include <gtest/gtest.h>

/// Work of earlier hands that left the wiring or a part wrong: wires swapped, a coil for another voltage, a
/// diode left out or turned round. Readings are chosen as a technician would who has heard that somebody
/// worked on it. Common practice, no source, unless a source is given.
namespace faultloom::test {
namespace {

using readings::Outcome;

// ---- two wires swapped ---------------------------------------------------------------------------
// Voltage arrives where it should not and is missing where it should be, while what feeds it is right up to
// the place of the swap; so the two wires are read before and behind it in the same state.

// Tug: pushed forward it drives backward. The forward voltage is right at the pin of the loom connector and
// arrives at the reverse input.
TEST(Swapped, DirectionInputsAtTheControllerOfTheTug) {
  Visit visit({"mulch-tug", {"U1:work/swapped_forward_in_reverse_in"}});
  visit.most_sets = few_sets;
  const auto forward = visit.bench.run_state();
  const auto reverse = visit.bench.run_state({{"butterfly", "reverse"}});
  visit.read("meter", "M1.a1", forward, "M1.a2");
  visit.read("meter", "X1-2.plug", forward);
  visit.read("meter", "U1.reverse_in", forward);
  visit.read("meter", "U1.forward_in", forward);
  visit.read("meter", "U1.forward_in", reverse);
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"U1:work/swapped_forward_in_reverse_in"});
}

// Tug: the same complaint, but the voltages are crossed in the plug of the tiller loom already.
TEST(Swapped, PinsOfTheTillerLoomOfTheTug) {
  Visit visit({"mulch-tug", {"X1:work/swapped_2_3"}});
  visit.most_sets = few_sets;
  const auto forward = visit.bench.run_state();
  const auto reverse = visit.bench.run_state({{"butterfly", "reverse"}});
  visit.read("meter", "M1.a1", forward, "M1.a2");
  visit.read("meter", "S3.no", forward);
  visit.read("meter", "X1-2.socket", forward);
  visit.read("meter", "X1-3.socket", forward);
  visit.read("meter", "X1-2.socket", reverse);
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"X1:work/swapped_2_3"});
}

// Hauler, after the drum or the motor was out: the wheels turn backward in forward. A series motor turns the
// other way if its field or its armature is turned round, not both (common practice); so the polarity of
// each is read, and that of the armature once more on the drum's own studs.
TEST(Swapped, ArmatureCablesOfTheHauler) {
  Visit visit({"seedling-hauler", {"Q1:work/swapped_a1_a2"}});
  visit.most_sets = few_sets;
  const auto forward = visit.bench.run_state();
  visit.read("meter", "M1.a1", forward, "M1.a2");
  visit.read("meter", "M1.s1", forward, "M1.s2");
  visit.read("meter", "Q1.a1", forward, "Q1.a2");
  visit.read("meter", "Q1.a1", forward, "M1.a1");
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"Q1:work/swapped_a1_a2"});
}

TEST(Swapped, FieldCablesOfTheHauler) {
  Visit visit({"seedling-hauler", {"M1:work/swapped_s1_s2"}});
  visit.most_sets = few_sets;
  const auto forward = visit.bench.run_state();
  visit.read("meter", "M1.a1", forward, "M1.a2");
  visit.read("meter", "M1.s1", forward, "M1.s2");
  visit.read("meter", "Q1.return", forward, "M1.s1");
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"M1:work/swapped_s1_s2"});
}

// Hauler, after the dash plug was repinned: the dash is alive with the key off, for it hangs on the run/tow
// switch directly, and the key feeds the charge interlock backward. A key switch that is stuck or bridged
// would feed the interlock with the key off as well and show no voltage across it.
TEST(Swapped, PinsOfTheDashLoomOfTheHauler) {
  Visit visit({"seedling-hauler", {"X1:work/swapped_1_2"}});
  visit.most_sets = few_sets;
  const auto key_off = visit.bench.state({{"service_switch", "run"}});
  const auto key_on = visit.bench.state({{"service_switch", "run"}, {"key", "on"}});
  visit.notice("H1", "lit", key_off);
  visit.read("low_impedance_meter", "S2.out", key_off);
  visit.read("low_impedance_meter", "S2.in", key_off);
  visit.read("low_impedance_meter", "X1-2.plug", key_off);
  visit.read("low_impedance_meter", "X1-2.plug", key_on);
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"X1:work/swapped_1_2"});
}

// Runner: it drives the wrong way both ways. A separately excited motor follows the polarity of its field,
// which is right at the controller and turned round at the motor.
TEST(Swapped, FieldWiresOfTheRunner) {
  Visit visit({"orchid-runner", {"M1:work/swapped_f1_f2"}});
  visit.most_sets = few_sets;
  const auto forward = visit.bench.run_state();
  const auto reverse = visit.bench.run_state({{"selector", "reverse"}});
  visit.read("meter", "U1.f1", forward, "U1.f2");
  visit.read("meter", "M1.f1", forward, "M1.f2");
  visit.read("meter", "M1.f1", reverse, "M1.f2");
  visit.ask("recent_work", Outcome::yes);
  visit.think();
  expect_leads(visit, {"M1:work/swapped_f1_f2"});
}

// Runner, after the pedal box was out: it clicks and does not drive. The throttle's signal and return are
// crossed somewhere between the pedal connector and the sensor: across the wire that should join them there
// is voltage, across the pair that should not be joined there is none. Whether the two were crossed at the
// plug or at the sensor is the same circuit; a look at both ends tells.
TEST(Swapped, ThrottleWiresOfTheRunner) {
  const std::string at_the_plug = "X2:work/swapped_4_5";
  const std::string at_the_sensor = "B1:work/swapped_signal_return";
  for (const auto& [truth, other] :
       {std::pair{at_the_plug, at_the_sensor}, std::pair{at_the_sensor, at_the_plug}}) {
    Visit visit({"orchid-runner", {truth}});
    visit.most_sets = few_sets;
    const auto run = visit.bench.run_state();
    visit.try_to_drive();
    visit.read("meter", "U1.throttle_signal", run, "U1.throttle_return");
    visit.read("meter", "X2-4.socket", run, "B1.signal");
    visit.read("meter", "X2-4.socket", run, "B1.return");
    visit.read("meter", "X2-5.socket", run, "B1.signal");
    visit.ask("recent_work", Outcome::yes);
    visit.check_settings();
    visit.think();
    // But for a hair: each way the wires keep their own few milliohms.
    EXPECT_NEAR(visit.of_mode(truth), visit.of_mode(other), 1e-3) << visit.shown();
    expect_leads(visit, {truth, other});
    visit.look(truth.substr(0, truth.find('/')), Outcome::damage);
    visit.look(other.substr(0, other.find('/')), Outcome::clean);
    visit.think();
    expect_leads(visit, {truth});
  }
}

// ---- a coil for another voltage ------------------------------------------------------------------

// Full voltage across the coil and no click is a coil, its plunger or one that wants more volts than there
// are; with the lead off, the coil's ohms tell: a coil of the next voltage up has some twice as many.
TEST(WrongCoil, IsToldByItsOhms) {
  struct Row {
    const char* vehicle;
    const char* feed_end;
  };
  for (const auto& row : {Row{"seedling-hauler", "W21:to"}, Row{"orchid-runner", "W12:to"},
                          Row{"mulch-tug", "W7:to"}}) {
    Visit visit({row.vehicle, {"K1:work/wrong_coil"}});
    visit.most_sets = few_sets;
    const auto run = visit.bench.run_state();
    visit.try_to_drive();
    visit.read("meter", "K1.coil_feed", run, "K1.coil_return");
    visit.check_settings();
    visit.think();
    // So far any of them.
    EXPECT_GT(visit.any({"K1", "K1:work"}), 0.5) << visit.shown();
    visit.read_ohms("K1.coil_feed", "K1.coil_return", {row.feed_end});
    visit.think();
    expect_leads(visit, {"K1:work/wrong_coil"});
  }
}

// ---- the diode across the coil -------------------------------------------------------------------

struct CoilDiode {
  const char* vehicle;
  const char* feed_end;  ///< of the wire from the feed to the diode's cathode
  Positions before;      ///< just before the coil gets its voltage
};

const CoilDiode coil_diodes[] = {
    {"seedling-hauler",
     "W25:from",
     {{"service_switch", "run"}, {"key", "on"}, {"selector", "forward"}}},
    {"orchid-runner",
     "W14:from",
     {{"service_switch", "run"}, {"key", "on"}, {"selector", "forward"}}},
    {"mulch-tug", "W9:from", {}}};

// The wrong way round it is a dead short across the coil: the control fuse goes at the moment the coil
// should pull in (pack voltage across the fuse, the dash dark), and holds with the diode's lead off. A shorted diode does the same; ohms across the loose
// diode tell them apart.
TEST(CoilDiode, ReversedBlowsTheFuseWhenTheCoilIsFed) {
  for (const auto& row : coil_diodes) {
    Visit visit({row.vehicle, {"D1:work/diode_reversed"}});
    visit.most_sets = few_sets;
    const auto run = visit.bench.run_state();
    const auto before = visit.bench.state(row.before);
    visit.read("meter", "F1.out", before);
    visit.notice("H1", "lit", before);
    visit.read("meter", "F1.out", run);
    visit.read("meter", "F1.in", run, "F1.out");
    visit.notice("H1", "lit", run);
    visit.listen_for_the_click();
    visit.read("meter", "F1.out", run, "BAT1.negative", {row.feed_end});
    visit.notice("M1", "turns", run, {row.feed_end});
    visit.think();
    expect_leads(visit, {"D1:work/diode_reversed", "D1/shorted"});
    visit.read_ohms("D1.anode", "D1.cathode", {row.feed_end});
    visit.think();
    expect_leads(visit, {"D1:work/diode_reversed"});
    EXPECT_LT(visit.of_mode("D1/shorted"), 0.1 * visit.of_mode("D1:work/diode_reversed"))
        << visit.shown();
  }
}

// Left out it changes nothing that a voltmeter or lamp shows: the vehicle goes, and the pedal switch burns
// away early. Somebody who worked on it is the reason to look; with one lead off, ohms across the place
// show nothing where a good diode shows some megohm one way.
TEST(CoilDiode, LeftOutIsToldByALookAndOhms) {
  for (const auto& row : coil_diodes) {
    Visit visit({row.vehicle, {"D1:work/diode_missing"}});
    visit.most_sets = few_sets;
    const auto run = visit.bench.run_state();
    visit.try_to_drive();
    ASSERT_EQ(visit.last().outcome, Outcome::yes);
    visit.read("meter", "K1.coil_feed", run, "K1.coil_return");
    visit.ask("recent_work", Outcome::yes);
    visit.think();
    // Volts say nothing of it.
    EXPECT_LT(visit.of_mode("D1:work/diode_missing"), 0.02) << visit.shown();
    visit.look("D1:work", Outcome::damage);
    visit.read_ohms("D1.anode", "D1.cathode", {row.feed_end});
    visit.think();
    expect_leads(visit, {"D1:work/diode_missing"});
  }
}

}  // namespace
}  // namespace faultloom::test
