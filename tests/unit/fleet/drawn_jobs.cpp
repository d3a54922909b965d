#include "unit/fleet/drawn_jobs.hpp"

#include <faultloom/readings/forecast.hpp>

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

namespace faultloom::test {
namespace {

using nlohmann::json;
using readings::Entry;
using readings::Instrument;
using readings::Outcome;
using vehicle::Index;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

std::vector<Outcome> words_of(const Entry& entry, const readings::InstrumentSet& set) {
  if (entry.type == Entry::Type::sign) return {Outcome::yes, Outcome::no, Outcome::chatters};
  const auto type = set.instruments[at(entry.instrument)].type;
  if (type == Instrument::Type::lamp) return {Outcome::bright, Outcome::dim, Outcome::dark};
  if (type == Instrument::Type::beeper) return {Outcome::beep, Outcome::silent};
  return {};
}

bool same(const Entry& a, const Entry& b) {
  return a.type == b.type && a.state == b.state && a.lifted_elements == b.lifted_elements &&
         a.instrument == b.instrument && a.red == b.red && a.black == b.black && a.sign == b.sign;
}

}  // namespace

DrawnJobs::DrawnJobs(const documents::Model& model, std::uint64_t seed)
    : parts_(model.parts()),
      engine_(seed),
      solver_(parts_.circuit),
      no_looks_(parts_.space, {}, 0),
      prior_(parts_.space, parts_.rates, {}, no_looks_, no_cues_) {
  const auto& vehicle = parts_.vehicle;
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    if (vehicle.signs[s].id != "turns") {
      signs_.push_back(static_cast<Index>(s));
      continue;
    }
    runs_.type = Entry::Type::sign;
    runs_.sign = static_cast<Index>(s);
    runs_.state = vehicle.run_state;
  }
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t)
    if (vehicle.terminals[t].reachable && static_cast<Index>(t) != vehicle.datum)
      points_.push_back(static_cast<Index>(t));
}

void DrawnJobs::draw_truth() {
  const auto& space = parts_.space;
  truth_.clear();
  std::vector<std::size_t> contexts;
  for (std::size_t b = 0; b < space.bundles().size(); ++b) {
    double luck = chance();
    std::size_t k = 0;
    const auto& events = prior_.events(static_cast<std::int32_t>(b));
    while (k + 1 < events.size() && luck >= events[k].weight) luck -= events[k++].weight;
    contexts.push_back(k);
  }
  for (const auto& variable : space.variables()) {
    const auto context = variable.bundle < 0 ? 0 : contexts[at(variable.bundle)];
    double luck = chance();
    for (auto f = variable.first; f < variable.first + variable.count; ++f) {
      luck -= prior_.of(f, context);
      if (luck >= 0) continue;
      // What comes and goes is at work for the whole job, or not at all.
      const auto& duty = space.fault(f).duty;
      if (duty.a <= 0 || chance() < duty.a / (duty.a + duty.b)) truth_.push_back(f);
      break;
    }
  }
  space.overrides(truth_, overrides_);
  space.settings(truth_, settings_);
}

Entry DrawnJobs::draw_test() {
  const auto& vehicle = parts_.vehicle;
  Entry test;
  test.state = vehicle.run_state;
  const double kind = chance();
  if (kind < 0.15 && !signs_.empty()) {
    test.type = Entry::Type::sign;
    test.sign = signs_[pick(signs_.size())];
    return test;
  }
  if (kind < 0.27 && !vehicle.isolation.lifted_elements.empty()) {
    test.instrument = parts_.instruments.find("beeper");
    test.state = vehicle.rest_state();
    test.lifted_elements = vehicle.isolation.lifted_elements;
    std::sort(test.lifted_elements.begin(), test.lifted_elements.end());
    const auto& element = vehicle.elements[pick(vehicle.elements.size())];
    test.red = element.a;
    test.black = element.b;
    return test;
  }
  test.instrument = parts_.instruments.find(kind < 0.5   ? "filament_lamp"
                                            : kind < 0.6 ? "low_impedance_meter"
                                                         : "meter");
  test.red = points_[pick(points_.size())];
  test.black = vehicle.datum;
  if (chance() < 0.1) {
    // Across a part instead of against pack negative.
    const auto& part = vehicle.components[at(vehicle.terminals[at(test.red)].component)];
    test.black = part.terminals[pick(part.terminals.size())];
  }
  if (chance() < 0.2)
    for (std::size_t c = 0; c < test.state.size(); ++c)
      if (vehicle.controls[c].order > 2) test.state[c] = vehicle.controls[c].rest;
  return test;
}

