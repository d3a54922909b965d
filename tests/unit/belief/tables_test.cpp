#include "unit/belief/bench.hpp"
#include "unit/belief/oracle.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <cstdlib>
#include <filesystem>
#include <fstream>

/// Writes what a Bayesian network of the same question needs, for a witness written in Python: priors,
/// the likelihood of every entry under every set of at most two faults, and the library's answer.
namespace faultloom::test {
namespace {

using nlohmann::json;
using readings::Entry;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

class Tables {
 public:
  Tables(const Corner& corner, const belief::Evidence& evidence)
      : corner_(corner),
        evidence_(evidence),
        priors_(rates::mode_priors(corner.vehicle(), corner.rates(), evidence.exposure)),
        solver_(corner.space().circuit()),
        forecast_(solver_, corner.instruments(), electrical()) {
    collect_components();
    collect_entries();
    auto belief = corner.belief();
    belief::Options options;
    options.search.most_faults = 2;
    options.search.exhaustive = true;
    options.weigh_entries = true;
    const auto posterior = belief.posterior(evidence, options);
    table["posterior"]["no_fault"] = posterior.no_fault;
    table["posterior"]["log_evidence"] = posterior.log_evidence;
    for (const auto m : failing_) table["posterior"]["modes"][name(m)] = posterior.modes[at(m)];
    for (const auto& report : posterior.entries)
      table["posterior"]["predictive"][evidence.entries[report.entry].id] = report.predictive;
  }

  json table;

 private:
  std::vector<Entry> electrical() const {
    std::vector<Entry> list;
    for (const auto& e : evidence_.entries)
      if (e.informative() && e.type != Entry::Type::look) list.push_back(e);
    return list;
  }
  std::string name(Index mode) const { return vehicle::mode_name(corner_.vehicle(), mode); }

  void collect_components() {
    for (const auto& component : corner_.vehicle().components) {
      json modes = json::object();
      double good = 1;
      for (const auto m : component.modes) {
        if (priors_[at(m)] == 0) continue;
        modes[name(m)] = priors_[at(m)];
        good -= priors_[at(m)];
        failing_.push_back(m);
      }
      if (!modes.empty())
        table["components"].push_back({{"id", component.id}, {"good", good}, {"modes", modes}});
    }
  }

  void collect_entries() {
    for (const auto& e : forecast_.entries())
      table["readings"].push_back({{"id", e.id}, {"rows", json::array()}});
    add_rows({});
    const auto& modes = corner_.vehicle().modes;
    for (std::size_t i = 0; i < failing_.size(); ++i) {
      add_rows({failing_[i]});
      for (std::size_t j = i + 1; j < failing_.size(); ++j)
        if (modes[at(failing_[i])].component != modes[at(failing_[j])].component)
          add_rows({failing_[i], failing_[j]});
    }
    table["looks"] = json::array();
    for (const auto& e : evidence_.entries)
      if (e.informative() && e.type == Entry::Type::look) add_look(e);
  }

  void add_rows(const std::vector<Index>& present) {
    std::vector<readings::EntryProbability> probabilities(forecast_.entry_count());
    forecast_.evaluate(circuit::overrides_of(corner_.space().circuit(), present), probabilities);
    json names = json::array();
    for (const auto m : present) names.push_back(name(m));
    for (std::size_t i = 0; i < probabilities.size(); ++i)
      table["readings"][i]["rows"].push_back(
          {{"modes", names}, {"probability", probabilities[i].total}});
  }

  /// What a look shows hangs on its own component alone.
  void add_look(const Entry& look) {
    const auto& component = corner_.vehicle().components[at(look.component)];
    const bool damage = look.outcome == Outcome::damage;
    const auto word = [&](double seen) { return damage ? seen : 1 - seen; };
    json modes = json::object();
    for (const auto m : component.modes)
      if (priors_[at(m)] > 0) modes[name(m)] = word(corner_.vehicle().modes[at(m)].seen);
    table["looks"].push_back({{"id", look.id},
                              {"component", component.id},
                              {"good", word(component.look_false_alarm)},
                              {"modes", modes}});
  }

  const Corner& corner_;
  const belief::Evidence& evidence_;
  std::vector<double> priors_;
  std::vector<Index> failing_;
  circuit::Solver solver_;
  readings::Forecast forecast_;
};

TEST(Tables, Export) {
  const char* folder = std::getenv("FAULTLOOM_TABLES_DIR");
  if (folder == nullptr) GTEST_SKIP() << "FAULTLOOM_TABLES_DIR names no folder to write to";
  Bench bench("mulch-tug");
  auto rates = bench.rates();
  rates.not_in_model = 0;
  // Parts with a few faults each; a network of more nodes would only take longer.
  std::set<Index> parts;
  for (std::size_t c = 0; c < bench.vehicle().components.size(); ++c)
    for (const auto* kind : {"fuse", "main_fuse", "key_switch", "reed_interlock", "tiller_switch",
                             "brake_coil", "dash_lamp", "buzzer"})
      if (bench.vehicle().components[c].kind == kind) parts.insert(static_cast<Index>(c));
  const Corner corner(bench.vehicle(), bench.instruments(), rates, parts, {});
  auto evidence = bench.job("compost-yard-dead-tug");
  const auto write = [&](const std::string& name) {
    std::ofstream file(std::filesystem::path(folder) / (name + ".json"));
    file << Tables(corner, evidence).table.dump(1) << '\n';
    ASSERT_TRUE(file.good());
  };
  write("demo_job");
  const auto truth = bench.modes({"S2/contact_film_severe", "Y1/coil_open"});
  evidence.entries = {
      bench.answered(bench.sign("M1", "turns", bench.run_state()), truth),
      bench.answered(bench.sign("Y1", "click", bench.run_state()), truth),
      bench.answered(bench.reading("filament_lamp", "S2.no", "BN.stud", bench.run_state()), truth),
      bench.answered(bench.reading("meter", "S2.no", "S2.common", bench.run_state()), truth),
      bench.answered(bench.reading("low_impedance_meter", "Y1.feed", "BN.stud", bench.run_state()),
                     truth),
      bench.look("S2", Outcome::clean),
      bench.look("F1", Outcome::damage),
  };
  write("two_faults");
}

}  // namespace
}  // namespace faultloom::test
