#include <faultloom/readings/response.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace faultloom::readings {
namespace {

Instrument filament() {
  Instrument lamp;
  lamp.type = Instrument::Type::lamp;
  return lamp;
}

double lamp_ampere(const Instrument& lamp, double volt) {
  return lamp.rated_watt / lamp.rated_volt *
         std::pow(volt / lamp.rated_volt, lamp.current_exponent);
}

// Re-rating of incandescent lamps, current as V^0.55 and light as V^3.4: Standard Handbook for Electrical
// Engineers, 11th edition (1978), p. 22-8, as cited by general encyclopedias. The figures are that law
// worked out to four digits.
TEST(Lamp, FollowsThePublishedRerating) {
  struct Row {
    double volt, ampere, ohm, light;
  };
  const auto lamp = filament();
  const double rated_ampere = lamp.rated_watt / lamp.rated_volt;
  for (const auto& row : {Row{0.25, 0.4665, 0.5359, 0.0090}, Row{0.5, 0.6830, 0.7320, 0.0947},
                          Row{0.75, 0.8537, 0.8786, 0.3760}, Row{0.9, 0.9437, 0.9537, 0.6989},
                          Row{1.1, 1.0538, 1.0438, 1.3827}}) {
    const double volt = row.volt * lamp.rated_volt;
    EXPECT_NEAR(lamp_light(lamp, volt), row.light, 0.5e-4);
    // A source that drives the published current through its resistance leaves the lamp that voltage.
    for (const double ohm : {1.0, 100.0, 1e4}) {
      const double ampere = row.ampere * rated_ampere;
      const double across = lamp_volt(lamp, {volt + ampere * ohm, ohm});
      EXPECT_NEAR(across / volt, 1, 4e-4) << row.volt << " behind " << ohm;
      const double through = (volt + ampere * ohm - across) / ohm;
      EXPECT_NEAR(across / through / (lamp.rated_volt / rated_ampere), row.ohm, 5e-4);
    }
  }
}

TEST(Lamp, SatisfiesTheCircuitEquation) {
  std::mt19937_64 random(7);
  std::uniform_real_distribution<double> exponent(0.3, 1.5);
  std::uniform_real_distribution<double> volt_decades(-3, 2.5);
  std::uniform_real_distribution<double> ohm_decades(-4, 9);
  for (int i = 0; i < 5000; ++i) {
    auto lamp = filament();
    lamp.current_exponent = i % 2 == 0 ? 0.55 : exponent(random);
    const Thevenin port{std::pow(10, volt_decades(random)), std::pow(10, ohm_decades(random))};
    const double volt = lamp_volt(lamp, port);
    ASSERT_NEAR((volt + port.ohm * lamp_ampere(lamp, volt)) / port.volt, 1, 1e-12)
        << port.volt << " V behind " << port.ohm << " ohm, exponent " << lamp.current_exponent;
  }
}

TEST(Lamp, LimitsAndSigns) {
  const auto lamp = filament();
  EXPECT_EQ(lamp_volt(lamp, {0, 10}), 0);
  EXPECT_EQ(lamp_volt(lamp, {50, 0}), 50);
  EXPECT_EQ(lamp_volt(lamp, {50, -1e-15}), 50);
  EXPECT_EQ(lamp_volt(lamp, {-50, 20}), -lamp_volt(lamp, {50, 20}));
  EXPECT_LT(lamp_volt(lamp, {50, 1e15}), 1e-9);
  auto ohmic = lamp;
  ohmic.current_exponent = 1;
  EXPECT_NEAR(lamp_volt(ohmic, {50, 230.4}), 25, 1e-13);
}

TEST(Lamp, NeverDarkerWithLessResistance) {
  const auto lamp = filament();
  double last = 50;
  for (double ohm = 1e-3; ohm < 1e9; ohm *= 1.3) {
    const double volt = lamp_volt(lamp, {50, ohm});
    EXPECT_LT(volt, last);
    last = volt;
  }
}

}  // namespace
}  // namespace faultloom::readings
