#pragma once

#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/entry.hpp>

/// From the port an instrument sees to the probability of what it shows.
namespace faultloom::readings {

using circuit::Thevenin;

/// A port that nothing touches: what an instrument sees without contact.
inline constexpr Thevenin open_port{0.0, 1e15};

/// Voltage a voltmeter shows: the port's, divided over source and meter [V].
[[nodiscard]] double voltmeter_volt(const Instrument& meter, const Thevenin& port);

/// Voltage across a lamp fed from the port [V]; sign as the port's. The lamp follows I ~ V^x through its
/// rating, so its resistance rises with voltage. Newton from below on a convex function: converges
/// monotonically; relative accuracy about 1e-14.
[[nodiscard]] double lamp_volt(const Instrument& lamp, const Thevenin& port);

/// Light of a lamp at a voltage, as a share of its light at rated voltage: (V / rated)^light_exponent.
[[nodiscard]] double lamp_light(const Instrument& lamp, double volt);

/// What a clamp round an element sees: its current as `volt` [A], and how far good parts spread it.
[[nodiscard]] Thevenin clamped(circuit::Solver& solver, Index element);

/// Spreads in steps of one ratio, for tables of ports: 0 for less than `least`, up to `most`.
struct SpreadSteps {
  double least;
  double ratio;
  std::int32_t most;
  [[nodiscard]] std::int32_t of(double sigma) const;
  /// The middle of a step.
  [[nodiscard]] double middle(std::int32_t step) const;
};

/// From about here on a source resistance is insulation: dirt, damp and acid film [ohm].
inline constexpr double insulation_ohm = 1e6;

/// What an instrument would show and how that spreads over vehicles and hands.
struct Shown {
  double value = 0;       ///< expected number [V], [ohm] or [A]; ln of the light share for a lamp
  double sigma = 0;       ///< standard deviation of the same
  bool overload = false;  ///< ohmmeter and beeper: out of range, or the circuit is live
};

/// Expected display of a properly used instrument on a port. For a clamp, `port.volt` holds the current.
[[nodiscard]] Shown shown(const InstrumentSet& set, const Instrument& instrument,
                          const Thevenin& port);

/// Probability of an outcome when the instrument is used properly on this port. Numbers are counted in
/// steps of the display's resolution. Never zero for words; a number far away may underflow to zero,
/// which the gross-error share of the mixture makes good.
/// @param tolerance  how far off the number may be as noted, one sigma in its unit, at least 0; added to
///                   the spread in quadrature. Means nothing to words.
[[nodiscard]] double proper_probability(const InstrumentSet& set, const Instrument& instrument,
                                        Outcome outcome, double number, const Thevenin& port,
                                        double tolerance = 0);

/// Upper bound of the same over all ports of at most `most_volt` that put `volt` across the instrument,
/// whatever their source resistance; `volt_sigma`: the most that good parts spread it, one sigma [V].
[[nodiscard]] double most_probability(const InstrumentSet& set, const Instrument& instrument,
                                      Outcome outcome, double number, double volt, double most_volt,
                                      double volt_sigma = 0, double tolerance = 0);

/// Probability of an outcome from a reading that has nothing to do with the circuit.
[[nodiscard]] double gross_probability(const Instrument& instrument, Outcome outcome);

/// Upper bound of the probability of an outcome over all possible circuits; `tolerance` as above.
[[nodiscard]] double ceiling_probability(const InstrumentSet& set, const Instrument& instrument,
                                         Outcome outcome, double number, double tolerance = 0);

/// Truth of a sign in a settled state.
enum class SignTruth { absent, present, chatters };

/// Truth of a sign for the solver's present candidate: a sign noticed on a change is there only if it
/// came true with the last control moved, and chatters with the contacts. What was there before is that
/// of the stage before as stated: if a control was left elsewhere and the last move moved nothing, there
/// was no change. Leaves the stage entered.
[[nodiscard]] SignTruth sign_truth(circuit::Solver& solver, Index sign, circuit::Stage stage);

/// The word that fits the truth: yes, no or chatters.
[[nodiscard]] Outcome outcome_of(SignTruth truth) noexcept;

/// Probability that a person reports this outcome of a sign.
[[nodiscard]] double sign_probability(const Sense& sense, Outcome outcome, SignTruth truth);

/// Terminals a probe meant for this one may slip to: the other cavities next to it in a connector, or
/// the neighbouring terminals of its part; at most two, in terminal order.
[[nodiscard]] std::vector<Index> neighbours(const vehicle::Vehicle& vehicle, Index terminal);

}  // namespace faultloom::readings
