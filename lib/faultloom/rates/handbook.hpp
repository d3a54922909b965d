#pragma once

#include <string_view>
#include <vector>

/// Failure rates by the part-stress models of MIL-HDBK-217F, Notice 2 (28 February 1995), for the kinds of
/// parts that a harness is made of. All rates in failures per 10^6 h; temperatures in degrees Celsius.
///
/// The first issue of 217F (1991) has other constants for relays, switches, connections and diodes.
/// Outside the ranges given each function throws Error(value). All are O(1).
namespace faultloom::rates::handbook {

/// Where the part works, in the order in which the handbook's tables list its factors.
enum class Environment {
  ground_benign,
  ground_fixed,
  ground_mobile,  ///< vehicles
  naval_sheltered,
  naval_unsheltered,
  airborne_inhabited_cargo,
  airborne_inhabited_fighter,
  airborne_uninhabited_cargo,
  airborne_uninhabited_fighter,
  airborne_rotary_wing,
  space_flight,
  missile_flight,
  missile_launch,
  cannon_launch
};

enum class MotorType { general, sensor, servo, stepper };

/// Section 12.1, motors below one horsepower: bearings and windings wear out, both spread over the life.
/// @param ambient_celsius    -40 to 140
/// @param life_hours         design life or time to overhaul [h], above 0
[[nodiscard]] double motor_failures_per_million_hours(MotorType type, double ambient_celsius,
                                                      double life_hours);
/// Characteristic life of the bearings and of the windings [h], section 12.1.
[[nodiscard]] double bearing_life_hours(double ambient_celsius);
[[nodiscard]] double winding_life_hours(double ambient_celsius);

enum class Load { resistive, inductive, lamp };
/// Notice 2's factor for application and construction in commercial use depends on both; those of
/// power switching.
enum class RelayForm {
  armature_contactor,
  mechanical_latching,
  balanced_armature,
  solenoid_contactor,
  medium_power_solenoid,
  general_armature_long,
  general_balanced_armature,
  general_solenoid
};

struct Relay {
  RelayForm form = RelayForm::solenoid_contactor;
  double ambient_celsius = 25;
  bool rated_85_celsius = true;  ///< else 125
  Load load = Load::inductive;
  double load_share = 0.5;  ///< current over rated current, above 0 to 1
  int poles = 1;            ///< single-throw: 1 to 4
  double cycles_per_hour = 1;
  bool commercial = true;  ///< quality: commercial 2.9, else established reliability M, 1
  Environment environment = Environment::ground_mobile;
};
/// Section 13.1, electromechanical relays and contactors. There is no figure for cannon launch.
[[nodiscard]] double relay_failures_per_million_hours(const Relay& relay);

enum class SwitchForm {
  toggle,
  rocker,
  pushbutton,
  sensitive,
  limit,
  rotary,
  reed,
  pressure,
  thermal
};
struct Switch {
  SwitchForm form = SwitchForm::sensitive;
  Load load = Load::resistive;
  double load_share = 0.5;  ///< current over rated current, above 0 to 1
  int contacts = 1;         ///< counts for toggle and pushbutton
  bool military = false;    ///< quality: 1, else 2
  Environment environment = Environment::ground_mobile;
};
/// Section 14.1, switches.
[[nodiscard]] double switch_failures_per_million_hours(const Switch& part);

enum class ConnectorForm { circular, card_edge, hexagonal, rack_and_panel, rectangular, power };
struct Connector {
  ConnectorForm form = ConnectorForm::rectangular;
  double ambient_celsius = 25;
  double rise_celsius = 0;  ///< of the contact above ambient
  double matings_per_1000_hours = 0;
  bool military = false;  ///< quality: 1, else 2
  Environment environment = Environment::ground_mobile;
};
/// Section 15.1, a mated pair with all its contacts.
[[nodiscard]] double connector_failures_per_million_hours(const Connector& connector);
/// Temperature rise of a contact [K], section 15.1. @param contact_awg  12, 16, 18, 20, 22, 24, 28, 30 or 32
[[nodiscard]] double contact_rise_celsius(int contact_awg, double ampere);

enum class Joint {
  hand_solder,
  hand_solder_wrapped,
  crimp,
  weld,
  solderless_wrap,
  clip,
  reflow_solder,
  spring_contact,
  terminal_block
};
/// Section 17.1, one joint.
[[nodiscard]] double joint_failures_per_million_hours(Joint joint, Environment environment);

/// Section 9.1, wire-wound power resistors of commercial quality. @param load_share  power over rated power,
/// 0 to 1. @param rated_watt  above 0
[[nodiscard]] double power_resistor_failures_per_million_hours(double case_celsius,
                                                               double rated_watt, double load_share,
                                                               Environment environment);

/// Section 22.1.
[[nodiscard]] double fuse_failures_per_million_hours(Environment environment);

enum class DiodeForm { general_purpose, switching, fast_recovery, power_rectifier, suppressor };
/// Section 6.1, plastic case, bonded contact. @param voltage_share  reverse over rated voltage, 0 to 1;
/// counts for all but suppressors
[[nodiscard]] double diode_failures_per_million_hours(DiodeForm form, double junction_celsius,
                                                      double voltage_share,
                                                      Environment environment);

/// Section 20.1, incandescent lamps. @param use_share  time lit over time running, 0 to 1
[[nodiscard]] double lamp_failures_per_million_hours(double rated_volt, double use_share,
                                                     bool direct_current, Environment environment);

/// What the models give for a kind of the shipped documents in a vehicle (ground mobile, 40 degrees).
struct KindFigure {
  std::string_view kind;
  double failures_per_million_hours;
  std::string_view model;  ///< section and what was put in, in words
};
/// Kinds that the handbook has a model for, by id. The rest (batteries, controllers, throttles) it does not
/// cover.
[[nodiscard]] std::vector<KindFigure> kind_figures();

}  // namespace faultloom::rates::handbook
