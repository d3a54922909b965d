#include <faultloom/readings/response.hpp>

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

/// What each tester shows behind a series resistance that feeds nothing else.
/// Calculated from the stated inputs; common practice, no source: 50 V behind the resistance, voltmeters
/// of 10 Mohm and 4 kohm, an LED tester of 4.7 kohm, filament lamps of 5, 10 and 25 W at 48 V with current
/// as V^0.55 and light as V^3.4, a contactor coil of 115 ohm at 48 V.
namespace faultloom::readings {
namespace {

constexpr double supply_volt = 50;
constexpr double nominal_volt = 48;

Instrument voltmeter(double ohm) {
  Instrument meter;
  meter.resistance_ohm = ohm;
  return meter;
}

Instrument filament(double watt) {
  Instrument lamp;
  lamp.type = Instrument::Type::lamp;
  lamp.rated_volt = nominal_volt;
  lamp.rated_watt = watt;
  return lamp;
}

Instrument led_tester() {
  auto lamp = filament(nominal_volt * nominal_volt / 4700);
  lamp.current_exponent = 1;
  lamp.light_exponent = 1;
  return lamp;
}

double light_percent(const Instrument& lamp, double ohm) {
  return 100 * lamp_light(lamp, lamp_volt(lamp, {supply_volt, ohm}));
}

struct Row {
  double ohm;
  double meter, low_impedance, led, lamp5, lamp10_volt, lamp10, lamp25, coil;
};

constexpr double unprinted = -1;

const std::vector<Row> table{
    {0, 50.0, 50.0, 100, 115, 50.0, 115, 115, 104},
    {5, 50.0, 49.9, 100, 111, 48.9, 107, 96, 100},
    {10, 50.0, 49.9, 100, 107, 47.9, 99, 80, 96},
    {20, 50.0, 49.8, 100, 99, 45.9, 86, 56, 89},
    {50, 50.0, 49.4, 99, 80, 40.5, 56, 20, 73},
    {100, 50.0, 48.8, 98, 56, 33, 28, 4, 56},
    {200, 50.0, 47.6, 96, 28, 23, 8, 0.3, 38},
    {470, 50.0, 44.7, 91, 5, 9.6, 0.4, 0, 20},
    {1e3, 50.0, 40.0, 82, 0.3, 3.2, 0, 0, unprinted},
    {4.7e3, 50.0, 23.0, 50, 0, 0, 0, 0, unprinted},
    {47e3, 49.8, 3.9, 9, 0, 0, 0, 0, unprinted},
    {1e6, 45.5, 0.2, 0.5, 0, 0, 0, 0, unprinted},
};

/// The printed figure is the computed one rounded to its last digit.
void expect_rounds_to(double printed, double computed, double last_digit, const char* what,
                      double ohm) {
  if (printed == unprinted) return;
  EXPECT_LE(std::abs(computed - printed), 0.5 * last_digit * (1 + 1e-9))
      << what << " behind " << ohm << " ohm: " << computed;
}

double digit_of(double printed) { return printed == std::floor(printed) ? 1 : 0.1; }

TEST(TesterTable, Voltmeters) {
  for (const auto& row : table) {
    const Thevenin port{supply_volt, row.ohm};
    expect_rounds_to(row.meter, voltmeter_volt(voltmeter(1e7), port), 0.1, "10 Mohm", row.ohm);
    expect_rounds_to(row.low_impedance, voltmeter_volt(voltmeter(4000), port), 0.1, "4 kohm",
                     row.ohm);
  }
}

TEST(TesterTable, LedTesterIsAMeterNotALoad) {
  const auto led = led_tester();
  for (const auto& row : table)
    expect_rounds_to(row.led, 100 * light_percent(led, row.ohm) / light_percent(led, 0),
                     digit_of(row.led), "LED", row.ohm);
}

TEST(TesterTable, FilamentLamps) {
  for (const auto& row : table) {
    expect_rounds_to(row.lamp5, light_percent(filament(5), row.ohm), digit_of(row.lamp5), "5 W",
                     row.ohm);
    expect_rounds_to(row.lamp10, light_percent(filament(10), row.ohm), digit_of(row.lamp10), "10 W",
                     row.ohm);
    expect_rounds_to(row.lamp25, light_percent(filament(25), row.ohm), digit_of(row.lamp25), "25 W",
                     row.ohm);
    expect_rounds_to(row.lamp10_volt, lamp_volt(filament(10), {supply_volt, row.ohm}),
                     row.ohm < 100 ? 0.1 : digit_of(row.lamp10_volt), "10 W volts", row.ohm);
  }
}

TEST(TesterTable, ContactorCoil) {
  for (const auto& row : table)
    expect_rounds_to(row.coil,
                     100 * voltmeter_volt(voltmeter(115), {supply_volt, row.ohm}) / nominal_volt, 1,
                     "coil", row.ohm);
}

}  // namespace
}  // namespace faultloom::readings
