#include "unit/trade/visit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <iomanip>
#include <numeric>
#include <sstream>

namespace faultloom::test {
namespace {

/// Positions of the values from the greatest to the least.
std::vector<std::size_t> descending(const std::vector<double>& values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](auto a, auto b) { return values[a] > values[b]; });
  return order;
}

}  // namespace

std::vector<Index> Visit::elements_of(const std::vector<std::string>& wire_ends) const {
  std::vector<Index> elements;
  for (const auto& end : wire_ends) {
    const auto wire = bench.vehicle().wire_of(bench.component(end));
    elements.push_back(bench.vehicle().wires.at(static_cast<std::size_t>(wire)).element);
  }
  return elements;
}

void Visit::add(readings::Entry entry) {
  entry.epoch = static_cast<int>(repairs_.size());
  entries_.push_back(std::move(entry));
}

void Visit::read(std::string_view instrument, std::string_view red,
                 const vehicle::ControlState& state, std::string_view black,
                 const std::vector<std::string>& lifted) {
  auto entry = bench.reading(instrument, red, black, state);
  entry.lifted_elements = elements_of(lifted);
  add(bench.answered(std::move(entry), truth_));
}

void Visit::read_ohms(std::string_view red, std::string_view black,
                      const std::vector<std::string>& lifted) {
  auto entry = bench.reading("ohmmeter", red, black, bench.vehicle().rest_state());
  entry.lifted_elements = elements_of(lifted);
  const auto& isolation = bench.vehicle().isolation.lifted_elements;
  entry.lifted_elements.insert(entry.lifted_elements.end(), isolation.begin(), isolation.end());
  add(bench.answered(std::move(entry), truth_));
}

void Visit::notice(std::string_view part, std::string_view sign, const vehicle::ControlState& state,
                   const std::vector<std::string>& lifted) {
  auto entry = bench.sign(part, sign, state);
  entry.lifted_elements = elements_of(lifted);
  add(bench.answered(std::move(entry), truth_));
}

void Visit::listen_for_the_click() {
  const bool tug = bench.vehicle().id == "mulch-tug";
  notice("K1", "click", tug ? bench.state({{"key", "on"}}) : bench.run_state());
}

void Visit::try_to_drive() {
  notice("M1", "turns", bench.run_state());
  listen_for_the_click();
}

void Visit::look(std::string_view component, readings::Outcome outcome) {
  add(bench.look(component, outcome));
}

void Visit::ask(std::string_view cue, readings::Outcome answer) {
  readings::Entry entry;
  entry.id = "cue_" + std::string(cue);
  entry.type = readings::Entry::Type::cue;
  entry.cue = cue;
  entry.outcome = answer;
  add(std::move(entry));
}

void Visit::repair(std::string_view component) {
  const int epoch = 1 + static_cast<int>(repairs_.size());
  repairs_.push_back({bench.component(component), epoch});
  const auto& modes =
      bench.vehicle().components[static_cast<std::size_t>(repairs_.back().component)].modes;
  std::erase_if(truth_, [&](Index mode) {
    return std::find(modes.begin(), modes.end(), mode) != modes.end();
  });
}

void Visit::check_settings() {
  for (const auto& c : bench.vehicle().components)
    if (c.type == vehicle::Component::Type::setting) look(c.id, readings::Outcome::clean);
}

void Visit::think() {
  /// Good at the last service, a quarter of a season ago.
  const rates::Exposure exposure{250, "outdoor"};
  belief::Belief belief(bench.space(), bench.instruments(), bench.rates());
  belief::Options options;
  options.weigh_entries = false;
  options.judge_entries = false;
  options.search.most_sets = most_sets;
  posterior = belief.posterior({entries_, exposure, repairs_}, options);
}

double Visit::of(std::string_view component) const {
  return posterior.components[static_cast<std::size_t>(bench.component(component))];
}

double Visit::of_mode(const std::string& mode) const {
  return posterior.modes[static_cast<std::size_t>(bench.modes({mode}).front())];
}

double Visit::any(const std::vector<std::string>& names) const {
  std::vector<Index> components;
  for (const auto& name : names) {
    components.push_back(bench.component(name));
    if (bench.vehicle().wire_of(components.back()) == vehicle::none) continue;
    components.push_back(bench.component(name + ":from"));
    components.push_back(bench.component(name + ":to"));
  }
  return any_of(bench.space(), posterior, components);
}

std::string Visit::leader() const {
  return bench.vehicle().components[descending(posterior.components).front()].id;
}

std::string Visit::leading_mode() const {
  return vehicle::mode_name(bench.vehicle(),
                            static_cast<Index>(descending(posterior.modes).front()));
}

std::string Visit::shown() const {
  std::ostringstream out;
  out << std::setprecision(4) << bench.vehicle().id << ':';
  for (const auto& e : entries_) {
    if (e.outcome == readings::Outcome::number)
      out << ' ' << e.number;
    else
      out << ' ' << readings::name_of(e.outcome);
  }
  const auto order = descending(posterior.modes);
  out << " |";
  for (std::size_t i = 0; i < 8; ++i)
    out << ' ' << vehicle::mode_name(bench.vehicle(), static_cast<Index>(order[i])) << ' '
        << posterior.modes[order[i]];
  out << " | no fault " << posterior.no_fault << ", not in model " << posterior.not_in_model;
  return out.str();
}

void expect_leads(const Visit& visit, const std::vector<std::string>& group) {
  const auto& vehicle = visit.bench.vehicle();
  const auto modes = visit.bench.modes(group);
  double together = 0;
  for (const auto& mode : group) together += visit.of_mode(mode);
  EXPECT_GT(together, 0.5) << group.front() << ' ' << visit.shown();
  for (std::size_t m = 0; m < vehicle.modes.size(); ++m) {
    if (std::find(modes.begin(), modes.end(), static_cast<Index>(m)) != modes.end()) continue;
    EXPECT_LT(visit.posterior.modes[m], visit.of_mode(group.front()))
        << group.front() << ' ' << visit.shown();
  }
  ASSERT_FALSE(visit.posterior.candidates.empty());
  const auto& best = visit.posterior.candidates.front().candidate.faults;
  ASSERT_EQ(best.size(), 1U) << group.front() << ' ' << visit.shown();
  const auto& stands_for = visit.bench.space().fault(best.front()).modes;
  EXPECT_TRUE(
      std::any_of(stands_for.begin(), stands_for.end(),
                  [&](Index m) { return std::find(modes.begin(), modes.end(), m) != modes.end(); }))
      << group.front() << ' ' << visit.shown();
}

std::vector<std::string> modes_left_by(const Bench& bench, std::string_view per_visit) {
  std::vector<std::string> names;
  const auto& modes = bench.vehicle().modes;
  for (std::size_t m = 0; m < modes.size(); ++m)
    if (modes[m].per_visit == per_visit)
      names.push_back(vehicle::mode_name(bench.vehicle(), static_cast<Index>(m)));
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace faultloom::test
