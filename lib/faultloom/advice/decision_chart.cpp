#include <algorithm>
#include <cmath>
#include <faultloom/advice/decision_chart.hpp>
#include <utility>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

DecisionChart::DecisionChart(const DecisionProblem& problem) : problem_(&problem) {
  for (const auto& r : problem.repairs) {
    double beyond = 0;
    const auto zones = zones_of(r.zones, beyond);
    const double tries = 1 / std::max(1 - r.not_taken, 0.01);
    repairs.push_back({(r.attempt_usd + beyond) * tries, zones});
  }
  for (const auto& h : problem.hypotheses) {
    Hypothesis item;
    const auto* left = &h;
    // A chain cannot be longer than there are hypotheses.
    for (std::size_t guard = 0; guard <= problem.hypotheses.size(); ++guard) {
      const auto& cure = left->cures.front();
      item.repairs.push_back(cure.repair);
      item.zones |= repairs[at(cure.repair)].zones;
      item.mend_usd += repairs[at(cure.repair)].attempt_usd;
      if (!left->runs) item.rest_usd += problem.repairs[at(cure.repair)].rest_usd;
      if (cure.next == DecisionProblem::none) break;
      left = &problem.hypotheses[at(cure.next)];
    }
    item.mend_usd += item.rest_usd;
    hypotheses.push_back(std::move(item));
  }
  for (const auto& t : problem.tests) {
    Test item;
    double beyond = 0;
    item.zones = zones_of(t.zones, beyond);
    item.cost_usd = t.cost_usd + beyond;
    item.log_rows.reserve(t.rows.size());
    for (const double p : t.rows) item.log_rows.push_back(p > 0 ? std::log(p) : 0);
    item.row_entropies_nat.assign(t.outcomes > 0 ? t.rows.size() / t.outcomes : 0, 0);
    for (std::size_t i = 0; i < t.rows.size(); ++i)
      item.row_entropies_nat[i / t.outcomes] -= t.rows[i] * item.log_rows[i];
    tests.push_back(std::move(item));
  }
}

std::uint64_t DecisionChart::zones_of(std::span<const std::int32_t> zones,
                                      double& beyond_usd) const {
  std::uint64_t bits = 0;
  for (const auto z : zones) {
    if (at(z) < most_zones) {
      bits |= std::uint64_t{1} << at(z);
    } else {
      beyond_usd += problem_->zone_usd[at(z)];
    }
  }
  return bits;
}

}  // namespace faultloom::advice
