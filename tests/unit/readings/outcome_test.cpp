#include <faultloom/readings/response.hpp>

#include "unit/belief/bench.hpp"
#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <utility>

namespace faultloom::readings {
namespace {

/// Ports between a dead short and an open circuit, many of them without voltage.
class RandomPorts {
 public:
  Thevenin next() {
    std::uniform_real_distribution<double> volt(-60, 60);
    std::uniform_real_distribution<double> decades(-4, 9);
    std::uniform_int_distribution<int> coin(0, 2);
    return {coin(random_) == 0 ? 0.0 : volt(random_),
            coin(random_) == 0 ? 0.0 : std::pow(10, decades(random_))};
  }

 private:
  std::mt19937_64 random_{11};
};

const Instrument& pick(const InstrumentSet& set, std::string_view id) {
  return set.instruments[static_cast<std::size_t>(set.find(id))];
}

/// Sum over all numbers the display can show within twelve standard deviations.
double sum_of_numbers(const InstrumentSet& set, const Instrument& instrument, const Thevenin& port,
                      double tolerance = 0) {
  auto s = shown(set, instrument, port);
  s.sigma = std::hypot(s.sigma, tolerance);
  double from = std::max(s.value - 12 * s.sigma, -instrument.full_scale);
  if (instrument.type == Instrument::Type::ohmmeter) from = std::max(0.0, from);
  const double until = std::min(s.value + 12 * s.sigma, instrument.full_scale);
  double sum = 0;
  for (auto step = std::ceil(from / instrument.resolution); step * instrument.resolution <= until;
       ++step)
    sum += proper_probability(set, instrument, Outcome::number, step * instrument.resolution, port,
                              tolerance);
  return sum;
}

TEST(Outcomes, WordsSumToOne) {
  const auto set = test::bench_instruments();
  RandomPorts ports;
  for (int i = 0; i < 2000; ++i) {
    const auto port = ports.next();
    double lamp = 0;
    for (const auto word : {Outcome::bright, Outcome::dim, Outcome::dark}) {
      const double p = proper_probability(set, pick(set, "lamp"), word, 0, port);
      EXPECT_GT(p, 0) << "words are never impossible";
      lamp += p;
    }
    EXPECT_NEAR(lamp, 1, 1e-12);
    double beeper = 0;
    for (const auto word : {Outcome::beep, Outcome::silent}) {
      const double p = proper_probability(set, pick(set, "beeper"), word, 0, port);
      EXPECT_GT(p, 0);
      beeper += p;
    }
    EXPECT_NEAR(beeper, 1, 1e-12);
  }
}

TEST(Outcomes, NumbersSumToOneOverTheDisplay) {
  const auto set = test::bench_instruments();
  RandomPorts ports;
  for (int i = 0; i < 200; ++i) {
    const auto port = ports.next();
    EXPECT_NEAR(sum_of_numbers(set, pick(set, "meter"), port), 1, 1e-6)
        << port.volt << " V, " << port.ohm;
    EXPECT_NEAR(sum_of_numbers(set, pick(set, "clamp"), port), 1, 1e-6) << port.volt << " A";
  }
}

TEST(Outcomes, ATolerancePutsTheSameProbabilityOnMoreNumbers) {
  const auto set = test::bench_instruments();
  for (const double tolerance : {0.001, 0.2, 3.0}) {
    EXPECT_NEAR(sum_of_numbers(set, pick(set, "meter"), {48, 10}, tolerance), 1, 1e-6);
    EXPECT_NEAR(sum_of_numbers(set, pick(set, "clamp"), {4, 0}, tolerance), 1, 1e-6);
    EXPECT_NEAR(sum_of_numbers(set, pick(set, "ohmmeter"), {0, 1}, tolerance), 1, 1e-6);
  }
}

TEST(Outcomes, AToleranceAddsInQuadrature) {
  const auto set = test::bench_instruments();
  const auto& meter = pick(set, "meter");
  const Thevenin port{48, 0};
  const double sigma = shown(set, meter, port).sigma;
  const auto p = [&](double number, double tolerance) {
    return proper_probability(set, meter, Outcome::number, number, port, tolerance);
  };
  const double wide = std::hypot(sigma, 3);
  EXPECT_NEAR(p(48, 3) / p(48, 0), sigma / wide, 1e-9);
  EXPECT_NEAR(p(40, 3), p(48, 3) * std::exp(-0.5 * 64 / (wide * wide)), 1e-9 * p(48, 3));
  EXPECT_GT(p(40, 3), p(40, 0)) << "a number that is off fits better if it may be off";
  EXPECT_EQ(p(40, 0), proper_probability(set, meter, Outcome::number, 40, port));
}

TEST(Outcomes, WordsHaveNoTolerance) {
  const auto set = test::bench_instruments();
  for (const auto& [id, word] : {std::pair{"lamp", Outcome::dim},
                                 {"beeper", Outcome::beep},
                                 {"ohmmeter", Outcome::overload}})
    EXPECT_EQ(proper_probability(set, pick(set, id), word, 0, {0, 100}, 5),
              proper_probability(set, pick(set, id), word, 0, {0, 100}));
}

TEST(Outcomes, OhmsAndOverloadSumToOne) {
  const auto set = test::bench_instruments();
  auto ohmmeter = pick(set, "ohmmeter");
  ohmmeter.full_scale = 20000;
  for (const double ohm :
       {0.0, 0.05, 0.3, 2.0, 115.0, 3000.0, 19000.0, 20000.0, 20100.0, 26000.0, 1e9}) {
    const Thevenin port{0, ohm};
    const double overload = proper_probability(set, ohmmeter, Outcome::overload, 0, port);
    EXPECT_NEAR(sum_of_numbers(set, ohmmeter, port) + overload, 1, ohm > 1e4 ? 2e-5 : 1e-6) << ohm;
  }
  EXPECT_EQ(proper_probability(set, ohmmeter, Outcome::overload, 0, {48, 115}), 1)
      << "live circuit";
  EXPECT_EQ(proper_probability(set, ohmmeter, Outcome::number, 115, {48, 115}), 0);
}

TEST(Outcomes, OverloadGrowsWithoutAJumpAtFullScale) {
  const auto set = test::bench_instruments();
  const auto& ohmmeter = pick(set, "ohmmeter");
  const double below =
      proper_probability(set, ohmmeter, Outcome::overload, 0, {0, ohmmeter.full_scale * 0.9999});
  const double above =
      proper_probability(set, ohmmeter, Outcome::overload, 0, {0, ohmmeter.full_scale * 1.0001});
  EXPECT_NEAR(below, above, 1e-3);
  EXPECT_GT(proper_probability(set, ohmmeter, Outcome::overload, 0, open_port), 1 - 1e-9);
}

TEST(Outcomes, GrossErrorsSumToOne) {
  const auto set = test::bench_instruments();
  const auto steps = [](const Instrument& i, double range) { return range / i.resolution; };
  EXPECT_NEAR(3 * gross_probability(pick(set, "lamp"), Outcome::dim), 1, 1e-15);
  EXPECT_NEAR(2 * gross_probability(pick(set, "beeper"), Outcome::beep), 1, 1e-15);
  for (const auto* id : {"meter", "clamp"})
    EXPECT_NEAR(gross_probability(pick(set, id), Outcome::number) *
                    steps(pick(set, id), 2 * pick(set, id).full_scale),
                1, 1e-12);
  const auto& ohmmeter = pick(set, "ohmmeter");
  EXPECT_NEAR(
      gross_probability(ohmmeter, Outcome::overload) +
          gross_probability(ohmmeter, Outcome::number) * steps(ohmmeter, ohmmeter.full_scale),
      1, 1e-12);
}

TEST(Outcomes, TheCeilingIsNeverExceeded) {
  const auto set = test::bench_instruments();
  RandomPorts ports;
  std::mt19937_64 random(5);
  std::uniform_real_distribution<double> spread(-6, 6);
  std::uniform_real_distribution<double> decades(-2, 7);
  for (const auto& instrument : set.instruments) {
    for (int i = 0; i < 4000; ++i) {
      auto port = ports.next();
      if (instrument.type == Instrument::Type::ohmmeter) port.volt = 0;
      auto s = shown(set, instrument, port);
      const double tolerance = i % 3 == 0 ? 0 : std::pow(10, decades(random) / 2);
      s.sigma = std::hypot(s.sigma, tolerance);
      // Half of the numbers near what the port gives, the others anywhere.
      double number =
          i % 2 == 0 ? s.value + spread(random) * s.sigma : std::pow(10, decades(random));
      if (instrument.type == Instrument::Type::ohmmeter) number = std::abs(number);
      for (const auto outcome : {Outcome::number, Outcome::overload, Outcome::bright, Outcome::dim,
                                 Outcome::dark, Outcome::beep, Outcome::silent}) {
        const bool numeric = instrument.type != Instrument::Type::lamp &&
                             instrument.type != Instrument::Type::beeper;
        if (numeric != (outcome == Outcome::number || outcome == Outcome::overload)) continue;
        if (outcome == Outcome::overload && instrument.type != Instrument::Type::ohmmeter) continue;
        const double ceiling =
            ceiling_probability(set, instrument, outcome, number, tolerance) * (1 + 1e-12);
        EXPECT_LE(proper_probability(set, instrument, outcome, number, port, tolerance), ceiling)
            << instrument.id << " shows " << number << " at " << port.volt << " V, " << port.ohm
            << " ohm";
        EXPECT_LE(gross_probability(instrument, outcome), ceiling);
      }
    }
  }
}

TEST(Outcomes, TheCeilingOfSmallResistancesIsNearlyReached) {
  const auto set = test::bench_instruments();
  const auto& ohmmeter = pick(set, "ohmmeter");
  for (const double number : {0.1, 0.3, 1.0, 10.0, 100.0}) {
    double best = 0;
    for (double ohm = 0; ohm < 3 * number + 1; ohm += 0.001 + number * 0.001)
      best = std::max(best, proper_probability(set, ohmmeter, Outcome::number, number, {0, ohm}));
    EXPECT_GT(best, 0.5 * ceiling_probability(set, ohmmeter, Outcome::number, number)) << number;
  }
}

TEST(Outcomes, TheCeilingOfARoughNumberIsNearlyReached) {
  const auto set = test::bench_instruments();
  const auto& meter = pick(set, "meter");
  for (const double tolerance : {0.1, 3.0, 20.0}) {
    double best = 0;
    for (double volt = 0; volt < 60; volt += 0.05)
      best =
          std::max(best, proper_probability(set, meter, Outcome::number, 40, {volt, 0}, tolerance));
    const double ceiling = ceiling_probability(set, meter, Outcome::number, 40, tolerance);
    EXPECT_GT(best, 0.99 * ceiling) << tolerance;
    EXPECT_LE(best, ceiling * (1 + 1e-12)) << tolerance;
  }
}

// Dirt and damp change an insulation by factors: what a meter shows behind nothing else says little,
// whereas the same voltage behind a wire is known to some per cent.
TEST(Outcomes, WhatHangsOnInsulationIsUncertain) {
  const auto set = test::bench_instruments();
  const auto& meter = pick(set, "meter");
  const auto of = [&](double volt, double ohm) {
    const Thevenin port{volt * (meter.resistance_ohm + ohm) / meter.resistance_ohm, ohm};
    return proper_probability(set, meter, Outcome::number, 16.8, port);
  };
  EXPECT_LT(of(14.4, 100) / of(16.8, 100), 0.01);
  EXPECT_GT(of(14.4, 3e7) / of(16.8, 3e7), 0.8);
  EXPECT_LT(of(14.4, 3e7) / of(16.8, 100), 0.2);
}

TEST(Outcomes, NoSourceResistanceGivesMoreThanTheLimit) {
  const auto set = test::bench_instruments();
  const auto& meter = pick(set, "meter");
  RandomPorts ports;
  std::mt19937_64 random(5);
  std::uniform_real_distribution<double> number(-60, 60);
  for (int i = 0; i < 5000; ++i) {
    const auto port = ports.next();
    const double shown = number(random);
    const double volt = voltmeter_volt(meter, port);
    for (const double most_volt : {std::abs(port.volt), 60.0})
      EXPECT_LE(
          proper_probability(set, meter, Outcome::number, shown, port),
          most_probability(set, meter, Outcome::number, shown, volt, most_volt) * (1 + 1e-12) +
              1e-200);  // down there the rounding of the exponent counts
  }
}

TEST(Outcomes, NoSourceResistanceExceedsTheLimitBelowAVoltage) {
  test::Bench bench("mulch-tug");
  circuit::Solver solver(bench.circuit());
  std::mt19937_64 random(3);
  std::uniform_real_distribution<double> unit(0, 1);
  for (const auto* name : {"meter", "low_impedance_meter"}) {
    const auto& meter = pick(bench.instruments(), name);
    for (int i = 0; i < 100; ++i) {
      const double volt = 60 * unit(random);
      auto entry = bench.reading(name, "S1.in", "BAT1.negative", bench.run_state());
      entry.outcome = Outcome::number;
      entry.number = volt * (1 + 2 * unit(random)) + 0.01;
      Forecast forecast(solver, bench.instruments(), {entry});
      const double limit = forecast.group_below(0, volt);
      const double properly = 1 - meter.errors.no_contact - meter.errors.gross;
      for (double ohm = 1; ohm < 1e12; ohm *= 1.02)
        EXPECT_LE(properly * proper_probability(bench.instruments(), meter, Outcome::number,
                                                entry.number, {volt, ohm}),
                  limit * (1 + 1e-12));
    }
  }
}

TEST(Outcomes, SignsSumToOne) {
  const auto set = test::bench_instruments();
  for (const auto* name : {"hear", "see", "feel"}) {
    for (const auto truth : {SignTruth::absent, SignTruth::present, SignTruth::chatters}) {
      double sum = 0;
      for (const auto word : {Outcome::yes, Outcome::no, Outcome::chatters}) {
        EXPECT_GE(sign_probability(set.sense(name), word, truth), 0);
        sum += sign_probability(set.sense(name), word, truth);
      }
      EXPECT_NEAR(sum, 1, 1e-15);
    }
  }
}

TEST(Outcomes, ProbesSlipOnlyToWhatIsNear) {
  const auto cart = test::small_cart();
  const auto t = [&](std::string_view name) { return cart.terminal(name); };
  EXPECT_EQ(neighbours(cart, t("X1-1.plug")), (std::vector<Index>{t("X1-2.plug")}));
  EXPECT_EQ(neighbours(cart, t("X1-2.socket")), (std::vector<Index>{t("X1-1.socket")}));
  EXPECT_EQ(neighbours(cart, t("S1.in")), (std::vector<Index>{t("S1.out")}));
  EXPECT_EQ(neighbours(cart, t("K1.main_in")),
            (std::vector<Index>{t("K1.coil_feed"), t("K1.coil_return")}));
}

}  // namespace
}  // namespace faultloom::readings
