#include "unit/circuit/rig.hpp"

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <optional>

namespace faultloom::circuit {
namespace {

using rig::Rig;
using rig::Running;

//            supply      bypass (rest: closed)
//   +12 V ----o/ o----+----o/ o----+---- c ---[coil 100]--- 0
//                     +---[ R  ]---+
//                     m
// The coil's relay picks up at 8 V and drops out at 4 V. Its contact `lamp` stands apart.
struct Relay {
  Rig rig;
  Index supply;
  Index bypass;
  Index lamp;
  Index weak;
  Index stiff;

  /// @param ohm  R: 100 leaves 12 * 100/200 = 6 V on the coil, 500 leaves 12 * 100/600 = 2 V
  Relay(int supply_order, int bypass_order, double ohm) {
    supply = rig.control("supply", supply_order);
    bypass = rig.control("bypass", bypass_order);
    rig.source("plus", "0", 12, 1e-6);
    rig.contact("plus", "m", 1e-6, rig::control_in(supply, {1}));
    rig.contact("m", "c", 1e-6, rig::control_in(bypass, {0}));
    rig.resistor("m", "c", ohm);
    rig.resistor("c", "0", 100);
    lamp = rig.contact("plus", "l", 1e-6, rig::atom_true(rig.volts("c", "0", 8, 4)));
    rig.resistor("l", "0", 100);
    weak = rig.mode(lamp, &vehicle::Change::threshold_factor, 0.4);
    stiff = rig.mode(lamp, &vehicle::Change::threshold_factor, 2);
  }
};

TEST(Hysteresis, ARelayHoldsBetweenItsThresholdsIfItHadPickedUp) {
  const Relay relay(1, 2, 100);
  Running run(relay.rig);
  EXPECT_FALSE(run.closed(run.enter({0, 0}), relay.lamp));
  EXPECT_TRUE(run.closed(run.enter({1, 0}), relay.lamp));  // 12 V
  EXPECT_NEAR(run.volt("l"), 12, 1e-5);
  EXPECT_TRUE(run.closed(run.enter({1, 1}), relay.lamp));  // 12 V first, then 6 V
  EXPECT_NEAR(run.volt("c"), 6, 1e-5);
  EXPECT_NEAR(run.volt("l"), 12, 1e-5);
}

TEST(Hysteresis, TheSamePositionsReachedTheOtherWayRoundLeaveItOpen) {
  const Relay relay(2, 1, 100);
  Running run(relay.rig);
  EXPECT_FALSE(run.closed(run.enter({1, 1}), relay.lamp));  // 0 V first, then 6 V
  EXPECT_NEAR(run.volt("c"), 6, 1e-5);
  EXPECT_NEAR(run.volt("l"), 0, 1e-5);
}

TEST(Hysteresis, ARelayDropsOutBelowItsLowerThreshold) {
  const Relay relay(1, 2, 500);
  Running run(relay.rig);
  EXPECT_TRUE(run.closed(run.enter({1, 0}), relay.lamp));
  EXPECT_FALSE(run.closed(run.enter({1, 1}), relay.lamp));
  EXPECT_NEAR(run.volt("c"), 2, 1e-5);
}

// Factor 0.4: up at 3.2 V, down at 1.6 V. Factor 2: up at 16 V, which 12 V never reach.
TEST(Hysteresis, AFaultMovesBothThresholds) {
  const Relay relay(2, 1, 100);
  Running run(relay.rig);
  EXPECT_TRUE(run.closed(run.enter({1, 1}, {relay.weak}), relay.lamp));
  EXPECT_FALSE(run.closed(run.enter({1, 0}, {relay.stiff}), relay.lamp));
  const Relay other(1, 2, 500);
  Running held(other.rig);
  EXPECT_TRUE(held.closed(held.enter({1, 1}, {other.weak}), other.lamp));  // 2 V is above 1.6 V
}

//    +12 V --[1]-- a --[11]-- 0: 1 A, though 11 V stand across the source with its 1 ohm
TEST(Hysteresis, AContactMayWatchTheCurrentOfASource) {
  for (const double rises : {0.9, 1.1}) {
    Rig r;
    const auto pack = r.source("a", "0", 12, 1);
    r.resistor("a", "0", 11);
    const auto alarm = r.contact("a", "b", 1, rig::atom_true(r.amps(pack, rises, 0.5)));
    Running run(r);
    EXPECT_EQ(run.closed(run.enter({}), alarm), rises < 1) << rises;
    EXPECT_NEAR(run.solver.ampere(pack), -1, 1e-9);
  }
}

//            feed         mute (rest: closed)    buzzer: opens when its own coil sees 8 V
//   +12 V ---o/ o--- f ------o/ o------ g ------o/ o------ c ---[coil 100]--- 0
//   +12 V ---o/ o--- s ---[100]--- 0          closed as soon as feed is moved: stays quiet
struct Buzzer {
  Rig rig;
  Index feed;
  Index mute;
  Index steady;
  Index buzzer;
  Index atom;

