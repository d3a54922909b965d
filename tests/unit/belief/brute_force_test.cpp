#include "unit/belief/bench.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>

/// The posterior by its definition: a loop over no fault, every mode and every pair of modes of different
/// components, each evaluated afresh, without classes, caches, ceilings or pruning.
namespace faultloom::test {
namespace {

using belief::Posterior;
using readings::Entry;
using readings::EntryProbability;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// P(looks at one component | it reports damage with this probability); the entry `without` left out.
double look_probability(const std::vector<Entry>& entries, Index component, double seen,
                        double correlation, std::size_t without) {
  const double p = std::min(std::max(seen, 1e-4), 1 - 1e-4);
  int damage = 0;
  int clean = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    if (i == without || entries[i].type != Entry::Type::look || entries[i].component != component)
      continue;
    if (entries[i].outcome == Outcome::damage) ++damage;
    if (entries[i].outcome == Outcome::clean) ++clean;
  }
  const double fresh = std::pow(p, damage) * std::pow(1 - p, clean);
  if (damage + clean < 2) return fresh;
  const double same = clean == 0 ? p : damage == 0 ? 1 - p : 0;
  return (1 - correlation) * fresh + correlation * same;
}

class Joint {
 public:
  Joint(const Bench& bench, const belief::Evidence& evidence, const rates::Rates& rates)
      : bench_(bench),
        entries_(evidence.entries),
        rates_(rates),
        solver_(bench.circuit()),
        forecast_(solver_, bench.instruments(), electrical()),
        probabilities_(forecast_.entry_count()) {
    const auto& vehicle = bench_.vehicle();
    priors_ = rates::mode_priors(vehicle, rates_, evidence.exposure);
    failed_ = rates::component_priors(vehicle, priors_);
    result.modes.assign(vehicle.modes.size(), 0);
    result.components.assign(vehicle.components.size(), 0);
    result.wires.assign(vehicle.wires.size(), 0);
    result.entries.resize(entries_.size());
    misread_.assign(entries_.size(), 0);
    without_.assign(entries_.size(), 0);
    group_sum_.assign(forecast_.group_count(), 0);
    sum();
    normalise();
  }

  Posterior result;

 private:
  static constexpr std::size_t nothing = static_cast<std::size_t>(-1);

  std::vector<Entry> electrical() {
    std::vector<Entry> list;
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      if (!entries_[i].informative() || entries_[i].type == Entry::Type::look) continue;
      list.push_back(entries_[i]);
      given_.push_back(i);
    }
    return list;
  }

  /// P(exactly these modes), relative to the model being right.
  double prior(const std::vector<Index>& modes) const {
    double p = 1;
    for (std::size_t c = 0; c < failed_.size(); ++c) {
      const auto present = std::find_if(modes.begin(), modes.end(), [&](Index m) {
        return bench_.vehicle().modes[at(m)].component == static_cast<Index>(c);
      });
      p *= present == modes.end() ? 1 - failed_[c] : priors_[at(*present)];
    }
    return p;
  }

  /// P(all looks | exactly these modes), one look left out if wanted.
  double looks(const std::vector<Index>& modes, std::size_t without = nothing) const {
    double p = 1;
    for (const auto& [component, any] : looked_at()) {
      double seen = bench_.vehicle().components[at(component)].look_false_alarm;
      for (const auto m : modes)
        if (bench_.vehicle().modes[at(m)].component == component)
          seen = bench_.vehicle().modes[at(m)].seen;
      p *= look_probability(entries_, component, seen, bench_.instruments().repeat_correlation,
                            without);
    }
    return p;
  }

  /// P(all looks) before any evidence.
  double looks_marginal(std::size_t without = nothing) const {
    double product = 1;
    const double correlation = bench_.instruments().repeat_correlation;
    for (const auto& [component, any] : looked_at()) {
      const auto& looked = bench_.vehicle().components[at(component)];
      double p =
          (1 - failed_[at(component)]) *
          look_probability(entries_, component, looked.look_false_alarm, correlation, without);
      for (const auto m : looked.modes)
        p += priors_[at(m)] * look_probability(entries_, component,
                                               bench_.vehicle().modes[at(m)].seen, correlation,
                                               without);
      product *= p;
    }
    return product;
  }

