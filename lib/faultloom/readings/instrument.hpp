#pragma once

#include <string>
#include <string_view>
#include <vector>

/// What a technician reads, hears and sees, and how far it can be trusted.
namespace faultloom::readings {

/// Outcomes in words. A numeric reading has Outcome::number.
enum class Outcome {
  number,
  bright,
  dim,
  dark,
  beep,
  silent,
  overload,  ///< ohmmeter out of range, or a live circuit
  yes,
  no,
  chatters,
  damage,
  clean,
  not_sure,      ///< says nothing about the circuit
  cannot_reach,  ///< says nothing about the circuit
};

[[nodiscard]] std::string_view name_of(Outcome outcome) noexcept;

/// Probabilities of the ways a probe reading goes wrong; what remains is a proper reading.
struct ReadingErrors {
  double no_contact = 0;       ///< a probe tip does not make contact
  double wrong_neighbour = 0;  ///< the red probe sits on a neighbouring terminal
  double wrong_state = 0;      ///< the control moved last was not really operated
  double gross = 0;            ///< range, sign or memory slip: any value equally likely

  [[nodiscard]] double sum() const { return no_contact + wrong_neighbour + wrong_state + gross; }
};

struct Instrument {
  enum class Type { voltmeter, lamp, ohmmeter, beeper, clamp };
  std::string id;
  std::string title;
  Type type = Type::voltmeter;
  double minutes = 0;  ///< for one reading once the probes are in place [min]
  std::vector<std::string> cautions;
  ReadingErrors errors;

  double resistance_ohm = 1e7;  ///< voltmeter
  double noise_relative = 0;    ///< of the reading
  double noise_absolute = 0;    ///< [V], [ohm] or [A]
  double resolution = 0.01;     ///< smallest step shown [V], [ohm] or [A]
  double full_scale = 1000;     ///< largest value shown [V], [ohm] or [A]

  double rated_volt = 48;  ///< lamp
  double rated_watt = 10;
  double current_exponent = 0.55;  ///< I ~ V^x; 1 for an ohmic tester
  double light_exponent = 3.4;     ///< light ~ V^x
  double bright_from = 0.6;        ///< share of the rated light
  double dark_below = 0.02;        ///< share of the rated light
  double judgement_sigma = 0.3;    ///< standard deviation of ln(light) as judged by eye
  double misjudged = 0.03;         ///< probability of a word at random (lamp, beeper)

  double beeps_below_ohm = 30;  ///< beeper
};

/// How well a person notices something by ear, eye or hand.
struct Sense {
  double missed = 0;       ///< it happened and was not noticed
  double imagined = 0;     ///< it did not happen and something else was taken for it
  double wrong_state = 0;  ///< the control moved last was not really operated
};

/// How far a real vehicle is from its model: pack state, temperature, contact resistance.
struct ModelTolerance {
  double relative = 0.04;  ///< of a voltage
  double volt = 0.05;      ///< [V]
  double ohm_relative = 0.1;
  double ampere_relative = 0.15;
  /// Of a voltage behind nothing but insulation, whose resistance varies by factors.
  double insulation = 0.6;
};

struct InstrumentSet {
  std::vector<Instrument> instruments;
  Sense hear;
  Sense see;
  Sense feel;
  ModelTolerance tolerance;
  double repeat_correlation =
      0.5;  ///< chance that the same hand repeating a reading repeats its error

  /// Index of an instrument, -1 if absent.
  [[nodiscard]] int find(std::string_view id) const;
  /// The sense named hear, see or feel. Unknown names count as see; the reader has checked them.
  [[nodiscard]] const Sense& sense(std::string_view name) const;
};

}  // namespace faultloom::readings