double DrawnJobs::number_shown(const Entry& test) {
  const auto& instrument = parts_.instruments.instruments[at(test.instrument)];
  const auto& errors = instrument.errors;
  double luck = chance();
  auto red = test.red;
  auto stage = solver_.stage(test.state, test.lifted_elements);
  if ((luck -= errors.gross) < 0) return (2 * chance() - 1) * instrument.full_scale;
  const bool apart = (luck -= errors.no_contact) < 0;
  auto near = readings::neighbours(parts_.vehicle, red);
  std::erase(near, test.black);
  if (!apart && !near.empty() && (luck -= errors.wrong_neighbour) < 0) {
    red = near[pick(near.size())];
  } else if (!apart && solver_.previous(stage) != vehicle::none &&
             (luck -= errors.wrong_state) < 0) {
    stage = solver_.previous(stage);
  }
  solver_.begin(overrides_, settings_);
  solver_.enter(stage);
  const auto port = apart ? readings::open_port : solver_.port(red, test.black);
  const auto shown = readings::shown(parts_.instruments, instrument, port);
  return std::normal_distribution<double>(shown.value, shown.sigma)(engine_);
}

json DrawnJobs::answered(const Entry& test, int number) {
  const auto& vehicle = parts_.vehicle;
  json entry{{"id", "e" + std::to_string(number)}};
  json state = json::object();
  for (std::size_t c = 0; c < test.state.size(); ++c)
    if (test.state[c] != vehicle.controls[c].rest)
      state[vehicle.controls[c].id] = vehicle.controls[c].positions[at(test.state[c])];
  entry["state"] = state;
  if (test.type == Entry::Type::sign) {
    const auto& sign = vehicle.signs[at(test.sign)];
    entry["type"] = "sign";
    entry["part"] = vehicle.components[at(sign.component)].id;
    entry["sign"] = sign.id;
  } else {
    entry["type"] = "reading";
    entry["instrument"] = parts_.instruments.instruments[at(test.instrument)].id;
    entry["red"] = vehicle.terminals[at(test.red)].name;
    entry["black"] = vehicle.terminals[at(test.black)].name;
    if (!test.lifted_elements.empty()) entry["isolated"] = true;
  }
  const auto words = words_of(test, parts_.instruments);
  if (words.empty()) {
    const double step = parts_.instruments.instruments[at(test.instrument)].resolution;
    entry["volts"] = std::round(number_shown(test) / step) * step;
    return entry;
  }
  std::vector<Entry> choices;
  for (const auto word : words) {
    choices.push_back(test);
    choices.back().outcome = word;
    choices.back().visit = static_cast<int>(choices.size());  // each as if asked alone
  }
  readings::Forecast forecast(solver_, parts_.instruments, choices);
  std::vector<readings::EntryProbability> p(choices.size());
  forecast.evaluate(overrides_, p, settings_);
  double luck = chance();
  std::size_t word = 0;
  while (word + 1 < words.size() && luck >= p[word].total) luck -= p[word++].total;
  entry["outcome"] = readings::name_of(words[word]);
  return entry;
}

json DrawnJobs::draw(std::size_t readings, double hours) {
  json first;
  for (int tries = 0; first.is_null() || first["outcome"] != "no"; ++tries) {
    if (tries > 100000) throw std::runtime_error("no drawn vehicle stands still");
    draw_truth();
    if (!truth_.empty()) first = answered(runs_, 1);
  }
  json job{{"format", "faultloom.job"},
           {"version", "1.0"},
           {"id", "drawn"},
           {"title", "It does not run"},
           {"vehicle", parts_.vehicle.id},
           {"entries", json::array({first})}};
  if (hours > 0) job["exposure_hours"] = hours;
  std::vector<Entry> made{runs_};
  while (made.size() <= readings) {
    const auto test = draw_test();
    if (test.red == test.black && test.type == Entry::Type::reading) continue;
    if (std::any_of(made.begin(), made.end(), [&](const Entry& e) { return same(e, test); }))
      continue;
    made.push_back(test);
    job["entries"].push_back(answered(test, static_cast<int>(made.size())));
  }
  return job;
}

}  // namespace faultloom::test
