#include <faultloom/advice/testability.hpp>

#include <algorithm>
#include <faultloom/advice/group_parts.hpp>

namespace faultloom::advice {

Testability testability(const belief::FaultSpace& space, circuit::Solver& solver,
                        const readings::InstrumentSet& instruments, const Reach& reach,
                        std::span<const double> prior_by_fault, const Progress& progress,
                        bool wires_as_one) {
  const auto list = checked_faults(space, {}, prior_by_fault);
  auto grouping = group_by_all(space, solver, instruments, reach, list, progress);
  Testability result;
  result.tests = grouping.tests;
  result.distinct_tests = grouping.distinct_tests;
  double undetected = 0;
  for (const auto f : grouping.undetected) undetected += weight_of(prior_by_fault, f);
  for (const auto f : list) result.weight += weight_of(prior_by_fault, f);
  result.groups = described(space, grouping, prior_by_fault);
  if (result.weight <= 0) return result;
  const auto things = [&](const AmbiguityGroup& group) {
    return wires_as_one ? group.variables.size() : group.components.size();
  };
  for (std::size_t g = 0; g < result.groups.size(); ++g) {
    const auto count = things(result.groups[g]);
    const double share = result.groups[g].weight / result.weight;
    if (count <= 1) result.isolated_to_one += share;
    if (count <= 2) result.isolated_to_two += share;
    result.mean_group_size += share * static_cast<double>(count);
    if (count > 1) result.worst.push_back(g);
  }
  result.detected = std::clamp(1 - undetected / result.weight, 0.0, 1.0);
  const auto badness = [&](std::size_t g) {
    return result.groups[g].weight * static_cast<double>(things(result.groups[g]) - 1);
  };
  std::stable_sort(result.worst.begin(), result.worst.end(),
                   [&](std::size_t x, std::size_t y) { return badness(x) > badness(y); });
  return result;
}

}  // namespace faultloom::advice
