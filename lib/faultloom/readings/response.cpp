#include <faultloom/readings/response.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace faultloom::readings {
namespace {

constexpr double live_limit_volt = 0.5;  // an ohmmeter on more than this shows nonsense

double upper_tail(double z) { return 0.5 * std::erfc(z / std::numbers::sqrt2); }

double density(double z, double sigma) {
  return std::exp(-0.5 * z * z) / (sigma * std::sqrt(2 * std::numbers::pi));
}

double hypotenuse(double a, double b, double c, double d) {
  return std::sqrt(a * a + b * b + c * c + d * d);
}

struct Spread {
  double relative;
  double absolute;
  [[nodiscard]] double at(double value) const { return std::hypot(relative * value, absolute); }
};

Spread spread_of(const InstrumentSet& set, const Instrument& instrument) {
  const auto& t = set.tolerance;
  switch (instrument.type) {
    case Instrument::Type::voltmeter:
      return {std::hypot(t.relative, instrument.noise_relative),
              hypotenuse(t.volt, instrument.noise_absolute, instrument.resolution, 0)};
    case Instrument::Type::ohmmeter:
      return {std::hypot(t.ohm_relative, instrument.noise_relative),
              std::hypot(instrument.noise_absolute, instrument.resolution)};
    case Instrument::Type::clamp:
      return {std::hypot(t.ampere_relative, instrument.noise_relative),
              std::hypot(instrument.noise_absolute, instrument.resolution)};
    case Instrument::Type::lamp:
      return {0, std::hypot(instrument.judgement_sigma, instrument.light_exponent * t.relative)};
    case Instrument::Type::beeper:
      return {t.ohm_relative, 0.5};
  }
  return {0, 1};
}

/// How far a voltmeter's number moves with an insulation's resistance: by about itself behind nothing
/// else, hardly where the meter is what decides.
double insulation_sigma(const InstrumentSet& set, const Instrument& meter, double volt,
                        double ohm) {
  if (ohm <= 0) return 0;
  return set.tolerance.insulation * std::abs(volt) * (ohm / (ohm + meter.resistance_ohm)) *
         (ohm / (ohm + insulation_ohm));
}

double number_probability(const Instrument& instrument, double number, const Shown& s) {
  return std::min(1.0, instrument.resolution * density((number - s.value) / s.sigma, s.sigma));
}

bool is_live(const Thevenin& port) { return std::abs(port.volt) > live_limit_volt; }

/// An ohmmeter shows nothing below zero: what would fall there is shown as far above.
double ohm_probability(const Instrument& ohmmeter, double number, const Shown& s) {
  const double direct = number_probability(ohmmeter, number, s);
  return number > 0 ? std::min(1.0, direct + number_probability(ohmmeter, -number, s)) : direct;
}

/// Lamp and beeper words: what is left after the word picked at random.
double word_probability(double proper, double misjudged, int words) {
  return (1 - misjudged) * proper + misjudged / words;
}

double lamp_word(const Instrument& lamp, Outcome outcome, const Shown& s) {
  const double to_bright = (std::log(lamp.bright_from) - s.value) / s.sigma;
  const double to_dark = (std::log(lamp.dark_below) - s.value) / s.sigma;
  double proper = 0;
  if (outcome == Outcome::bright) proper = upper_tail(to_bright);
  if (outcome == Outcome::dark) proper = upper_tail(-to_dark);
  if (outcome == Outcome::dim) proper = std::max(0.0, upper_tail(to_dark) - upper_tail(to_bright));
  return word_probability(proper, lamp.misjudged, 3);
}

}  // namespace

double voltmeter_volt(const Instrument& meter, const Thevenin& port) {
  return port.volt * (meter.resistance_ohm / (meter.resistance_ohm + port.ohm));
}

double lamp_volt(const Instrument& lamp, const Thevenin& port) {
  const double supply = std::abs(port.volt) / lamp.rated_volt;
  const double load = port.ohm * lamp.rated_watt / (lamp.rated_volt * lamp.rated_volt);
  const double x = lamp.current_exponent;
  if (supply == 0) return 0;
  double u =
      x == 1 ? supply / (1 + load) : std::min(supply / 2, std::pow(supply / (2 * load), 1 / x));
  if (load <= 0) u = supply;  // a port may come out a hair below zero ohm
  for (int i = 0; i < 60 && x != 1 && load > 0 && u > 0; ++i) {
    const double current = load * std::pow(u, x);
    const double step = (supply - u - current) / (1 + x * current / u);
    u += step;
    if (std::abs(step) <= 1e-15 * u) break;
  }
  return std::copysign(u * lamp.rated_volt, port.volt);
}

