#include "unit/belief/bench.hpp"
#include "unit/belief/oracle.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

/// Faults that come and go, damage in common, resistances, misreadings, and what is not in the model.
namespace faultloom::test {
namespace {

using readings::Entry;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

double beta_function(double a, double b) {
  return std::exp(std::lgamma(a) + std::lgamma(b) - std::lgamma(a + b));
}

double odds(double p) { return p / (1 - p); }

/// Only these components can fail.
Corner corner_of(Bench& bench, const std::vector<std::string>& ids, Corner::Choice choice,
                 double not_in_model = 0) {
  std::set<Index> chosen;
  for (const auto& id : ids) chosen.insert(bench.component(id));
  auto rates = bench.rates();
  rates.not_in_model = not_in_model;
  return {bench.vehicle(), bench.instruments(), rates, chosen, choice};
}

Index mode_named(const vehicle::Vehicle& v, const std::string& name) {
  for (std::size_t m = 0; m < v.modes.size(); ++m)
    if (vehicle::mode_name(v, static_cast<Index>(m)) == name) return static_cast<Index>(m);
  ADD_FAILURE() << "no mode " << name;
  return 0;
}

// After y tries, x of them bad, a Beta(a, b) share of bad tries weighs B(a + x, b + y - x) / B(a, b)
// (beta-binomial with the order of the tries known; textbook).
TEST(Intermittent, WeightFollowsTheBetaFunction) {
  for (const auto& [a, b] : {std::pair{1.2, 2.2}, std::pair{0.7, 0.9}, std::pair{3.0, 5.0}})
    for (const int good : {0, 1, 3, 10, 20})
      for (const int bad : {0, 1, 4}) {
        const auto rule = belief::beta_rule({a, b});
        double sum = 0;
        for (std::size_t i = 0; i < rule.nodes.size(); ++i)
          sum += rule.weights[i] * std::pow(rule.nodes[i], bad) * std::pow(1 - rule.nodes[i], good);
        const double expected = beta_function(a + bad, b + good) / beta_function(a, b);
        EXPECT_NEAR(sum, expected, 1e-11 * expected + 1e-14) << a << ' ' << b << ' ' << good;
      }
}

// Good tries on different visits, a perfect ear: the weight of a fault that comes and goes falls exactly
// so, and a fault that is always there is out at once.
TEST(Intermittent, GoodTriesDoNotClearIt) {
  Bench bench("mulch-tug");
  auto corner = corner_of(bench, {"S1"}, {.intermittent = true});
  auto instruments = bench.instruments();
  for (auto* sense : {&instruments.hear, &instruments.see, &instruments.feel})
    *sense = {.missed = 1e-12, .imagined = 1e-12, .wrong_state = 0};
  const auto coming = mode_named(corner.vehicle(), "S1/intermittent");
  const auto lasting = mode_named(corner.vehicle(), "S1/open");
  const auto beta = corner.vehicle().modes[at(coming)].duty;
  belief::Belief belief(corner.space(), instruments, corner.rates());
  belief::Evidence job;
  const auto prior = belief.posterior(job);
  const double before = prior.modes[at(coming)] / prior.no_fault;
  for (int tries = 1; tries <= 20; ++tries) {
    auto e = bench.sign("H1", "lit", bench.state({{"key", "on"}}));
    e.outcome = Outcome::yes;
    e.visit = tries;
    job.entries.push_back(e);
    belief::Options options;
    options.search.bound = 1e-12;
    const auto now = belief.posterior(job, options);
    const double expected =
        before * beta_function(beta.a, beta.b + tries) / beta_function(beta.a, beta.b);
    EXPECT_NEAR(now.modes[at(coming)] / now.no_fault, expected, 1e-6 * expected) << tries;
    EXPECT_LT(now.modes[at(lasting)], 1e-9);
  }
}

/// How much less likely a component's intermittent mode is, against no fault, after a perfect eye saw these
/// lamps lit.
double weight_after(const Bench& bench, const Corner& corner, const std::string& mode,
                    const std::vector<Entry>& lit) {
  auto instruments = bench.instruments();
  instruments.see = {.missed = 1e-12, .imagined = 1e-12, .wrong_state = 0};
  const auto m = at(mode_named(corner.vehicle(), mode));
  belief::Belief belief(corner.space(), instruments, corner.rates());
  belief::Options options;
  options.search.bound = 1e-12;
  const auto before = belief.posterior({}, options);
  const auto after = belief.posterior({lit, {}}, options);
  return after.modes[m] / after.no_fault / (before.modes[m] / before.no_fault);
}

// Two lamps lit during one visit: with the chance `persistence` they saw the contact in one and the same
// condition, B(a, b + 1) / B(a, b); otherwise in two, B(a, b + 2) / B(a, b).
TEST(Intermittent, PersistenceIsThatOfTheRates) {
  Bench bench("mulch-tug");
  auto rates = bench.rates();
  rates.not_in_model = 0;
  for (const double persistence : {0.0, 0.25, 0.6, 1.0}) {
    rates.intermittence.persistence = persistence;
    const Corner corner(bench.vehicle(), bench.instruments(), rates, {bench.component("S1")},
                        {.intermittent = true});
    const auto key_on = bench.state({{"key", "on"}});
    std::vector<Entry> lit{bench.sign("H1", "lit", key_on), bench.sign("H2", "lit", key_on)};
    for (auto& e : lit) e.outcome = Outcome::yes;
    const auto beta =
        corner.vehicle().modes[at(mode_named(corner.vehicle(), "S1/intermittent"))].duty;
    const double once = beta_function(beta.a, beta.b + 1) / beta_function(beta.a, beta.b);
    const double twice = beta_function(beta.a, beta.b + 2) / beta_function(beta.a, beta.b);
    const double expected = persistence * once + (1 - persistence) * twice;
    EXPECT_NEAR(weight_after(bench, corner, "S1/intermittent", lit), expected, 1e-6 * expected)
        << persistence;
  }
}

// A lamp that stays lit while its switch is provoked with gain g: (1 - g) B(a, b + 1) / B(a, b).
TEST(Intermittent, GainsOfProvocationAreThoseOfTheRates) {
  using Provocation = Entry::Provocation;
  Bench bench("mulch-tug");
  auto rates = bench.rates();
  rates.not_in_model = 0;
  rates.intermittence.wiggle = 0.7;
  rates.intermittence.heat = 0.2;
  rates.intermittence.wet = 0.05;
  const Corner corner(bench.vehicle(), bench.instruments(), rates, {bench.component("S1")},
                      {.intermittent = true});
  const auto beta =
      corner.vehicle().modes[at(mode_named(corner.vehicle(), "S1/intermittent"))].duty;
  const double once = beta_function(beta.a, beta.b + 1) / beta_function(beta.a, beta.b);
  for (const auto& [how, gain] :
       {std::pair{Provocation::nothing, 0.0}, std::pair{Provocation::wiggle, 0.7},
        std::pair{Provocation::heat, 0.2}, std::pair{Provocation::wet, 0.05}}) {
    auto lit = bench.sign("H1", "lit", bench.state({{"key", "on"}}));
    lit.outcome = Outcome::yes;
    lit.provocation = how;
    lit.provoked_zone = corner.vehicle().components[at(bench.component("S1"))].zone;
    const double expected = (1 - gain) * once;
    EXPECT_NEAR(weight_after(bench, corner, "S1/intermittent", {lit}), expected, 1e-6 * expected);
  }
}

// "Works now" says little about a contact that fails one try in three, within one visit even less than on
// three; provoking it says more.
TEST(Intermittent, VisitsAndProvocationCount) {
  Bench bench("mulch-tug");
  auto corner = corner_of(bench, {"S1"}, {.intermittent = true});
  const auto coming = mode_named(corner.vehicle(), "S1/intermittent");
  auto belief = corner.belief();
  const auto ask = [&](int visits, bool wiggled) {
    belief::Evidence job;
    for (int i = 0; i < 3; ++i) {
      auto e = bench.sign("H1", "lit", bench.state({{"key", "on"}}));
      e.outcome = Outcome::yes;
      e.visit = visits == 1 ? 0 : i;
      if (wiggled) {
        e.provocation = Entry::Provocation::wiggle;
        e.provoked_zone = corner.vehicle().components[at(bench.component("S1"))].zone;
      }
      job.entries.push_back(e);
    }
    return belief.posterior(job).modes[at(coming)];
  };
  const double before = belief.posterior({}).modes[at(coming)];
  const double one_visit = ask(1, false);
  const double three_visits = ask(3, false);
  const double wiggled = ask(3, true);
  EXPECT_LT(one_visit, before);
  EXPECT_LT(three_visits, one_visit);
  EXPECT_LT(wiggled, three_visits);
  EXPECT_GT(three_visits, 0.2 * before);
}

// How a contact that comes and goes stands, by the Beta function: before anything was tried, and after the
// lamp behind it was lit once. With p the chance that it stays as it is during a visit, d its duty:
// shows now E[d], and again (p E[d] + (1 - p) E[d^2]) / E[d]; seen lit, (1 - p) E[d (1 - d)] / E[1 - d].
TEST(Intermittent, HowItStandsFollowsTheBetaFunction) {
  Bench bench("mulch-tug");
  auto rates = bench.rates();
  rates.not_in_model = 0;
  rates.intermittence.persistence = 0.6;
  rates.intermittence.wiggle = 0.55;
  const Corner corner(bench.vehicle(), bench.instruments(), rates, {bench.component("S1")},
                      {.intermittent = true});
  auto instruments = bench.instruments();
  instruments.see = {.missed = 1e-12, .imagined = 1e-12, .wrong_state = 0};
  const auto mode = at(mode_named(corner.vehicle(), "S1/intermittent"));
  const auto beta = corner.vehicle().modes[mode].duty;
  const auto mean = [&](int bad, int good) {
    return beta_function(beta.a + bad, beta.b + good) / beta_function(beta.a, beta.b);
  };
  belief::Belief belief(corner.space(), instruments, corner.rates());
  belief::Options options;
  options.search.bound = 1e-12;
  options.find_swings = true;
  const auto swing_after = [&](const std::vector<Entry>& entries) {
    const auto posterior = belief.posterior({entries, {}}, options);
    for (const auto& [candidate, swing] : posterior.swings)
      if (candidate.faults.size() == 1) return swing;
    ADD_FAILURE() << "nothing comes and goes";
    return belief::Predictions::Swing{};
  };
  const auto here = at(corner.vehicle().components[at(bench.component("S1"))].zone);
  const auto fresh = swing_after({});
  EXPECT_NEAR(fresh.now, mean(1, 0), 1e-9);
  EXPECT_NEAR(fresh.again, 0.6 + 0.4 * mean(2, 0) / mean(1, 0), 1e-9);
  EXPECT_NEAR(fresh.after_quiet, 0.4 * mean(1, 1) / mean(0, 1), 1e-9);
  EXPECT_NEAR(fresh.caught, 1 - 0.6 * mean(0, 1) - 0.4 * mean(0, 20), 1e-9);
  EXPECT_NEAR(fresh.wiggled[here], 1 - (1 - mean(1, 0)) * (1 - 0.55), 1e-9);
  for (std::size_t z = 0; z < fresh.wiggled.size(); ++z)
    if (z != here) {
      EXPECT_NEAR(fresh.wiggled[z], mean(1, 0), 1e-9);
    }
  auto lit = bench.sign("H1", "lit", bench.state({{"key", "on"}}));
  lit.outcome = Outcome::yes;
  const auto quiet = swing_after({lit});
  EXPECT_NEAR(quiet.now, 0.4 * mean(1, 1) / mean(0, 1), 1e-6);
  // On a visit of its own the earlier try tells the duty only.
  auto earlier = lit;
  lit.visit = 1;
  lit.outcome = Outcome::no;
  const auto shown = swing_after({earlier, lit});
  const double alike = mean(1, 1);
  const double apart = mean(2, 1);
  EXPECT_NEAR(shown.now, (0.6 * alike + 0.4 * apart) / alike, 1e-6);
}

// Lamps of one circuit, seen with the chances of a Sense to miss or imagine: two of them dark at one moment of a visit and one lit before it weigh, by the Beta function,
// p E[alike] + (1 - p) E[both at one moment] E[the other one], p being the chance that nothing changes.
TEST(Intermittent, WhatIsNoticedAtOneMomentHasOneState) {
  Bench bench("mulch-tug");
  auto rates = bench.rates();
  rates.not_in_model = 0;
  rates.intermittence.persistence = 0.6;
  const Corner corner(bench.vehicle(), bench.instruments(), rates, {bench.component("S1")},
                      {.intermittent = true});
  auto instruments = bench.instruments();
  constexpr double missed = 0.03;
  constexpr double imagined = 0.05;
  instruments.see = {.missed = missed, .imagined = imagined, .wrong_state = 0};
  instruments.repeat_correlation = 0;
  const auto mode = at(mode_named(corner.vehicle(), "S1/intermittent"));
  const auto beta = corner.vehicle().modes[mode].duty;
  const auto mean = [&](int bad, int good) {
    return beta_function(beta.a + bad, beta.b + good) / beta_function(beta.a, beta.b);
  };
  const auto key_on = bench.state({{"key", "on"}});
  auto before = bench.sign("H1", "lit", key_on);
  before.outcome = Outcome::yes;
  auto told = bench.sign("H1", "lit", key_on);
  told.outcome = Outcome::no;
  auto caught = bench.sign("H2", "lit", key_on);
  caught.outcome = Outcome::no;
  belief::Belief belief(corner.space(), instruments, corner.rates());
  belief::Options options;
  options.search.bound = 1e-12;
  const auto prior = belief.posterior({}, options);
  const auto weight = [&] {
    const auto after = belief.posterior({{before, told, caught}, {}}, options);
    return after.modes[mode] / after.no_fault / (prior.modes[mode] / prior.no_fault);
  };
  // By (at work, quiet): dark, and lit.
  const double dark[] = {1 - 1.5 * imagined, missed};
  const double lit[] = {imagined, 1 - missed - 0.5 * imagined};
  const double no_fault = dark[1] * dark[1] * lit[1];
  const double alike = mean(1, 0) * dark[0] * dark[0] * lit[0] + mean(0, 1) * no_fault;
  const auto drawn_anew = [&](double at_work, double quiet, double more_at_work,
                              double more_quiet) {
    return mean(2, 0) * at_work * more_at_work +
           mean(1, 1) * (at_work * more_quiet + quiet * more_at_work) +
           mean(0, 2) * quiet * more_quiet;
  };
  told.moment = caught.moment = caught.id;
  EXPECT_NEAR(
      weight(),
      (0.6 * alike + 0.4 * drawn_anew(dark[0] * dark[0], dark[1] * dark[1], lit[0], lit[1])) /
          no_fault,
      1e-6 * weight());
  // At moments of their own all three are drawn anew.
  const double together = weight();
  told.moment = caught.moment = "";
  double apart = 0;
  for (int bad = 0; bad <= 3; ++bad)
    for (int mask = 0; mask < 8; ++mask) {
      const int states[] = {mask & 1, (mask >> 1) & 1, (mask >> 2) & 1};
      if (states[0] + states[1] + states[2] != bad) continue;
      apart += mean(bad, 3 - bad) * lit[1 - states[0]] * dark[1 - states[1]] * dark[1 - states[2]];
    }
  EXPECT_NEAR(weight(), (0.6 * alike + 0.4 * apart) / no_fault, 1e-6 * weight());
  EXPECT_GT(together, weight());
}

// A pinch that cut one wire probably hit others: for a loom of which three wires can fail, by definition.
TEST(CommonCause, FoundDamageRaisesSiblings) {
  Bench bench("seedling-hauler");
  const auto& v = bench.vehicle();
  const auto loom = v.components[at(bench.component("W16"))].loom;
  std::vector<std::string> ids;
  for (const auto w : v.looms[at(loom)].wires)
    if (ids.size() < 3) ids.push_back(v.components[at(w)].id);
  auto corner = corner_of(bench, ids, {});
  belief::Evidence job;
  const auto exact_before = enumerate(corner, job);
  auto look = bench.look(ids[0], Outcome::damage);
  job.entries = {look, look, look};
  job.entries[1].id = "again";
  job.entries[2].id = "and again";
  auto belief = corner.belief();
  const auto after = belief.posterior(job);
  const auto before = belief.posterior({});
  double siblings_before = 0;
  double siblings_after = 0;
  for (std::size_t i = 1; i < 3; ++i) {
    siblings_before += before.components[at(bench.component(ids[i]))];
    siblings_after += after.components[at(bench.component(ids[i]))];
  }
  for (std::size_t m = 0; m < exact_before.modes.size(); ++m)
    EXPECT_NEAR(before.modes[m], exact_before.modes[m], 1e-12);
  EXPECT_GT(siblings_after, 2 * siblings_before);
  double event = 0;
  for (const auto& e : after.events) event += e.probability;
  double event_before = 0;
  for (const auto& e : before.events) event_before += e.probability;
  EXPECT_GT(event, 2 * event_before);
  // Given that the first is damaged for sure, each of the others is so with this chance.
  double both = 0;
  double first = 0;
  for (const auto& [set, p] : exact_before.sets) {
    int hit = 0;
    bool has_first = false;
    for (const auto m : set) {
      const auto wire = v.modes[at(m)].component;
      has_first = has_first || wire == bench.component(ids[0]);
      if (wire != bench.component(ids[0])) ++hit;
    }
    if (has_first) first += p;
    if (has_first) both += hit * p;
  }
  EXPECT_GT(both / first, 20 * siblings_before);

  // A single look: sums over the definition once more.
  job.entries.resize(1);
  const auto exact = enumerate(corner, job);
  const auto found = belief.posterior(job);
  for (std::size_t m = 0; m < exact.modes.size(); ++m)
    EXPECT_NEAR(found.modes[m], exact.modes[m], 1e-12);
}

// A reading through a bad joint tells its resistance: 48 V, a coil of known resistance, so many volts left.
TEST(Resistance, ReadingsTellIt) {
  Bench bench("seedling-hauler");
  auto corner = corner_of(bench, {"W16"}, {.spread = true});
  for (const double ohm : {8.0, 40.0, 300.0}) {
    auto vehicle = corner.vehicle();
    const auto mode = mode_named(vehicle, "W16/degraded");
    for (auto& change : vehicle.modes[at(mode)].changes) change.add_ohm = ohm;
    const Corner truth(vehicle, bench.instruments(), corner.rates(), {bench.component("W16")}, {});
    belief::Evidence job;
    job.entries.push_back(truth.answered(
        bench.reading("low_impedance_meter", "K1.coil_feed", "K1.coil_return", bench.run_state()),
        {mode}));
    for (const auto* instrument : {"meter", "low_impedance_meter"})
      job.entries.push_back(truth.answered(
          bench.reading(instrument, "TS.stud", "X2-1.plug", bench.run_state()), {mode}));
    auto belief = corner.belief();
    const auto found = belief.posterior(job);
    ASSERT_FALSE(found.resistances.empty()) << ohm;
    const auto& r = found.resistances.front();
    EXPECT_GT(r.probability, 0.9) << ohm;
    EXPECT_LE(r.low_ohm, ohm * 1.02);
    EXPECT_GE(r.high_ohm, ohm * 0.98);
    EXPECT_NEAR(std::log(r.median_ohm / ohm), 0, 0.25);
    EXPECT_LT(r.high_ohm / r.low_ohm, 3);
    EXPECT_LT(found.quadrature_error, 0.02);
  }
}

// Voltages that no fault of any kind gives: points joined by sound wires, far apart.
TEST(NotInModel, TakesOverWhenItShould) {
  Bench bench("mulch-tug");
  auto corner = corner_of(bench, {"F1", "S2", "K1"}, {.spread = true}, 0.03);
  belief::Evidence job;
  const auto on = bench.state({{"key", "on"}});
  auto belief = corner.belief();
  double before = belief.posterior(job).not_in_model;
  EXPECT_NEAR(before, 0.03, 1e-12);
  const double volts[] = {4.1, 19.3, 9.6, 15.2, 12.8};
  const char* const terminals[] = {"S1.out", "TK.stud", "S2.common", "K1.coil_feed", "U1.key_in"};
  for (std::size_t i = 0; i < 5; ++i) {
    job.entries.push_back(bench.reading("meter", terminals[i], "BAT1.negative", on));
    job.entries.back().outcome = Outcome::number;
    job.entries.back().number = volts[i];
  }
  const auto found = belief.posterior(job);
  EXPECT_GT(found.not_in_model, 0.5);
  EXPECT_GT(found.not_in_model, before);
  // The same readings as the vehicle gives them leave it where it was, or lower.
  for (auto& e : job.entries) e = corner.answered(e, {});
  EXPECT_LT(belief.posterior(job).not_in_model, before);
}

// A pedal that was not pressed explains all: it is named, and the reading's other ways are not.
TEST(Misreading, WrongStateIsNamed) {
  Bench bench("seedling-hauler");
  belief::Evidence job;
  // All well, but at one reading the pedal was not held.
  const auto run = bench.run_state();
  const auto released = bench.run_state({{"pedal", "released"}});
  job.entries.push_back(bench.answered(bench.sign("K1", "click", run), {}));
  job.entries.push_back(bench.answered(bench.sign("M1", "turns", run), {}));
  job.entries.push_back(
      bench.answered(bench.reading("filament_lamp", "K1.load", "BAT1.negative", run), {}));
  job.entries.push_back(
      bench.answered(bench.reading("meter", "K1.coil_feed", "K1.coil_return", released), {}));
  job.entries.back().state = run;
  belief::Belief belief(bench.space(), bench.instruments(), bench.rates());
  const auto found = belief.posterior(job);
  const auto& ways = found.entries.back().by_slip;
  EXPECT_GT(ways[index_of(readings::Slip::wrong_state)], 0.4);
  EXPECT_GT(ways[index_of(readings::Slip::wrong_state)], ways[index_of(readings::Slip::gross)]);
  EXPECT_GT(ways[index_of(readings::Slip::wrong_state)],
            ways[index_of(readings::Slip::wrong_neighbour)]);
  EXPECT_GT(found.entries.back().misreading, 0.5);
  EXPECT_LT(found.entries.front().misreading, 0.1);
}

// P(e_j | the others) by leaving each entry out; ln prod P(e_j) / P(e) over all of them as the conflict.
TEST(Conflict, LeaveOneOutAndConflictByDefinition) {
  Bench bench("mulch-tug");
  auto corner = corner_of(bench, {"F1", "S1", "K1"}, {});
  belief::Evidence job = bench.job("compost-yard-dead-tug");
  job.entries.resize(4);
  belief::Options options;
  options.weigh_entries = true;
  options.search.exhaustive = true;
  auto belief = corner.belief();
  const auto found = belief.posterior(job, options);
  const auto all = enumerate(corner, job);
  for (std::size_t i = 0; i < job.entries.size(); ++i) {
    auto others = job;
    others.entries.erase(others.entries.begin() + static_cast<std::ptrdiff_t>(i));
    const auto without = enumerate(corner, others);
    EXPECT_NEAR(std::log(found.entries[i].predictive), all.log_evidence - without.log_evidence,
                1e-9);
    for (const auto* id : {"F1", "S1", "K1"}) {
      const auto c = bench.component(id);
      double with_it = 0;
      double without_it = 0;
      for (const auto m : corner.vehicle().components[at(c)].modes) {
        with_it += all.modes[at(m)];
        without_it += without.modes[at(m)];
      }
      EXPECT_NEAR(found.entries[i].decibans[at(c)],
                  10 * std::log10(odds(with_it) / odds(without_it)), 1e-6);
    }
  }
  double sum = 0;
  for (const auto& e : found.entries) sum += std::log10(e.marginal);
  EXPECT_NEAR(found.conflict, sum - all.log_evidence / std::log(10.0), 1e-9);
}

// Now it runs, now it does not: that is what faults that come and go are in the model for. Whatever order
// it came in, something unknown explains it no better than they do; ten times the same it does no worse
// than once.
TEST(NotInModel, TriesThatDifferSpeakForWhatComesAndGoes) {
  Bench bench("mulch-tug");
  belief::Belief belief(bench.space(), bench.instruments(), bench.rates());
  const auto unknown = [&](const std::vector<Outcome>& outcomes) {
    belief::Evidence job;
    for (std::size_t i = 0; i < outcomes.size(); ++i) {
      auto e = bench.sign("M1", "turns", bench.run_state());
      e.id = "e" + std::to_string(i);
      e.outcome = outcomes[i];
      e.visit = 1;
      job.entries.push_back(e);
    }
    return belief.posterior(job).not_in_model;
  };
  const auto y = Outcome::yes;
  const auto n = Outcome::no;
  const double mixed = unknown({y, n, y, n, n, y, y, y, n, y});
  EXPECT_LT(mixed, 0.6);
  EXPECT_EQ(mixed, unknown({n, n, n, n, y, y, y, y, y, y}));
  EXPECT_LE(unknown(std::vector<Outcome>(10, n)), unknown({n}) + 1e-9);
}

}  // namespace
}  // namespace faultloom::test