  std::map<Index, bool> looked_at() const {
    std::map<Index, bool> result_of;
    for (const auto& e : entries_)
      if (e.type == Entry::Type::look && e.informative()) result_of[e.component] = true;
    return result_of;
  }

  void add(const std::vector<Index>& modes) {
    const double prior_of = prior(modes);
    if (prior_of == 0) return;
    const double p = (1 - rates_.not_in_model) * prior_of;
    const auto overrides = circuit::overrides_of(bench_.circuit(), modes);
    forecast_.evaluate(overrides, probabilities_);
    double likelihood = 1;
    for (std::size_t g = 0; g < forecast_.group_count(); ++g) {
      const double group = forecast_.group_probability(g, probabilities_);
      likelihood *= group;
      if (modes.size() < 2) group_sum_[g] += prior_of * group;
    }
    if (modes.size() < 2) single_prior_ += prior_of;
    const double weight = p * likelihood * looks(modes);
    total_ += weight;
    if (modes.empty()) result.no_fault = weight;
    std::map<Index, bool> wires;
    for (const auto m : modes) {
      const auto component = bench_.vehicle().modes[at(m)].component;
      result.modes[at(m)] += weight;
      result.components[at(component)] += weight;
      if (const auto wire = bench_.vehicle().wire_of(component); wire != vehicle::none)
        wires[wire] = true;
    }
    for (const auto& [wire, any] : wires) result.wires[at(wire)] += weight;
    for (std::size_t g = 0; g < forecast_.group_count(); ++g) {
      const double group = forecast_.group_probability(g, probabilities_);
      for (const auto i : forecast_.group(g)) {
        misread_[given_[i]] += weight * (1 - forecast_.group_proper(g, i, probabilities_) / group);
        without_[given_[i]] += weight / group * forecast_.group_probability(g, probabilities_, i);
      }
    }
    for (std::size_t i = 0; i < entries_.size(); ++i)
      if (entries_[i].type == Entry::Type::look && entries_[i].informative())
        without_[i] += p * likelihood * looks(modes, i);
  }

  void sum() {
    const auto& modes = bench_.vehicle().modes;
    const auto n = static_cast<Index>(modes.size());
    add({});
    for (Index a = 0; a < n; ++a) {
      if (priors_[at(a)] == 0) continue;
      add({a});
      for (Index b = a + 1; b < n; ++b)
        if (priors_[at(b)] > 0 && modes[at(a)].component != modes[at(b)].component) add({a, b});
    }
  }

  /// "Not in the model": what is noted down is as likely as it is on average, reading by reading, over no
  /// fault and the single ones.
  void normalise() {
    double unmodelled = rates_.not_in_model * looks_marginal();
    for (const double g : group_sum_) unmodelled *= g / single_prior_;
    for (std::size_t g = 0; g < group_sum_.size(); ++g)
      for (const auto i : forecast_.group(g))
        result.entries[given_[i]].marginal = std::pow(
            group_sum_[g] / single_prior_, 1.0 / static_cast<double>(forecast_.group(g).size()));
    total_ += unmodelled;
    for (auto* list : {&result.modes, &result.components, &result.wires})
      for (auto& p : *list) p /= total_;
    result.no_fault /= total_;
    result.not_in_model = unmodelled / total_;
    result.log_evidence = std::log(total_);
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      auto& report = result.entries[i];
      if (!entries_[i].informative()) continue;
      if (entries_[i].type == Entry::Type::look) {
        report.marginal = looks_marginal() / looks_marginal(i);
        report.misreading = look_misread(entries_[i]);
      } else {
        report.misreading = misread_[i] / total_;
      }
      report.predictive = total_ / (without_[i] + unmodelled / report.marginal);
    }
  }

  double look_misread(const Entry& look) const {
    if (look.outcome == Outcome::damage) return 1 - result.components[at(look.component)];
    double visible = 0;
    for (const auto m : bench_.vehicle().components[at(look.component)].modes)
      if (bench_.vehicle().modes[at(m)].seen > 0.5) visible += result.modes[at(m)];
    return visible;
  }

  const Bench& bench_;
  std::vector<Entry> entries_;
  const rates::Rates& rates_;
  std::vector<std::size_t> given_;  ///< entry of each electrical one
  circuit::Solver solver_;
  readings::Forecast forecast_;
  std::vector<EntryProbability> probabilities_;
  std::vector<double> priors_;
  std::vector<double> failed_;
  std::vector<double> misread_;
  std::vector<double> without_;
  std::vector<double> group_sum_;
  double single_prior_ = 0;
  double total_ = 0;
};