double lamp_light(const Instrument& lamp, double volt) {
  return std::pow(std::abs(volt) / lamp.rated_volt, lamp.light_exponent);
}

Thevenin clamped(circuit::Solver& solver, Index element) {
  const auto& own = solver.circuit().vehicle().elements[static_cast<std::size_t>(element)];
  const auto across = solver.spread_port(own.a, own.b);
  return {solver.ampere(element), 0, across.volt_sigma * solver.branch(element).first};
}

std::int32_t SpreadSteps::of(double sigma) const {
  if (sigma < least) return 0;
  const double steps = std::log(sigma / least) / std::log(ratio);
  return static_cast<std::int32_t>(std::min<double>(std::floor(steps) + 1, most));
}

double SpreadSteps::middle(std::int32_t step) const {
  return step == 0 ? 0 : least * std::pow(ratio, step - 0.5);
}

Shown shown(const InstrumentSet& set, const Instrument& instrument, const Thevenin& port) {
  Shown s;
  double own = 0;  // because good parts differ
  switch (instrument.type) {
    case Instrument::Type::voltmeter:
      s.value = voltmeter_volt(instrument, port);
      own = std::hypot(insulation_sigma(set, instrument, s.value, port.ohm),
                       voltmeter_volt(instrument, {port.volt_sigma, port.ohm}));
      break;
    case Instrument::Type::clamp:
      s.value = port.volt;
      own = port.volt_sigma;
      break;
    case Instrument::Type::lamp: {
      // Darkness beyond any eye: keeps the logarithm finite.
      const double volt = std::abs(lamp_volt(instrument, port));
      s.value = std::max(-50.0, instrument.light_exponent *
                                    std::log(std::max(volt, 1e-30) / instrument.rated_volt));
      if (port.volt_sigma > 0)
        own = instrument.light_exponent *
              std::min(1.0, port.volt_sigma / std::max(std::abs(port.volt), 1e-30));
      break;
    }
    case Instrument::Type::ohmmeter:
    case Instrument::Type::beeper:
      s.value = port.ohm;
      own = port.ohm_sigma;
      s.overload = is_live(port) || (instrument.type == Instrument::Type::ohmmeter &&
                                     port.ohm > instrument.full_scale);
      break;
  }
  s.sigma = std::hypot(spread_of(set, instrument).at(s.value), own);
  return s;
}

double proper_probability(const InstrumentSet& set, const Instrument& instrument, Outcome outcome,
                          double number, const Thevenin& port, double tolerance) {
  auto s = shown(set, instrument, port);
  if (outcome == Outcome::number) s.sigma = std::hypot(s.sigma, tolerance);
  switch (instrument.type) {
    case Instrument::Type::lamp:
      return lamp_word(instrument, outcome, s);
    case Instrument::Type::beeper: {
      const double beeps =
          s.overload ? 0 : upper_tail((s.value - instrument.beeps_below_ohm) / s.sigma);
      return word_probability(outcome == Outcome::beep ? beeps : 1 - beeps, instrument.misjudged,
                              2);
    }
    case Instrument::Type::ohmmeter:
      // A resistance near full scale may be shown or not, whichever side of it the model has it on.
      if (outcome == Outcome::overload)
        return is_live(port) ? 1 : upper_tail((instrument.full_scale - s.value) / s.sigma);
      return is_live(port) ? 0 : ohm_probability(instrument, number, s);
    case Instrument::Type::voltmeter:
    case Instrument::Type::clamp:
      return number_probability(instrument, number, s);
  }
  return 0;
}

double most_probability(const InstrumentSet& set, const Instrument& instrument, Outcome outcome,
                        double number, double volt, double most_volt, double volt_sigma,
                        double tolerance) {
  if (instrument.type != Instrument::Type::voltmeter || outcome != Outcome::number)
    return proper_probability(set, instrument, outcome, number, {volt, 0, volt_sigma}, tolerance);
  const double least = std::hypot(spread_of(set, instrument).at(volt), tolerance);
  // The less of the voltage there is reaches the meter, the more insulation lies before it.
  const double ohm = volt == 0 ? 0 : instrument.resistance_ohm * (most_volt / std::abs(volt) - 1);
  const double most = std::hypot(least, insulation_sigma(set, instrument, volt, ohm), volt_sigma);
  // A normal density at a distance is greatest for a spread of just that.
  Shown s{.value = volt, .sigma = std::clamp(std::abs(number - volt), least, most)};
  return number_probability(instrument, number, s);
}

