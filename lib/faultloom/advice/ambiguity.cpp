#include <faultloom/advice/group_parts.hpp>

#include <algorithm>
#include <numeric>

namespace faultloom::advice {
namespace {

using vehicle::none;

constexpr std::size_t most_wires = 24;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

AmbiguityGroup describe(const belief::FaultSpace& space, std::vector<std::int32_t> faults,
                        std::span<const double> weights,
                        const std::vector<std::int32_t>& undetected) {
  AmbiguityGroup group;
  group.faults = std::move(faults);
  group.shows_nothing = true;
  for (const auto f : group.faults) {
    const auto& fault = space.fault(f);
    group.weight += weight_of(weights, f);
    for (const auto m : fault.modes)
      group.components.push_back(space.vehicle().modes[at(m)].component);
    group.variables.push_back(fault.variable);
    group.shows_nothing = group.shows_nothing && fault.overrides.empty() && fault.settings.empty();
    group.intermittent = group.intermittent || fault.duty.a > 0;
    group.like_no_fault =
        group.like_no_fault || std::binary_search(undetected.begin(), undetected.end(), f);
  }
  for (auto* list : {&group.components, &group.variables}) {
    std::sort(list->begin(), list->end());
    list->erase(std::unique(list->begin(), list->end()), list->end());
  }
  return group;
}

/// The isolated situation with each of the wires lifted in turn.
std::vector<Situation> isolated_lifts(const vehicle::Vehicle& v, const FaultAnswers& answers,
                                      std::span<const Index> wires) {
  std::vector<Situation> situations;
  for (const auto w : wires) {
    const auto& wire = v.wires[at(w)];
    if (!answers.wire_accessible(wire)) continue;
    auto lifted = v.isolation.lifted_elements;
    if (!contains(lifted, wire.element)) lifted.push_back(wire.element);
    situations.push_back({v.rest_state(), std::move(lifted), true});
  }
  return situations;
}

/// Splits groups of several things further by lifting wires near them, and tries so to detect what nothing
/// else does. Alone in its group or not: else a further instrument could lower the figures.
void refine_by_lifting(const belief::FaultSpace& space, FaultAnswers& answers, Grouping& grouping,
                       const Progress& progress) {
  const auto& v = space.vehicle();
  if (v.isolation.lifted_elements.empty()) return;
  std::vector<std::vector<std::int32_t>> finer;
  std::size_t done = 0;
  for (auto& faults : grouping.groups) {
    report(progress, static_cast<double>(done++) / static_cast<double>(grouping.groups.size()));
    const auto group = describe(space, faults, {}, grouping.undetected);
    const auto wires = wires_near(v, group.components);
    const bool of_use = group.components.size() > 1 || group.like_no_fault;
    if (!of_use || wires.empty() || group.shows_nothing) {
      finer.push_back(std::move(faults));
      continue;
    }
    auto split = group_faults(answers, faults, isolated_lifts(v, answers, wires), {});
    grouping.tests += split.tests;
    grouping.distinct_tests += split.distinct_tests;
    for (auto& part : split.groups) finer.push_back(std::move(part));
    // Told from the healthy vehicle with a wire lifted counts as detected.
    std::vector<std::int32_t> left;
    for (const auto f : grouping.undetected)
      if (!std::binary_search(faults.begin(), faults.end(), f) ||
          std::binary_search(split.undetected.begin(), split.undetected.end(), f))
        left.push_back(f);
    grouping.undetected = std::move(left);
  }
  grouping.groups = std::move(finer);
}

}  // namespace

double weight_of(std::span<const double> weights, std::int32_t fault) {
  return weights.empty() ? 1.0 : weights[at(fault)];
}

std::vector<std::int32_t> checked_faults(const belief::FaultSpace& space,
                                         std::span<const std::int32_t> faults,
                                         std::span<const double> weights) {
  if (!weights.empty() && weights.size() != space.faults().size())
    throw Error(Code::argument, "Weights must be given for each fault of the vehicle, or for none");
  std::vector<std::int32_t> result(faults.begin(), faults.end());
  if (result.empty()) {
    result.resize(space.faults().size());
    std::iota(result.begin(), result.end(), 0);
  }
  std::sort(result.begin(), result.end());
  result.erase(std::unique(result.begin(), result.end()), result.end());
  if (!result.empty() && (result.front() < 0 || at(result.back()) >= space.faults().size()))
    throw Error(Code::argument, "There is no such fault");
  return result;
}

std::vector<Index> wires_near(const vehicle::Vehicle& v, std::span<const Index> components) {
  std::vector<Index> own;
  std::vector<Index> next;
  std::vector<bool> touched(v.terminals.size(), false);
  const auto is_own = [&](const vehicle::Wire& w) {
    return contains(components, w.component) || contains(components, w.from_end) ||
           contains(components, w.to_end);
  };
  for (const auto c : components)
    for (const auto t : v.components[at(c)].terminals) touched[at(t)] = true;
  for (std::size_t w = 0; w < v.wires.size(); ++w) {
    if (v.wires[w].element == none) continue;
    const auto& e = v.elements[at(v.wires[w].element)];
    if (is_own(v.wires[w]))
      own.push_back(static_cast<Index>(w));
    else if (touched[at(e.a)] || touched[at(e.b)])
      next.push_back(static_cast<Index>(w));
  }
  own.insert(own.end(), next.begin(), next.end());
  if (own.size() > most_wires) own.resize(most_wires);
  return own;
}

std::vector<AmbiguityGroup> described(const belief::FaultSpace& space, Grouping& grouping,
                                      std::span<const double> weights) {
  std::vector<AmbiguityGroup> groups;
  for (auto& faults : grouping.groups)
    groups.push_back(describe(space, std::move(faults), weights, grouping.undetected));
  std::sort(groups.begin(), groups.end(), [](const auto& x, const auto& y) {
    return x.weight != y.weight ? x.weight > y.weight : x.faults < y.faults;
  });
  return groups;
}

Grouping group_by_all(const belief::FaultSpace& space, circuit::Solver& solver,
                      const readings::InstrumentSet& instruments, const Reach& reach,
                      std::span<const std::int32_t> faults, const Progress& progress) {
  AnswerBook book(instruments, space.vehicle().nominal_volt);
  FaultAnswers answers(space, solver, instruments, book, reach);
  const auto first = part_of(progress, 0, reach.lifting ? 0.9 : 1);
  auto grouping = group_faults(answers, faults, answers.ordinary(), first);
  if (reach.lifting) refine_by_lifting(space, answers, grouping, part_of(progress, 0.9, 1));
  return grouping;
}

std::vector<AmbiguityGroup> ambiguity_groups(const belief::FaultSpace& space,
                                             circuit::Solver& solver,
                                             const readings::InstrumentSet& instruments,
                                             const Reach& reach,
                                             std::span<const std::int32_t> faults,
                                             std::span<const double> weights,
                                             const Progress& progress) {
  const auto list = checked_faults(space, faults, weights);
  auto grouping = group_by_all(space, solver, instruments, reach, list, progress);
  return described(space, grouping, weights);
}

}  // namespace faultloom::advice
