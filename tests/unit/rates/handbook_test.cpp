#include <faultloom/rates/handbook.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <cmath>
#include <fstream>
#include <set>
#include <string>

// Printed figures are those of MIL-HDBK-217F Notice 2 as transcribed; figures with more digits follow from
// the handbook's formulas by hand calculation.
namespace faultloom::rates::handbook {
namespace {

constexpr auto benign = Environment::ground_benign;
constexpr auto mobile = Environment::ground_mobile;

void expect_relative(double found, double expected, double tolerance) {
  EXPECT_NEAR(found, expected, tolerance * expected);
}

TEST(Handbook, MotorExampleOfSection12) {
  // Printed: general motor, 50 degrees, ten years: characteristic lives 55,000 h and 2.9e5 h, 10.3.
  const double printed = motor_failures_per_million_hours(MotorType::general, 50, 87600);
  EXPECT_NEAR(printed, 10.3, 0.06);
  EXPECT_NEAR(printed, 10.24175, 1e-5) << "with lives that are not rounded";
  expect_relative(bearing_life_hours(50), 55234.83, 1e-6);
  expect_relative(winding_life_hours(50), 293233.53, 1e-6);
  expect_relative(bearing_life_hours(25), 59614.9, 1e-5);
  expect_relative(winding_life_hours(25), 1200593, 1e-5);
  expect_relative(bearing_life_hours(60), 34605.7, 1e-5);
  expect_relative(winding_life_hours(60), 177043, 1e-5);
}

TEST(Handbook, PartsCountOfAppendixA) {
  // Generic rates, ground benign; the recipe of the relay is that of the appendix. 3 % covers two digits.
  Relay relay{
      RelayForm::general_balanced_armature, 30, false, Load::resistive, 0.5, 1, 10, false, benign};
  expect_relative(relay_failures_per_million_hours(relay), 0.049, 0.03);
  Connector plug{ConnectorForm::circular, 30, 0, 0, true, benign};
  expect_relative(connector_failures_per_million_hours(plug), 0.0011, 0.03);
  expect_relative(fuse_failures_per_million_hours(benign), 0.010, 1e-12);
  expect_relative(lamp_failures_per_million_hours(28, 0.5, false, benign), 3.9, 0.03);
}

TEST(Handbook, RelaysByTheFormula) {
  // Base rates at 85 and 125 degrees rated, load factors: computed by hand.
  const auto relay = [](double celsius, bool rated_85, Load load, double share) {
    return relay_failures_per_million_hours({RelayForm::medium_power_solenoid, celsius, rated_85,
                                             load, share, 1, 10, false, benign}) /
           2;
  };
  const double unloaded = 1e-9;
  EXPECT_NEAR(relay(40, true, Load::resistive, unloaded), .00841, 5e-6);
  EXPECT_NEAR(relay(85, true, Load::resistive, unloaded), .02039, 5e-6);
  EXPECT_NEAR(relay(60, false, Load::resistive, unloaded), .01183, 5e-6);
  const double base = relay(25, true, Load::resistive, unloaded);
  expect_relative(relay(25, true, Load::resistive, .5) / base, 1.478, 1e-3);
  expect_relative(relay(25, true, Load::inductive, .5) / base, 4.771, 1e-3);
  expect_relative(relay(25, true, Load::lamp, .5) / base, 518.0, 1e-3);
  expect_relative(relay(25, true, Load::lamp, .3) / base, 9.488, 1e-3);
  // A known slip is to leave out the exponential: (0.38 / 0.4)^2 = 0.9025.
  expect_relative(relay(25, true, Load::inductive, .38) / base, std::exp(.9025), 1e-9);
}

TEST(Handbook, SwitchesAndJointsInVehicles) {
  // Base times environment times lower quality.
  Switch part{SwitchForm::sensitive, Load::resistive, 1e-9, 1, false, mobile};
  expect_relative(switch_failures_per_million_hours(part), .49 * 2 * 18, 1e-9);
  part.form = SwitchForm::pushbutton;
  part.contacts = 2;
  expect_relative(switch_failures_per_million_hours(part), .10 * std::pow(2, .33) * 2 * 18, 1e-9);
  EXPECT_NEAR(joint_failures_per_million_hours(Joint::crimp, mobile), .00182, 1e-12);
  EXPECT_NEAR(joint_failures_per_million_hours(Joint::terminal_block, mobile), .434, 1e-12);
  EXPECT_NEAR(joint_failures_per_million_hours(Joint::hand_solder, mobile), .0091, 1e-12);
  EXPECT_NEAR(fuse_failures_per_million_hours(mobile), .08, 1e-12);
}

TEST(Handbook, ConnectorsByTemperature) {
  Connector plug{ConnectorForm::circular, 25, 0, 0, true, benign};
  const double base = connector_failures_per_million_hours(plug);
  for (const auto& [celsius, factor] :
       {std::pair{20., .911}, {40., 1.299}, {60., 1.774}, {80., 2.338}, {100., 2.993}}) {
    plug.ambient_celsius = celsius;
    expect_relative(connector_failures_per_million_hours(plug) / base, factor, 1e-3);
  }
  EXPECT_NEAR(contact_rise_celsius(16, 5), 5.380778, 1e-6);
}

TEST(Handbook, ResistorsDiodesAndLamps) {
  // 40 W, half load, case 45 degrees; rectifier at half voltage, junction 65 degrees; 12 V lamp.
  EXPECT_NEAR(power_resistor_failures_per_million_hours(45, 40, .5, mobile), 2.948519, 1e-6);
  EXPECT_NEAR(diode_failures_per_million_hours(DiodeForm::power_rectifier, 65, .5, mobile), .136790,
              1e-6);
  EXPECT_NEAR(lamp_failures_per_million_hours(12, .5, true, mobile), 13.012, 1e-3);
}

TEST(Handbook, SaysWhatItCannotCompute) {
  Relay relay;
  relay.environment = Environment::cannon_launch;
  EXPECT_THROW((void)relay_failures_per_million_hours(relay), Error);
  EXPECT_THROW((void)contact_rise_celsius(14, 1), Error);
  EXPECT_THROW((void)motor_failures_per_million_hours(MotorType::general, 50, 0), Error);
  EXPECT_THROW((void)motor_failures_per_million_hours(MotorType::general, 500, 1), Error);
  EXPECT_THROW(
      (void)switch_failures_per_million_hours({SwitchForm::toggle, Load::lamp, 2, 1, true, benign}),
      Error);
}

TEST(Handbook, KindFiguresNameEachKindOnce) {
  std::set<std::string_view> kinds;
  for (const auto& figure : kind_figures()) {
    EXPECT_TRUE(kinds.insert(figure.kind).second) << figure.kind;
    EXPECT_GT(figure.failures_per_million_hours, 0) << figure.kind;
    EXPECT_FALSE(figure.model.empty());
  }
  EXPECT_TRUE(kinds.contains("contactor"));
}

TEST(Handbook, ShippedRatesShowTheseFigures) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/rates.json", std::ios::binary);
  const auto kinds = nlohmann::json::parse(file)["kinds"];
  std::size_t shown = 0;
  for (const auto& kind : kinds) shown += kind.contains("handbook") ? 1U : 0U;
  EXPECT_EQ(shown, kind_figures().size());
  for (const auto& figure : kind_figures()) {
    const auto& book = kinds.at(std::string(figure.kind)).at("handbook");
    expect_relative(book["failures_per_million_hours"].get<double>(),
                    figure.failures_per_million_hours, 1e-3);
    EXPECT_NE(book["source"].get<std::string>().find(figure.model), std::string::npos)
        << figure.kind;
  }
}

}  // namespace
}  // namespace faultloom::rates::handbook