double gross_probability(const Instrument& instrument, Outcome outcome) {
  switch (instrument.type) {
    case Instrument::Type::lamp:
      return 1.0 / 3;
    case Instrument::Type::beeper:
      return 0.5;
    case Instrument::Type::ohmmeter:
      return outcome == Outcome::overload ? 0.5
                                          : 0.5 * instrument.resolution / instrument.full_scale;
    case Instrument::Type::voltmeter:
    case Instrument::Type::clamp:
      return 0.5 * instrument.resolution / instrument.full_scale;
  }
  return 0;
}

double ceiling_probability(const InstrumentSet& set, const Instrument& instrument, Outcome outcome,
                           double number, double tolerance) {
  if (outcome != Outcome::number) return 1;
  // For a spread s(m)^2 = a^2 + r^2 m^2 around the expected value m, the density at x is greatest for
  // some m between x (1 - r^2) and x, so s at the lower end of that range bounds it from above.
  // A tolerance is part of a.
  auto spread = spread_of(set, instrument);
  spread.absolute = std::hypot(spread.absolute, tolerance);
  const double nearest = std::abs(number) * std::max(0.0, 1 - spread.relative * spread.relative);
  double peak = instrument.resolution * density(0, spread.at(nearest));
  if (instrument.type == Instrument::Type::ohmmeter && number > 0) {
    // What is folded up from -x: (x + m) / s(m) is least for m = 0 or for m without limit.
    const double z = std::min(number / spread.absolute, 1 / spread.relative);
    peak += instrument.resolution * density(z, spread.absolute);
  }
  return std::min(1.0, std::max(peak, gross_probability(instrument, outcome)));
}

SignTruth sign_truth(circuit::Solver& solver, Index sign_index, circuit::Stage stage) {
  const auto& sign = solver.circuit().vehicle().signs[static_cast<std::size_t>(sign_index)];
  solver.enter(stage);
  if (sign.on_change && solver.settle(stage).chatters) return SignTruth::chatters;
  if (!solver.holds(sign.when)) return SignTruth::absent;
  // Not the stage before the settled one: a control left elsewhere makes that another one.
  const auto previous = solver.previous(stage);
  if (!sign.on_change || previous == none) return SignTruth::present;
  solver.enter(previous);
  const bool held_before = solver.holds(sign.when);
  solver.enter(stage);
  return held_before ? SignTruth::absent : SignTruth::present;
}

Outcome outcome_of(SignTruth truth) noexcept {
  switch (truth) {
    case SignTruth::present:
      return Outcome::yes;
    case SignTruth::chatters:
      return Outcome::chatters;
    case SignTruth::absent:
      break;
  }
  return Outcome::no;
}

double sign_probability(const Sense& sense, Outcome outcome, SignTruth truth) {
  // A steady sign is called chattering, and a chattering one missed or taken for a steady one, as often
  // as a sign is imagined; the remainder goes to the right word.
  const double slip = 0.5 * sense.imagined;
  switch (truth) {
    case SignTruth::present:
      if (outcome == Outcome::yes) return 1 - sense.missed - slip;
      return outcome == Outcome::no ? sense.missed : slip;
    case SignTruth::absent:
      if (outcome == Outcome::no) return 1 - sense.imagined - slip;
      return outcome == Outcome::yes ? sense.imagined : slip;
    case SignTruth::chatters:
      if (outcome == Outcome::chatters) return 1 - sense.missed - sense.missed;
      return sense.missed;
  }
  return 0;
}

std::vector<Index> neighbours(const vehicle::Vehicle& vehicle, Index terminal) {
  const auto at = [](Index i) { return static_cast<std::size_t>(i); };
  const auto& component = vehicle.components[at(vehicle.terminals[at(terminal)].component)];
  std::vector<Index> near;
  if (component.type != vehicle::Component::Type::contact) {
    for (const auto t : component.terminals)
      if (t != terminal) near.push_back(t);
  } else {
    // Contacts of a connector follow each other; the same side of the pins on either hand is near.
    const auto side = std::find(component.terminals.begin(), component.terminals.end(), terminal) -
                      component.terminals.begin();
    const auto self = vehicle.terminals[at(terminal)].component;
    for (const Index other : {self - 1, self + 1}) {
      if (other < 0 || at(other) >= vehicle.components.size()) continue;
      const auto& next = vehicle.components[at(other)];
      if (next.type == component.type && next.connector == component.connector)
        near.push_back(next.terminals[static_cast<std::size_t>(side)]);
    }
  }
  if (near.size() > 2) near.resize(2);
  return near;
}

}  // namespace faultloom::readings
