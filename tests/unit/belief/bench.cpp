#include "unit/belief/bench.hpp"

#include <algorithm>
#include <array>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace faultloom::test {
namespace {

using readings::Entry;
using readings::Instrument;
using readings::Outcome;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

std::string text_of(const std::string& path) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + path, std::ios::binary);
  if (!file) throw std::runtime_error("can't open " + path);
  return {std::istreambuf_iterator<char>(file), {}};
}

documents::Model model_of(const std::string& vehicle_id) {
  const auto text = text_of("/vehicles/" + vehicle_id + ".json");
  const auto kinds = text_of("/kinds.json");
  const auto rates = text_of("/rates.json");
  documents::ModelSources sources;
  sources.vehicle = text;
  sources.kinds = kinds;
  sources.rates = rates;
  return documents::Model(sources);
}

Index found(Index index, std::string_view name) {
  if (index == vehicle::none) throw std::runtime_error("no such name: " + std::string(name));
  return index;
}

std::vector<Outcome> words_of(const Entry& entry, const readings::InstrumentSet& set) {
  if (entry.type == Entry::Type::sign) return {Outcome::yes, Outcome::no, Outcome::chatters};
  const auto type = set.instruments[at(entry.instrument)].type;
  if (type == Instrument::Type::lamp) return {Outcome::bright, Outcome::dim, Outcome::dark};
  if (type == Instrument::Type::beeper) return {Outcome::beep, Outcome::silent};
  return {};
}

}  // namespace

Bench::Bench(const std::string& vehicle_id) : model_(model_of(vehicle_id)) {}

belief::Evidence Bench::job(const std::string& job_id) const {
  const auto job = model_.parts().job(text_of("/jobs/" + job_id + ".json"));
  return {job.entries, job.exposure};
}

vehicle::ControlState Bench::state(const Positions& positions) const {
  auto result = vehicle().rest_state();
  for (const auto& [control, position] : positions) {
    const auto c = found(vehicle().control(control), control);
    const auto& all = vehicle().controls[at(c)].positions;
    const auto p = std::find(all.begin(), all.end(), position);
    if (p == all.end()) throw std::runtime_error("no such position: " + position);
    result[at(c)] = static_cast<Index>(p - all.begin());
  }
  return result;
}

vehicle::ControlState Bench::run_state(const Positions& changes) const {
  auto result = vehicle().run_state;
  const auto changed = state(changes);
  for (const auto& [control, position] : changes) {
    const auto c = at(vehicle().control(control));
    result[c] = changed[c];
  }
  return result;
}

std::vector<Index> Bench::modes(const std::vector<std::string>& names) const {
  std::vector<Index> result;
  for (const auto& name : names) {
    Index mode = vehicle::none;
    for (std::size_t m = 0; m < vehicle().modes.size(); ++m)
      if (vehicle::mode_name(vehicle(), static_cast<Index>(m)) == name)
        mode = static_cast<Index>(m);
    result.push_back(found(mode, name));
  }
  return result;
}

Index Bench::component(std::string_view id) const { return found(vehicle().component(id), id); }

Index Bench::terminal(std::string_view name) const { return found(vehicle().terminal(name), name); }

Entry Bench::reading(std::string_view instrument, std::string_view red, std::string_view black,
                     vehicle::ControlState state) {
  Entry entry;
  entry.id = "b" + std::to_string(++next_id_);
  entry.instrument = found(instruments().find(instrument), instrument);
  entry.red = terminal(red);
  entry.black = terminal(black);
  entry.state = std::move(state);
  return entry;
}

Entry Bench::sign(std::string_view part, std::string_view sign, vehicle::ControlState state) {
  Entry entry;
  entry.id = "b" + std::to_string(++next_id_);
  entry.type = Entry::Type::sign;
  entry.sign = found(vehicle().sign(component(part), sign), sign);
  entry.state = std::move(state);
  return entry;
}

Entry Bench::look(std::string_view component, Outcome outcome) {
  Entry entry;
  entry.id = "b" + std::to_string(++next_id_);
  entry.type = Entry::Type::look;
  entry.component = this->component(component);
  entry.outcome = outcome;
  return entry;
}

Entry Bench::answered(Entry entry, const std::vector<Index>& truth) const {
  circuit::Solver solver(circuit());
  const auto overrides = circuit::overrides_of(circuit(), truth);
  const auto settings = circuit::settings_of(vehicle(), truth);
  double best = -1;
  auto answer = Outcome::number;
  for (const auto word : words_of(entry, instruments())) {
    entry.outcome = word;
    readings::Forecast forecast(solver, instruments(), {entry});
    std::array<readings::EntryProbability, 1> probability;
    forecast.evaluate(overrides, probability, settings);
    if (probability[0].proper > best) {
      best = probability[0].proper;
      answer = word;
    }
  }
  entry.outcome = answer;
  if (answer != Outcome::number) return entry;
  solver.begin(overrides, settings);
  solver.enter(solver.stage(entry.state, entry.lifted_elements));
  const auto& instrument = instruments().instruments[at(entry.instrument)];
  const auto shown =
      readings::shown(instruments(), instrument, solver.port(entry.red, entry.black));
  if (shown.overload) {
    entry.outcome = Outcome::overload;
  } else {
    entry.number = shown.value;
  }
  return entry;
}

rates::Rates only(const rates::Rates& rates, std::initializer_list<const char*> kinds) {
  auto result = rates;
  result.kinds.clear();
  for (const auto* kind : kinds) result.kinds[kind] = rates.kinds.at(kind);
  return result;
}

double any_of(const belief::FaultSpace& space, const belief::Posterior& posterior,
              const std::vector<Index>& components) {
  const auto& modes = space.vehicle().modes;
  const auto share_of = [&](std::int32_t fault) {
    double share = 0;
    for (const auto& [mode, part] : posterior.mode_shares[at(fault)])
      if (std::find(components.begin(), components.end(), modes[at(mode)].component) !=
          components.end())
        share += part;
    return std::min(share, 1.0);
  };
  double sum = 0;
  for (const auto& [candidate, probability] : posterior.candidates) {
    double none_of_them = 1;
    for (const auto fault : candidate.faults) none_of_them *= 1 - share_of(fault);
    sum += probability * (1 - none_of_them);
  }
  return sum;
}

}  // namespace faultloom::test