  Buzzer() {
    feed = rig.control("feed", 1);
    mute = rig.control("mute", 2);
    rig.source("plus", "0", 12, 1e-6);
    steady = rig.contact("plus", "s", 1e-6, rig::control_in(feed, {1}));
    rig.resistor("s", "0", 100);
    rig.contact("plus", "f", 1e-6, rig::control_in(feed, {1}));
    rig.contact("f", "g", 1e-6, rig::control_in(mute, {0}));
    atom = rig.volts("c", "0", 8, 4);
    buzzer = rig.contact("g", "c", 1e-6, rig::negated(rig::atom_true(atom)));
    rig.resistor("c", "0", 100);
  }
};

// Closed, 12 V, so it opens; open, 0 V, so it closes. The two states that follow each other for ever are
// {closed, coil not yet seen} and {open, coil seen}: the one with the contact open is the lower set.
TEST(Chatter, AContactThatOpensItsOwnCoilNeverRests) {
  const Buzzer b;
  Running run(b.rig);
  const auto& quiet = run.enter({0, 0});
  EXPECT_FALSE(quiet.chatters);
  EXPECT_TRUE(run.closed(quiet, b.buzzer));
  EXPECT_EQ(quiet.chattering.count(), 0U);

  const auto& settled = run.enter({1, 0});
  EXPECT_TRUE(settled.chatters);
  EXPECT_EQ(settled.chattering.count(), 1U);
  EXPECT_TRUE(settled.chattering.test(static_cast<std::size_t>(run.circuit.contact_of(b.buzzer))));
  EXPECT_FALSE(run.closed(settled, b.buzzer));
  EXPECT_TRUE(settled.atoms.test(static_cast<std::size_t>(b.atom)));
  EXPECT_TRUE(run.closed(settled, b.steady));
  EXPECT_NEAR(run.volt("c"), 0, 1e-5);
  EXPECT_NEAR(run.volt("g"), 12, 1e-5);
}

TEST(Chatter, EndsWithTheNextControl) {
  const Buzzer b;
  Running run(b.rig);
  const auto& settled = run.enter({1, 1});
  EXPECT_FALSE(settled.chatters);
  EXPECT_EQ(settled.chattering.count(), 0U);
  EXPECT_TRUE(run.closed(settled, b.buzzer));
  EXPECT_NEAR(run.volt("c"), 0, 1e-5);
}

//    +12 V --[0.01]-- a --fuse 0.005-- b --isolator (rest: closed)-- c --[1]-- 0
//                                                                    c --short 0.05-- 0
// Load alone: 12 / 1.015 = 11.8 A. With the short: 12 / (0.015 + 1*0.05/1.05) = 12 / 0.0626 = 192 A.
struct Fuse {
  Rig rig;
  Index shorting;
  Index isolator;
  Index link;
  Index big;

