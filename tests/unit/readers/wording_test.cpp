#include <faultloom/documents/wording.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <limits>
#include <string>
#include <vector>

namespace faultloom {
namespace {

using documents::quantity_text;

TEST(Wording, NumbersHaveSensibleDigits) {
  EXPECT_EQ(quantity_text(48.2, "V"), "48.2 V");
  EXPECT_EQ(quantity_text(49.97612, "V"), "49.98 V");
  EXPECT_EQ(quantity_text(0.0531, "V"), "0.0531 V");
  EXPECT_EQ(quantity_text(-0.0000001, "V"), "0 V");
  EXPECT_EQ(quantity_text(-12.0, "V"), "-12 V");
  EXPECT_EQ(quantity_text(9.99996, "A"), "10 A");
  EXPECT_EQ(quantity_text(123456, "V"), "123456 V");
}

TEST(Wording, LargeResistancesGetAPrefix) {
  EXPECT_EQ(quantity_text(0.0002, "ohm"), "0.0002 ohm");
  EXPECT_EQ(quantity_text(115, "ohm"), "115 ohm");
  EXPECT_EQ(quantity_text(12500, "ohm"), "12.5 kohm");
  EXPECT_EQ(quantity_text(999.96, "ohm"), "1 kohm");
  EXPECT_EQ(quantity_text(1e7, "ohm"), "10 Mohm");
  EXPECT_EQ(quantity_text(std::numeric_limits<double>::infinity(), "ohm"), "inf Mohm");
}

TEST(Wording, StatesComeInTheOrderOfMoving) {
  const auto cart = test::small_cart();
  EXPECT_EQ(documents::state_text(cart, cart.run_state), "key on, pedal pressed");
  EXPECT_EQ(documents::state_text(cart, cart.rest_state()), "all at rest");
  EXPECT_EQ(documents::state_text(cart, {0, 1}), "key on");
}

TEST(Wording, WhatIsLifted) {
  const auto cart = test::small_cart();
  const auto w1 = test::element(cart, "W1");
  const auto w4 = test::element(cart, "W4");
  const auto w5 = test::element(cart, "W5");
  EXPECT_EQ(documents::lifted_text(cart, std::vector{w1, w4, w5}), "pack isolated, W4 lifted");
  EXPECT_EQ(documents::lifted_text(cart, std::vector{w1}), "W1 lifted");
  EXPECT_EQ(documents::lifted_text(cart, {}), "");
}

TEST(Wording, EntriesThatSayNothing) {
  const auto cart = test::small_cart();
  const auto set = test::bench_instruments();
  readings::Entry entry;
  entry.instrument = set.find("lamp");
  entry.red = cart.terminal("S1.in");
  entry.black = cart.datum;
  entry.state = cart.rest_state();
  entry.outcome = readings::Outcome::cannot_reach;
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "filament lamp between S1.in and BAT1.negative: can't reach, all at rest");
  entry.instrument = set.find("beeper");
  entry.outcome = readings::Outcome::beep;
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "continuity beeper: beeps between S1.in and BAT1.negative, all at rest");
  entry.instrument = set.find("clamp");
  entry.element = test::element(cart, "W1");
  entry.outcome = readings::Outcome::not_sure;
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "clamp meter around W1: not sure, all at rest");
}

TEST(Wording, RoughNumbersVisitsAndProvocations) {
  const auto cart = test::small_cart();
  const auto set = test::bench_instruments();
  readings::Entry entry;
  entry.instrument = set.find("meter");
  entry.red = cart.terminal("S1.in");
  entry.black = cart.datum;
  entry.state = cart.rest_state();
  entry.outcome = readings::Outcome::number;
  entry.number = 40;
  entry.tolerance = 3;
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "40 V give or take 3 V at S1.in against BAT1.negative, all at rest");
  entry.tolerance = 0;
  entry.visit = 2;
  entry.provocation = readings::Entry::Provocation::wiggle;
  entry.provoked_zone = cart.zone("dash");
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "40 V at S1.in against BAT1.negative, all at rest, wiggled at dash, visit 2");
  entry.provocation = readings::Entry::Provocation::nothing;
  entry.told_by = 0;
  entry.told = readings::Outcome::no;
  EXPECT_EQ(documents::entry_text(cart, set, entry),
            "40 V at S1.in against BAT1.negative, all at rest, when " +
                documents::inside_sentence(cart.signs[0].title) + " (K1): no, visit 2");
}