void expect_same(const Posterior& found, const Posterior& expected) {
  constexpr double close = 1e-9;
  EXPECT_NEAR(found.no_fault, expected.no_fault, close);
  EXPECT_NEAR(found.not_in_model, expected.not_in_model, close);
  EXPECT_NEAR(found.log_evidence, expected.log_evidence, close);
  ASSERT_EQ(found.modes.size(), expected.modes.size());
  for (std::size_t m = 0; m < found.modes.size(); ++m)
    EXPECT_NEAR(found.modes[m], expected.modes[m], close) << m;
  for (std::size_t c = 0; c < found.components.size(); ++c)
    EXPECT_NEAR(found.components[c], expected.components[c], close) << c;
  for (std::size_t w = 0; w < found.wires.size(); ++w)
    EXPECT_NEAR(found.wires[w], expected.wires[w], close) << w;
  ASSERT_EQ(found.entries.size(), expected.entries.size());
  for (std::size_t i = 0; i < found.entries.size(); ++i) {
    EXPECT_NEAR(found.entries[i].misreading, expected.entries[i].misreading, close)
        << "entry " << i;
    EXPECT_NEAR(found.entries[i].predictive, expected.entries[i].predictive, close)
        << "entry " << i;
    EXPECT_NEAR(found.entries[i].marginal, expected.entries[i].marginal, close) << "entry " << i;
  }
}

void compare(const Bench& bench, const belief::Evidence& evidence, const rates::Rates& rates) {
  const Joint joint(bench, evidence, rates);
  for (const double prune : {0.0, belief::Options{}.prune}) {
    SCOPED_TRACE(prune);
    belief::Belief belief(bench.candidates(), bench.instruments(), rates);
    belief::Options options;
    options.prune = prune;
    const auto found = belief.posterior(evidence, options);
    expect_same(found, joint.result);
  }
}

/// The demonstration job, with more entries of every sort.
belief::Evidence full_evidence(Bench& bench) {
  auto evidence = bench.job("compost-yard-dead-tug");
  const auto truth = bench.modes({"W2/open"});
  const auto on = bench.state({{"key", "on"}});
  auto& list = evidence.entries;
  list.push_back(list[4]);  // the dead reading at the key, repeated
  list.back().number = 0.02;
  list.push_back(list[0]);  // and the dark indicator
  list.push_back(
      bench.answered(bench.reading("filament_lamp_5w", "S1.out", "BAT1.negative", on), truth));
  list.push_back(bench.answered(
      bench.reading("low_impedance_meter", "TK.stud", "BN.stud", bench.run_state()), truth));
  list.push_back(bench.answered(bench.sign("M1", "turns", bench.run_state()), truth));
  list.push_back(bench.look("W2", Outcome::damage));
  list.push_back(bench.look("W2:from", Outcome::clean));
  list.push_back(bench.look("W2", Outcome::damage));
  list.push_back(bench.look("F1", Outcome::clean));
  list.push_back(bench.look("S1", Outcome::not_sure));
  list.push_back(bench.sign("H2", "lit", on));
  list.back().outcome = Outcome::cannot_reach;
  return evidence;
}

TEST(BruteForce, AgreesOnTheDemonstrationJob) {
  Bench bench("mulch-tug");
  compare(bench, bench.job("compost-yard-dead-tug"), bench.rates());
}

TEST(BruteForce, AgreesOnEntriesOfEverySort) {
  Bench bench("mulch-tug");
  const auto evidence = full_evidence(bench);
  compare(bench, evidence,
          only(bench.rates(), {"control_wire", "control_termination", "fuse", "key_switch",
                               "reed_interlock", "contactor", "battery_block_12", "dash_lamp"}));
}

TEST(BruteForce, AgreesWithoutEvidence) {
  Bench bench("mulch-tug");
  compare(bench, {},
          only(bench.rates(), {"power_wire", "power_termination", "contactor", "hold_down"}));
}

}  // namespace
}  // namespace faultloom::test