  Fuse() {
    shorting = rig.control("short", 1);
    isolator = rig.control("isolator", 2);
    rig.source("a", "0", 12, 0.01);
    link = rig.contact("a", "b", 0.005, {});
    const auto melts = rig.amps(link, 30, 0, true);
    rig.vehicle().elements[static_cast<std::size_t>(link)].closed_when =
        rig::negated(rig::atom_true(melts));
    rig.vehicle().elements[static_cast<std::size_t>(link)].atoms = {melts};
    rig.contact("b", "c", 1e-9, rig::control_in(isolator, {0}));
    rig.resistor("c", "0", 1);
    rig.contact("c", "0", 0.05, rig::control_in(shorting, {1}));
    big = rig.mode(link, &vehicle::Change::threshold_factor, 10);
  }
};

TEST(Fuse, CarriesItsLoad) {
  const Fuse f;
  Running run(f.rig);
  EXPECT_TRUE(run.closed(run.enter({0, 0}), f.link));
  EXPECT_NEAR(run.solver.ampere(f.link), 12 / 1.015, 1e-6);
  EXPECT_TRUE(run.closed(run.enter({0, 1}), f.link));
  EXPECT_NEAR(run.solver.ampere(f.link), 0, 1e-6);
}

TEST(Fuse, StaysBlownAfterTheOverloadIsGone) {
  const Fuse f;
  Running run(f.rig);
  const auto& blown = run.enter({1, 0});
  EXPECT_FALSE(blown.chatters);
  EXPECT_FALSE(run.closed(blown, f.link));
  EXPECT_NEAR(run.volt("a"), 12, 1e-9);
  EXPECT_NEAR(run.volt("b"), 0, 1e-9);
  EXPECT_FALSE(run.closed(run.enter({1, 1}), f.link));
  EXPECT_NEAR(run.volt("b"), 0, 1e-9);
  EXPECT_TRUE(run.closed(run.enter({0, 0}), f.link))
      << "another state starts from a good fuse again";
}

// Ten times the rating stands 192 A, and 0.015 ohm of 0.0626 ohm drop 12 * 0.015/0.0626190 = 2.8745 V.
TEST(Fuse, OfTheWrongSizeDoesNotBlow) {
  const Fuse f;
  Running run(f.rig);
  EXPECT_TRUE(run.closed(run.enter({1, 0}, {f.big}), f.link));
  EXPECT_NEAR(run.solver.ampere(f.link), 12 / (0.015 + 0.05 / 1.05), 1e-4);
}

//    +E --[100]-- a --|>|-- 0     0.7 V, 1 ohm
struct Diode {
  Rig rig;
  Index diode;
  Index turned;
  Index shorted;
  Index open;

  explicit Diode(double emf_volt) {
    rig.source("a", "0", emf_volt, 100);
    diode = rig.diode("a", "0", 0.7, 1);
    turned = rig.mode(diode, &vehicle::Change::reversed, true);
    shorted = rig.mode(diode, &vehicle::Change::shorted_ohm, 0.5);
    open = rig.mode(diode, &vehicle::Change::open, true);
  }
};

// Forward: (12 - 0.7) / 101 = 0.111881 A, 0.7 + 0.111881 = 0.811881 V.
TEST(Diode, ConductsForward) {
  const Diode d(12);
  Running run(d.rig);
  EXPECT_TRUE(run.closed(run.enter({}), d.diode));
  EXPECT_NEAR(run.volt("a"), 0.7 + 11.3 / 101, 1e-9);
  EXPECT_NEAR(run.solver.ampere(d.diode), 11.3 / 101, 1e-9);
}

TEST(Diode, BlocksBackwardAndBelowItsForwardVoltage) {
  for (const double emf_volt : {-12.0, 0.6}) {
    const Diode d(emf_volt);
    Running run(d.rig);
    EXPECT_FALSE(run.closed(run.enter({}), d.diode));
    EXPECT_NEAR(run.volt("a"), emf_volt, 1e-8);
    EXPECT_EQ(run.solver.ampere(d.diode), 0);
  }
}

TEST(Diode, TurnedRoundDoesTheOpposite) {
  const Diode forward(12);
  Running blocked(forward.rig);
  EXPECT_FALSE(blocked.closed(blocked.enter({}, {forward.turned}), forward.diode));
  EXPECT_NEAR(blocked.volt("a"), 12, 1e-8);
  const Diode backward(-12);
  Running conducting(backward.rig);
  EXPECT_TRUE(conducting.closed(conducting.enter({}, {backward.turned}), backward.diode));
  EXPECT_NEAR(conducting.volt("a"), -0.7 - 11.3 / 101, 1e-9);
}

TEST(Diode, ShortedOrOpenForgetsItsDirection) {
  const Diode d(-12);
  Running run(d.rig);
  run.enter({}, {d.shorted});
  EXPECT_NEAR(run.volt("a"), -12 * 0.5 / 100.5, 1e-9);
  const Diode f(12);
  Running forward(f.rig);
  EXPECT_FALSE(forward.closed(forward.enter({}, {f.open}), f.diode));
  EXPECT_NEAR(forward.volt("a"), 12, 1e-8);
}

//    +12 V --[1k]-- a --[10k]-- b --[10k]-- 0,  1e12 ohm from each node to 0
struct Divider {
  Rig rig;
  Index upper;
  Index lower;
  Index corroded;
  Index worn;
  Index broken;

