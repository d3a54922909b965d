#include "unit/learning/simulated_jobs.hpp"

#include <algorithm>
#include <stdexcept>

namespace faultloom::test {
namespace {

using readings::Entry;
using readings::Instrument;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

std::vector<Outcome> words_of(const Entry& entry, const readings::InstrumentSet& set) {
  if (entry.type == Entry::Type::sign) return {Outcome::yes, Outcome::no, Outcome::chatters};
  const auto type = set.instruments[at(entry.instrument)].type;
  if (type == Instrument::Type::lamp) return {Outcome::bright, Outcome::dim, Outcome::dark};
  if (type == Instrument::Type::beeper) return {Outcome::beep, Outcome::silent};
  throw std::runtime_error("only words can be drawn");
}

}  // namespace

SimulatedJobs::SimulatedJobs(const Corner& corner, std::vector<Entry> tests,
                             rates::Exposure exposure, std::uint64_t seed)
    : corner_(corner),
      tests_(std::move(tests)),
      exposure_(std::move(exposure)),
      engine_(seed),
      priors_(rates::mode_priors(corner.vehicle(), corner.rates(), exposure_)),
      solver_(corner.space().circuit()) {}

std::vector<Index> SimulatedJobs::draw_truth() {
  std::uniform_real_distribution<double> uniform(0, 1);
  std::vector<Index> truth;
  for (const auto& component : corner_.vehicle().components) {
    if (component.modes.empty()) continue;
    double luck = uniform(engine_);
    for (const auto m : component.modes) {
      luck -= priors_[at(m)];
      if (luck >= 0) continue;
      truth.push_back(m);
      break;
    }
  }
  std::sort(truth.begin(), truth.end());
  return truth;
}

const std::vector<double>& SimulatedJobs::chances(const std::vector<Index>& truth,
                                                  std::size_t test) {
  auto& list = chances_[{truth, test}];
  if (!list.empty()) return list;
  std::vector<Entry> choices;
  for (const auto word : words_of(tests_[test], corner_.instruments())) {
    choices.push_back(tests_[test]);
    choices.back().outcome = word;
    // As if each were asked alone: entries that repeat a reading count as one hand's.
    choices.back().visit = static_cast<int>(choices.size());
  }
  readings::Forecast forecast(solver_, corner_.instruments(), choices);
  std::vector<readings::EntryProbability> p(choices.size());
  forecast.evaluate(circuit::overrides_of(corner_.space().circuit(), truth), p,
                    circuit::settings_of(corner_.vehicle(), truth));
  for (const auto& one : p) list.push_back(one.total);
  return list;
}

SimulatedJobs::Job SimulatedJobs::draw(std::size_t count) {
  Job job;
  job.truth = draw_truth();
  job.evidence.exposure = exposure_;
  std::vector<std::size_t> order(tests_.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::shuffle(order.begin() + 1, order.end(), engine_);
  order.resize(std::min(count, order.size()));
  std::sort(order.begin(), order.end());
  for (const auto test : order) {
    const auto& list = chances(job.truth, test);
    std::discrete_distribution<std::size_t> word(list.begin(), list.end());
    const auto chosen = word(engine_);
    job.evidence.entries.push_back(tests_[test]);
    job.evidence.entries.back().outcome = words_of(tests_[test], corner_.instruments())[chosen];
    job.key += std::to_string(test) + ':' + std::to_string(chosen) + ' ';
  }
  return job;
}

std::vector<rates::Claim> SimulatedJobs::claims(std::size_t jobs, std::size_t tests_each,
                                                const rates::Rates& rates) {
  belief::Belief belief(corner_.space(), corner_.instruments(), rates);
  belief::Options options;
  options.judge_entries = false;
  std::map<std::string, std::vector<double>> known;
  std::vector<rates::Claim> result;
  const auto& vehicle = corner_.vehicle();
  for (std::size_t j = 0; j < jobs; ++j) {
    const auto job = draw(tests_each);
    auto& components = known[job.key];
    if (components.empty()) components = belief.posterior(job.evidence, options).components;
    std::vector<bool> wrong(vehicle.components.size(), false);
    for (const auto m : job.truth) wrong[at(vehicle.modes[at(m)].component)] = true;
    for (std::size_t c = 0; c < wrong.size(); ++c)
      if (!vehicle.components[c].modes.empty())
        result.push_back({std::clamp(components[c], 0.0, 1.0), wrong[c], j});
  }
  weighed_ = known.size();
  return result;
}

}  // namespace faultloom::test
