#include <faultloom/vehicle/wire_gauge.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace faultloom::vehicle {
namespace {

constexpr double metres_per_1000_feet = 304.8;

struct Row {
  double size;
  double ohm;
};

double ohm_per_1000_feet(double gauge, double celsius = 20) {
  return copper_resistance_ohm(area_mm2_of_awg(static_cast<int>(gauge)), metres_per_1000_feet,
                               celsius);
}

// ASTM B258: 36 gauge is 0.0050 inch and 4/0 is 0.4600 inch by definition, 39 steps apart.
TEST(WireGauge, AnchorsOfAstmB258) {
  EXPECT_NEAR(diameter_mm_of_awg(36), 0.127, 1e-15);
  EXPECT_NEAR(diameter_mm_of_awg(-3), 0.460 * 25.4, 1e-12);
}

// NBS Handbook 100, Copper Wire Tables (1966): circular mils, which are squared thousandths of an
// inch. The table squares diameters of four figures.
TEST(WireGauge, AreasOfNbsHandbook100) {
  const std::vector<Row> table{{2, 66373}, {4, 41742},   {6, 26250},   {8, 16509},   {10, 10381},
                               {12, 6529}, {14, 4106.8}, {16, 2582.9}, {18, 1624.3}, {20, 1021.5}};
  for (const auto& [gauge, circular_mils] : table) {
    const double mils = diameter_mm_of_awg(static_cast<int>(gauge)) / 0.0254;
    EXPECT_NEAR(mils * mils / circular_mils, 1.0, 3e-4) << gauge << " AWG";
  }
}

// NBS Handbook 100, Copper Wire Tables (1966): ohms per 1000 feet at 20 degrees Celsius, four
// figures.
TEST(WireGauge, ResistancesOfNbsHandbook100) {
  const std::vector<Row> table{{2, 0.1563}, {4, 0.2485}, {6, 0.3951}, {8, 0.6282}, {10, 0.9989},
                               {12, 1.588}, {14, 2.525}, {16, 4.016}, {18, 6.385}, {20, 10.15}};
  for (const auto& [gauge, ohm] : table) {
    const double last_figure = std::pow(10.0, std::floor(std::log10(ohm)) - 3);
    EXPECT_NEAR(ohm_per_1000_feet(gauge), ohm, 0.55 * last_figure) << gauge << " AWG";
  }
}

// IEC 60228, table 2: highest resistance of class 2 conductors of plain copper at 20 degrees
// Celsius [ohm/km]. A conductor of the full nominal area must lie below it, and not by much.
TEST(WireGauge, StaysBelowTheLimitsOfIec60228) {
  const std::vector<Row> table{{0.5, 36.0}, {0.75, 24.5}, {1, 18.1}, {1.5, 12.1},
                               {2.5, 7.41}, {4, 4.61},    {6, 3.08}, {10, 1.83}};
  for (const auto& [area, limit] : table) {
    const double ohm = copper_resistance_ohm(area, 1000);
    EXPECT_LT(ohm, limit) << area << " mm2";
    EXPECT_GT(ohm, 0.92 * limit) << area << " mm2";
  }
}

// IEC 60228, annex with factors that bring a measured resistance to 20 degrees Celsius. The annex
// rounds the coefficient of copper to 0.004 per kelvin, which is 0.4 % more at 80 kelvin.
TEST(WireGauge, TemperatureFactorsOfIec60228) {
  const std::vector<Row> table{{5, 1.064},  {10, 1.042}, {25, 0.980}, {30, 0.962}, {40, 0.926},
                               {50, 0.893}, {75, 0.820}, {90, 0.781}, {100, 0.758}};
  for (const auto& [celsius, factor] : table)
    EXPECT_NEAR(copper_resistance_ohm(1, 1) / copper_resistance_ohm(1, 1, celsius), factor, 0.0035)
        << celsius;
}

// NFPA 70 (National Electrical Code), chapter 9, table 8: uncoated copper at 75 degrees Celsius,
// ohms per 1000 feet, solid.
TEST(WireGauge, SolidConductorsOfNec) {
  const std::vector<Row> table{{8, 0.764}, {10, 1.21}, {12, 1.93},
                               {14, 3.07}, {16, 4.89}, {18, 7.77}};
  for (const auto& [gauge, ohm] : table)
    EXPECT_NEAR(ohm_per_1000_feet(gauge, 75) / ohm, 1.0, 0.004) << gauge << " AWG";
}

// The same table, stranded: the lay of the strands makes them about two per cent longer.
TEST(WireGauge, StrandedConductorsOfNec) {
  const std::vector<Row> table{{2, 0.194}, {4, 0.308}, {6, 0.491}, {10, 1.24},
                               {12, 1.98}, {14, 3.14}, {16, 4.99}, {18, 7.95}};
  for (const auto& [gauge, ohm] : table)
    EXPECT_NEAR(1.02 * ohm_per_1000_feet(gauge, 75) / ohm, 1.0, 0.008) << gauge << " AWG";
}

TEST(WireGauge, ResistanceGrowsWithLengthAndShrinksWithArea) {
  EXPECT_DOUBLE_EQ(copper_resistance_ohm(1, 58), 1.0);
  EXPECT_DOUBLE_EQ(copper_resistance_ohm(2, 58), 0.5);
  EXPECT_DOUBLE_EQ(copper_resistance_ohm(1, 0), 0.0);
}

}  // namespace
}  // namespace faultloom::vehicle