  Divider() {
    rig.source("a", "0", 12, 1000);
    upper = rig.resistor("a", "b", 1e4);
    lower = rig.resistor("b", "0", 1e4);
    corroded = rig.mode(upper, &vehicle::Change::add_ohm, 4000);
    worn = rig.mode(upper, &vehicle::Change::add_ohm, 5000);
    broken = rig.mode(upper, &vehicle::Change::open, true);
  }
};

// b = 12 * 10/21 = 5.714286 V behind 10k || 11k = 5238.095 ohm. Lower one lifted: 12 V behind 11k.
// Upper one lifted: 0 V behind 10k.
TEST(Lifted, AnElementTakenOffDoesNotConduct) {
  const Divider d;
  Running run(d.rig);
  const auto port = [&] { return run.solver.port(run.vehicle.terminal("b"), run.vehicle.datum); };
  run.enter({});
  EXPECT_NEAR(port().volt, 12.0 * 10 / 21, 1e-6);
  EXPECT_NEAR(port().ohm, 110000.0 / 21, 1e-3);
  run.enter({}, {}, {d.lower});
  EXPECT_NEAR(port().volt, 12, 1e-6);
  EXPECT_NEAR(port().ohm, 11000, 1e-3);
  EXPECT_EQ(run.solver.ampere(d.lower), 0);
  run.enter({}, {}, {d.upper});
  EXPECT_NEAR(port().volt, 0, 1e-6);
  EXPECT_NEAR(port().ohm, 10000, 1e-3);
  run.enter({});
  EXPECT_NEAR(port().volt, 12.0 * 10 / 21, 1e-6) << "back on again";
}

TEST(Lifted, WinsOverAFaultOfTheSameElement) {
  const Divider d;
  Running run(d.rig);
  run.enter({}, {d.corroded}, {d.upper});
  EXPECT_NEAR(run.volt("b"), 0, 1e-6);
}

// 10k + 4k + 5k above 10k, 1k in the source: 12 * 10/30 = 4 V.
TEST(Faults, ResistancesOfOneElementAddUpAndAnOpenWins) {
  const Divider d;
  Running run(d.rig);
  run.enter({}, {d.corroded, d.worn});
  EXPECT_NEAR(run.volt("b"), 4, 1e-6);
  run.enter({}, {d.corroded, d.broken});
  EXPECT_NEAR(run.volt("b"), 0, 1e-6);
  EXPECT_NEAR(run.volt("a"), 12, 1e-6);
}

TEST(Stages, MoveControlsOneAfterAnother) {
  Rig r;
  r.source("a", "0", 12, 1);
  r.control("third", 5);
  r.control("first", 1);
  r.control("fourth", 5);  // same order as `third`: the later one moves later
  Running run(r);
  auto& solver = run.solver;
  const auto all = solver.stage({1, 1, 1});
  EXPECT_EQ(solver.positions(solver.previous(all)), (vehicle::ControlState{1, 1, 0}));
  EXPECT_EQ(solver.positions(solver.previous(solver.previous(all))),
            (vehicle::ControlState{0, 1, 0}));
  const auto rest = solver.stage({0, 0, 0});
  EXPECT_EQ(solver.previous(rest), none);
  EXPECT_EQ(solver.stage({1, 1, 1}), all);
  EXPECT_EQ(solver.settle(all).previous, solver.previous(all));
  EXPECT_NE(solver.stage({1, 1, 1}, std::vector<Index>{0}), all);
}

TEST(Stages, RefusePositionsThatDoNotExist) {
  Rig r;
  r.source("a", "0", 12, 1);
  r.control("key", 0);
  Running run(r);
  const auto refused = [&](const vehicle::ControlState& state) -> std::optional<Code> {
    try {
      run.solver.stage(state);
    } catch (const Error& error) {
      return error.code();
    }
    return std::nullopt;
  };
  EXPECT_EQ(refused({}), Code::argument);
  EXPECT_EQ(refused({0, 0}), Code::argument);
  EXPECT_EQ(refused({2}), Code::argument);
  EXPECT_EQ(refused({-1}), Code::argument);
  EXPECT_EQ(refused({1}), std::nullopt);
}

}  // namespace
}  // namespace faultloom::circuit
