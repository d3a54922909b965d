#include <faultloom/belief/marginals.hpp>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

std::vector<double> class_odds(const Candidates& candidates, std::span<const double> mode_odds) {
  std::vector<double> sums(candidates.single_count(), 0);
  for (std::size_t c = 0; c < sums.size(); ++c)
    for (const auto m : candidates.classes()[c].modes) sums[c] += mode_odds[at(m)];
  return sums;
}

double prior_weight(const Candidates& candidates, const Candidate& candidate,
                    std::span<const double> mode_odds, std::span<const double> class_odds) {
  if (candidate.a < 0) return 1;
  if (candidate.b < 0) return class_odds[at(candidate.a)];
  return candidates.pair_odds(candidate.a, candidate.b, mode_odds, class_odds);
}

MarginalSum::MarginalSum(const Candidates& candidates, std::span<const Candidate> list)
    : candidates_(&candidates), list_(list.begin(), list.end()) {
  const auto& vehicle = candidates.circuit().vehicle();
  std::vector<Index> wire_of_component(vehicle.components.size(), vehicle::none);
  for (std::size_t w = 0; w < vehicle.wires.size(); ++w)
    for (const auto c :
         {vehicle.wires[w].component, vehicle.wires[w].from_end, vehicle.wires[w].to_end})
      if (c != vehicle::none) wire_of_component[at(c)] = static_cast<Index>(w);
  for (const auto& mode : vehicle.modes)
    wire_of_mode_.push_back(wire_of_component[at(mode.component)]);
}

std::vector<double> MarginalSum::modes(std::span<const double> weights,
                                       std::span<const double> mode_odds,
                                       std::span<const double> class_odds) const {
  std::vector<double> sums(mode_odds.size(), 0);
  std::vector<double> by_class(class_odds.size(), 0);
  for (std::size_t t = 0; t < list_.size(); ++t) {
    const auto [a, b] = list_[t];
    if (a < 0) continue;
    if (b < 0 || !candidates_->share_component(a, b)) {
      by_class[at(a)] += weights[t];
      if (b >= 0) by_class[at(b)] += weights[t];
      continue;
    }
    const double whole = candidates_->pair_odds(a, b, mode_odds, class_odds);
    if (whole <= 0) continue;
    candidates_->for_each_pair(a, b, mode_odds, [&](Index m, Index n, double product) {
      sums[at(m)] += weights[t] * (product / whole);
      sums[at(n)] += weights[t] * (product / whole);
    });
  }
  for (std::size_t c = 0; c < by_class.size(); ++c) {
    if (class_odds[c] <= 0) continue;
    for (const auto m : candidates_->classes()[c].modes)
      sums[at(m)] += by_class[c] * (mode_odds[at(m)] / class_odds[c]);
  }
  return sums;
}

std::vector<double> MarginalSum::components(std::span<const double> mode_sums) const {
  const auto& vehicle = candidates_->circuit().vehicle();
  std::vector<double> sums(vehicle.components.size(), 0);
  for (std::size_t m = 0; m < mode_sums.size(); ++m)
    sums[at(vehicle.modes[m].component)] += mode_sums[m];
  return sums;
}

std::vector<double> MarginalSum::wires(std::span<const double> weights,
                                       std::span<const double> mode_odds,
                                       std::span<const double> class_odds) const {
  const auto& vehicle = candidates_->circuit().vehicle();
  std::vector<double> sums(vehicle.wires.size(), 0);
  const auto mode_sums = modes(weights, mode_odds, class_odds);
  for (std::size_t m = 0; m < mode_sums.size(); ++m)
    if (wire_of_mode_[m] != vehicle::none) sums[at(wire_of_mode_[m])] += mode_sums[m];
  // Two faults on one wire were counted twice.
  for (std::size_t t = 0; t < list_.size(); ++t) {
    const auto [a, b] = list_[t];
    if (b < 0) continue;
    const auto first_wire = wire_of_mode_[at(candidates_->classes()[at(a)].modes.front())];
    if (first_wire == vehicle::none) continue;
    const double whole = candidates_->pair_odds(a, b, mode_odds, class_odds);
    if (whole <= 0) continue;
    candidates_->for_each_pair(a, b, mode_odds, [&](Index m, Index n, double product) {
      const auto wire = wire_of_mode_[at(m)];
      if (wire != vehicle::none && wire == wire_of_mode_[at(n)])
        sums[at(wire)] -= weights[t] * (product / whole);
    });
  }
  return sums;
}

}  // namespace faultloom::belief