TEST(Wording, CuesAndSettings) {
  auto cart = test::small_cart();
  const auto set = test::bench_instruments();
  vehicle::Component tow;
  tow.id = "tow_switch";
  tow.type = vehicle::Component::Type::setting;
  cart.components.push_back(tow);
  cart.index_names();
  readings::Entry entry;
  entry.type = readings::Entry::Type::look;
  entry.component = cart.component("tow_switch");
  entry.outcome = readings::Outcome::damage;
  EXPECT_EQ(documents::entry_text(cart, set, entry), "look at tow switch: set wrong");
  entry.outcome = readings::Outcome::clean;
  EXPECT_EQ(documents::entry_text(cart, set, entry), "look at tow switch: set right");
  entry.outcome = readings::Outcome::not_sure;
  EXPECT_EQ(documents::entry_text(cart, set, entry), "look at tow switch: not sure");
  entry = {};
  entry.type = readings::Entry::Type::cue;
  entry.cue = "one_direction_dead";
  entry.outcome = readings::Outcome::yes;
  EXPECT_EQ(documents::entry_text(cart, set, entry), "driver: one direction dead: yes");
  EXPECT_EQ(documents::entry_text(cart, set, entry, "Dead one way only"),
            "driver: dead one way only: yes");
}

class SlipText : public testing::Test {
 protected:
  [[nodiscard]] std::string text(readings::Slip slip) const {
    return documents::slip_text(cart, set, entry, slip);
  }

  vehicle::Vehicle cart = test::small_cart();
  readings::InstrumentSet set = test::bench_instruments();
  readings::Entry entry;
};

TEST_F(SlipText, Probes) {
  entry.instrument = set.find("meter");
  entry.red = cart.terminal("X1-1.plug");
  entry.black = cart.datum;
  entry.state = cart.run_state;
  EXPECT_EQ(text(readings::Slip::no_contact), "looks like the probe made no contact");
  EXPECT_EQ(text(readings::Slip::wrong_neighbour),
            "looks like the red probe sat on X1-2.plug instead of X1-1.plug");
  EXPECT_EQ(text(readings::Slip::gross), "looks like a slip in range or note");
  EXPECT_EQ(text(readings::Slip::proper), "looks like a proper reading");
  entry.red = cart.terminal("K1.main_in");
  EXPECT_EQ(text(readings::Slip::wrong_neighbour),
            "looks like the red probe sat on K1.coil_feed or K1.coil_return instead of K1.main_in");
  entry.black = cart.terminal("K1.coil_return");
  EXPECT_EQ(text(readings::Slip::wrong_neighbour),
            "looks like the red probe sat on K1.coil_feed instead of K1.main_in");
  entry.instrument = set.find("clamp");
  entry.red = vehicle::none;
  EXPECT_EQ(text(readings::Slip::no_contact), "looks like the clamp was not closed");
}

TEST_F(SlipText, TheControlMovedLast) {
  entry.state = cart.run_state;
  cart.controls[0].title = "Drive pedal";
  EXPECT_EQ(text(readings::Slip::wrong_state), "looks like the drive pedal was not pressed");
  entry.state = {0, 1};
  EXPECT_EQ(text(readings::Slip::wrong_state), "looks like the key was not on");
  entry.state = cart.rest_state();
  EXPECT_EQ(text(readings::Slip::wrong_state), "looks like a control was not at rest");
}

TEST_F(SlipText, People) {
  using readings::Outcome;
  const auto gross = [&](readings::Entry::Type type, Outcome outcome) {
    entry.type = type;
    entry.outcome = outcome;
    return text(readings::Slip::gross);
  };
  using Type = readings::Entry::Type;
  EXPECT_EQ(gross(Type::sign, Outcome::no), "looks like it was missed");
  EXPECT_EQ(gross(Type::sign, Outcome::yes), "looks like it was imagined");
  EXPECT_EQ(gross(Type::sign, Outcome::chatters), "looks like it was steady");
  EXPECT_EQ(gross(Type::look, Outcome::clean), "looks like it was missed");
  EXPECT_EQ(gross(Type::look, Outcome::damage), "looks like it was imagined");
  EXPECT_EQ(gross(Type::cue, Outcome::yes), "looks like the driver was mistaken");
}

TEST(Wording, WhatAnInstrumentWouldShow) {
  const auto set = test::bench_instruments();
  const auto text = [&](std::string_view id, double volt, double ohm) {
    return documents::shown_text(set, set.instruments[static_cast<std::size_t>(set.find(id))],
                                 {volt, ohm});
  };
  EXPECT_EQ(text("meter", 48.2, 1), "about 48.2 V");
  EXPECT_EQ(text("meter", 0, 1e8), "about 0 V");
  EXPECT_EQ(text("clamp", 0.41, 0), "about 0.41 A");
  EXPECT_EQ(text("lamp", 50, 0), "bright");
  EXPECT_EQ(text("lamp", 50, 100), "dim");
  EXPECT_EQ(text("lamp", 0, 100), "dark");
  EXPECT_EQ(text("beeper", 0, 5), "beep");
  EXPECT_EQ(text("beeper", 48, 5), "silent") << "a live circuit";
  EXPECT_EQ(text("ohmmeter", 0, 115), "about 115 ohm");
  EXPECT_EQ(text("ohmmeter", 0, 1e9), "overload");
}

}  // namespace
}  // namespace faultloom
