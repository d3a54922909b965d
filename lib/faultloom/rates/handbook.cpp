#include <faultloom/rates/handbook.hpp>

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <faultloom/base/error.hpp>

namespace faultloom::rates::handbook {
namespace {

using Factors = std::array<double, 14>;  // by Environment

constexpr double absent = -1;

constexpr Factors relay_environment{1, 2, 15, 8, 27, 7, 9, 11, 12, 46, .5, 25, 66, absent};
constexpr Factors switch_environment{1, 3, 18, 8, 29, 10, 18, 13, 22, 46, .5, 25, 67, 1200};
constexpr Factors connector_environment{1, 1, 8, 5, 13, 3, 5, 8, 12, 19, .5, 10, 27, 490};
constexpr Factors joint_environment{1, 2, 7, 4, 11, 4, 6, 6, 8, 16, .5, 9, 24, 420};
constexpr Factors resistor_environment{1, 4, 16, 12, 42, 18, 23, 31, 43, 63, .5, 37, 87, 1728};
constexpr Factors fuse_environment{1, 2, 8, 5, 11, 9, 12, 15, 18, 16, .9, 10, 21, 230};
constexpr Factors diode_environment{1, 6, 9, 9, 19, 13, 29, 20, 43, 24, .5, 14, 32, 320};
constexpr Factors lamp_environment{1, 2, 3, 3, 4, 4, 4, 5, 6, 5, .7, 4, 6, 27};

constexpr double boltzmann_ev_per_kelvin = 8.617e-5;
constexpr double zero_celsius_kelvin = 273;  // the handbook rounds

double of(const Factors& factors, Environment environment) {
  const double factor = factors.at(static_cast<std::size_t>(environment));
  if (factor == absent)
    throw Error(Code::value, "The handbook has no figure for this part in this environment");
  return factor;
}

void in_range(const char* what, double value, double least, double most) {
  if (!(value >= least && value <= most))
    throw Error(Code::value, fmt::format("{} is {:g}; the model holds from {:g} to {:g}", what,
                                         value, least, most));
}

double arrhenius(double activation_ev, double celsius) {
  in_range("The temperature", celsius, -55, 200);
  return std::exp(-activation_ev / boltzmann_ev_per_kelvin *
                  (1 / (celsius + zero_celsius_kelvin) - 1.0 / 298));
}

double load_stress(Load load, double share) {
  in_range("The load", share, 0, 1);
  const double worth = load == Load::resistive ? 0.8 : load == Load::inductive ? 0.4 : 0.2;
  return std::exp(std::pow(share / worth, 2));
}

/// Section 12.1: share of the hazard for a life that is this part of the characteristic one.
double motor_hazard(double life_over_characteristic) {
  // The printed table leaves a gap between 0.90 and 1.0; what is in it counts as above.
  constexpr std::array<std::pair<double, double>, 9> table{{{.10, .13},
                                                            {.20, .15},
                                                            {.30, .23},
                                                            {.40, .31},
                                                            {.50, .41},
                                                            {.60, .51},
                                                            {.70, .61},
                                                            {.80, .68},
                                                            {.90, .76}}};
  for (const auto& [most, hazard] : table)
    if (life_over_characteristic <= most) return hazard;
  return 1;
}

double cycling(double cycles_per_hour, bool commercial) {
  if (cycles_per_hour < 0) in_range("Cycles per hour", cycles_per_hour, 0, 1e6);
  if (!commercial) return cycles_per_hour < 1 ? 0.1 : cycles_per_hour / 10;
  if (cycles_per_hour < 10) return 1;
  return cycles_per_hour <= 1000 ? cycles_per_hour / 10 : std::pow(cycles_per_hour / 100, 2);
}

double relay_form(RelayForm form) {
  switch (form) {
    case RelayForm::armature_contactor:
      return 7;
    case RelayForm::mechanical_latching:
      return 12;
    case RelayForm::balanced_armature:
      return 10;
    case RelayForm::solenoid_contactor:
      return 5;
    case RelayForm::medium_power_solenoid:
      return 2;
    case RelayForm::general_armature_long:
      return 3;
    case RelayForm::general_balanced_armature:
      return 5;
    case RelayForm::general_solenoid:
      return 6;
  }
  throw Error(Code::internal, "No such form of relay");
}

double switch_base(SwitchForm form) {
  switch (form) {
    case SwitchForm::toggle:
      return .10;
    case SwitchForm::rocker:
      return .023;
    case SwitchForm::pushbutton:
      return .10;
    case SwitchForm::sensitive:
      return .49;
    case SwitchForm::limit:
      return 4.3;
    case SwitchForm::rotary:
      return .11;
    case SwitchForm::reed:
      return .0010;
    case SwitchForm::pressure:
      return 2.8;
    case SwitchForm::thermal:
      return .031;
  }
  throw Error(Code::internal, "No such form of switch");
}

double connector_base(ConnectorForm form) {
  switch (form) {
    case ConnectorForm::circular:
      return .0010;
    case ConnectorForm::card_edge:
      return .040;
    case ConnectorForm::hexagonal:
      return .15;
    case ConnectorForm::rack_and_panel:
      return .021;
    case ConnectorForm::rectangular:
      return .046;
    case ConnectorForm::power:
      return .0070;
  }
  throw Error(Code::internal, "No such form of connector");
}

double joint_base(Joint joint) {
  switch (joint) {
    case Joint::hand_solder:
      return .0013;
    case Joint::hand_solder_wrapped:
      return .000070;
    case Joint::crimp:
      return .00026;
    case Joint::weld:
      return .000015;
    case Joint::solderless_wrap:
      return .0000068;
    case Joint::clip:
      return .00012;
    case Joint::reflow_solder:
      return .000069;
    case Joint::spring_contact:
      return .17;
    case Joint::terminal_block:
      return .062;
  }
  throw Error(Code::internal, "No such joint");
}

double diode_base(DiodeForm form) {
  switch (form) {
    case DiodeForm::general_purpose:
      return .0038;
    case DiodeForm::switching:
      return .0010;
    case DiodeForm::fast_recovery:
      return .025;
    case DiodeForm::power_rectifier:
      return .0030;
    case DiodeForm::suppressor:
      return .0013;
  }
  throw Error(Code::internal, "No such form of diode");
}

}  // namespace

double bearing_life_hours(double ambient_celsius) {
  in_range("The temperature", ambient_celsius, -40, 140);
  const double kelvin = ambient_celsius + zero_celsius_kelvin;
  return 1 / (std::pow(10, 2.534 - 2357 / kelvin) + 1 / (std::pow(10, 20 - 4500 / kelvin) + 300));
}

double winding_life_hours(double ambient_celsius) {
  in_range("The temperature", ambient_celsius, -40, 140);
  return std::pow(10, 2357 / (ambient_celsius + zero_celsius_kelvin) - 1.83);
}

double motor_failures_per_million_hours(MotorType type, double ambient_celsius, double life_hours) {
  if (!(life_hours > 0)) throw Error(Code::value, "The design life must be above 0 h");
  constexpr std::array<std::pair<double, double>, 4> forms{
      {{1.9, 1.1}, {.48, .29}, {2.4, 1.7}, {11, 5.4}}};
  const auto& [a, b] = forms.at(static_cast<std::size_t>(type));
  const double bearing = bearing_life_hours(ambient_celsius);
  const double winding = winding_life_hours(ambient_celsius);
  return 1e6 * (motor_hazard(life_hours / bearing) / (a * bearing) +
                motor_hazard(life_hours / winding) / (b * winding));
}

double relay_failures_per_million_hours(const Relay& relay) {
  constexpr std::array<double, 4> by_poles{1, 1.5, 2, 2.5};
  in_range("The number of poles", relay.poles, 1, 4);
  const double base = .0059 * arrhenius(relay.rated_85_celsius ? .19 : .17, relay.ambient_celsius);
  return base * load_stress(relay.load, relay.load_share) *
         by_poles.at(static_cast<std::size_t>(relay.poles - 1)) *
         cycling(relay.cycles_per_hour, relay.commercial) * relay_form(relay.form) *
         (relay.commercial ? 2.9 : 1) * of(relay_environment, relay.environment);
}

double switch_failures_per_million_hours(const Switch& part) {
  in_range("The number of contacts", part.contacts, 1, 100);
  const bool counts = part.form == SwitchForm::toggle || part.form == SwitchForm::pushbutton;
  return switch_base(part.form) * load_stress(part.load, part.load_share) *
         (counts ? std::pow(part.contacts, .33) : 1) * (part.military ? 1 : 2) *
         of(switch_environment, part.environment);
}

double connector_failures_per_million_hours(const Connector& connector) {
  const double matings = connector.matings_per_1000_hours;
  const double mating = matings <= .05  ? 1
                        : matings <= .5 ? 1.5
                        : matings <= 5  ? 2
                        : matings <= 50 ? 3
                                        : 4;
  return connector_base(connector.form) *
         arrhenius(.14, connector.ambient_celsius + connector.rise_celsius) * mating *
         (connector.military ? 1 : 2) * of(connector_environment, connector.environment);
}

double contact_rise_celsius(int contact_awg, double ampere) {
  constexpr std::array<std::pair<int, double>, 9> sizes{{{32, 3.256},
                                                         {30, 2.856},
                                                         {28, 2.286},
                                                         {24, 1.345},
                                                         {22, .989},
                                                         {20, .640},
                                                         {18, .429},
                                                         {16, .274},
                                                         {12, .100}}};
  for (const auto& [awg, factor] : sizes)
    if (awg == contact_awg) return factor * std::pow(std::abs(ampere), 1.85);
  throw Error(Code::value,
              fmt::format("There is no contact of {} AWG in the handbook; use 12, 16, 18, 20, 22, "
                          "24, 28, 30 or 32",
                          contact_awg));
}

double joint_failures_per_million_hours(Joint joint, Environment environment) {
  return joint_base(joint) * of(joint_environment, environment);
}

double power_resistor_failures_per_million_hours(double case_celsius, double rated_watt,
                                                 double load_share, Environment environment) {
  in_range("The load", load_share, 0, 1);
  in_range("The rated power", rated_watt, 1e-3, 1e5);
  constexpr double commercial = 10;
  return .0024 * arrhenius(.08, case_celsius) * std::pow(rated_watt, .39) * .54 *
         std::exp(2.04 * load_share) * commercial * of(resistor_environment, environment);
}

double fuse_failures_per_million_hours(Environment environment) {
  return .010 * of(fuse_environment, environment);
}

double diode_failures_per_million_hours(DiodeForm form, double junction_celsius,
                                        double voltage_share, Environment environment) {
  in_range("The junction's temperature", junction_celsius, -55, 200);
  in_range("The voltage", voltage_share, 0, 1);
  constexpr double plastic = 8;
  const double heat = std::exp(-3091 * (1 / (junction_celsius + zero_celsius_kelvin) - 1.0 / 298));
  const double stress = form == DiodeForm::suppressor ? 1
                        : voltage_share <= .3         ? .054
                                                      : std::pow(voltage_share, 2.43);
  return diode_base(form) * heat * stress * plastic * of(diode_environment, environment);
}

double lamp_failures_per_million_hours(double rated_volt, double use_share, bool direct_current,
                                       Environment environment) {
  in_range("The rated voltage", rated_volt, 0.1, 1000);
  in_range("The share of use", use_share, 0, 1);
  const double use = use_share < .1 ? .10 : use_share <= .9 ? .72 : 1;
  return .074 * std::pow(rated_volt, 1.29) * use * (direct_current ? 3.3 : 1) *
         of(lamp_environment, environment);
}

std::vector<KindFigure> kind_figures() {
  constexpr auto here = Environment::ground_mobile;
  constexpr double warm = 40;
  const auto button = [](SwitchForm form, Load load, double share) {
    return switch_failures_per_million_hours({form, load, share, 1, false, here});
  };
  const auto contactor = relay_failures_per_million_hours(
      {RelayForm::solenoid_contactor, warm, true, Load::inductive, 0.5, 1, 10, true, here});
  const auto pin = connector_failures_per_million_hours(
                       {ConnectorForm::rectangular, warm, 0, 0.5, false, here}) /
                   8;
  const auto motor = motor_failures_per_million_hours(MotorType::general, warm, 20000);
  const auto crimp = joint_failures_per_million_hours(Joint::crimp, here);
  const auto stud = joint_failures_per_million_hours(Joint::terminal_block, here);
  const auto fuse = fuse_failures_per_million_hours(here);
  constexpr auto sensitive = "14.1, sensitive switch, resistive half load, lower quality";
  constexpr auto motors =
      "12.1, general motor, 40 degrees, 20,000 h; the model is for small motors";
  return {
      {"connector_contact", pin,
       "15.1, rectangular, lower quality, 40 degrees, an eighth of a pair of 8 pins"},
      {"contactor", contactor,
       "13.1, solenoid contactor, inductive half load, 10 cycles/h, 40 degrees"},
      {"contactor_plain", contactor,
       "13.1, solenoid contactor, inductive half load, 10 cycles/h, 40 degrees"},
      {"control_termination", crimp, "17.1, crimp"},
      {"fuse", fuse, "22.1"},
      {"heavy_selector", button(SwitchForm::rotary, Load::inductive, 0.5),
       "14.1, rotary, inductive half load, lower quality"},
      {"key_switch", button(SwitchForm::rotary, Load::resistive, 0.5),
       "14.1, rotary, resistive half load, lower quality"},
      {"main_fuse", fuse, "22.1"},
      {"micro_switch", button(SwitchForm::sensitive, Load::resistive, 0.5), sensitive},
      {"motor_permanent", motor, motors},
      {"motor_separate", motor, motors},
      {"motor_series", motor, motors},
      {"pedal_switch", button(SwitchForm::sensitive, Load::resistive, 0.5), sensitive},
      {"power_coupler",
       connector_failures_per_million_hours({ConnectorForm::power, warm, 10, 50, false, here}),
       "15.1, power, 10 degrees above ambient, lower quality, 50 matings in 1,000 h"},
      {"power_termination", stud, "17.1, terminal block"},
      {"reed_interlock", button(SwitchForm::reed, Load::resistive, 0.5),
       "14.1, reed, resistive half load, lower quality"},
      {"selector_switch", button(SwitchForm::sensitive, Load::resistive, 0.5), sensitive},
      {"service_switch", button(SwitchForm::toggle, Load::resistive, 0.5),
       "14.1, toggle, resistive half load, lower quality"},
      {"suppression_diode",
       diode_failures_per_million_hours(DiodeForm::general_purpose, 60, 0.5, here),
       "6.1, general purpose, plastic, junction 60 degrees, half voltage"},
      {"thermal_switch", button(SwitchForm::thermal, Load::resistive, 0.5),
       "14.1, thermal, resistive half load, lower quality"},
      {"tiller_switch", button(SwitchForm::sensitive, Load::resistive, 0.5), sensitive},
  };
}

}  // namespace faultloom::rates::handbook
