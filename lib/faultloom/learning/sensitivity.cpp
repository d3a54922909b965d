#include <faultloom/learning/sensitivity.hpp>

#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

namespace faultloom::learning {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Chance that the leader is ahead of the best of the others by, in logs.
double lead(const std::vector<double>& chances, std::size_t leader) {
  double best = 0;
  for (std::size_t c = 0; c < chances.size(); ++c)
    if (c != leader) best = std::max(best, chances[c]);
  return std::log(std::max(chances[leader], 1e-300)) - std::log(std::max(best, 1e-300));
}

std::vector<std::size_t> order_by(std::span<const double> chances, std::span<const double> costs) {
  std::vector<std::size_t> order;
  for (std::size_t c = 0; c < chances.size(); ++c)
    if (chances[c] > 1e-9) order.push_back(c);
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return chances[a] * costs[b] > chances[b] * costs[a];
  });
  return order;
}

/// Repairs in this order until the one at fault is done, one being so.
double cost_of(const std::vector<std::size_t>& order, std::span<const double> chances,
               std::span<const double> costs) {
  double left = 0;
  for (const auto c : order) left += chances[c];
  const double whole = left;
  double sum = 0;
  for (const auto c : order) {
    sum += std::max(0.0, left) * costs[c];
    left -= chances[c];
  }
  return whole > 0 ? sum / whole : 0;
}

}  // namespace

Reweighing::Reweighing(const Lines& lines, const rates::Case& one, std::size_t component_count)
    : lines_(&lines),
      case_(&one),
      component_count_(component_count),
      expected_(lines.lines.size(), 0) {
  for (const auto& risk : one.at_risk) {
    const auto& line = lines.lines[at(risk.line)];
    expected_[at(risk.line)] += line.prior.mean() * line.shares[at(risk.mode)] *
                                lines.environments[at(risk.environment)].multiplier * risk.exposure;
  }
}

std::vector<double> Reweighing::components(std::span<const double> factors) const {
  // P(everything else is good) is common to all causes in the model.
  double log_good = 0;
  for (std::size_t i = 0; i < expected_.size(); ++i) log_good -= (factors[i] - 1) * expected_[i];
  const double good = std::exp(log_good);
  std::vector<double> chances(component_count_, 0);
  double whole = case_->outside;
  std::vector<std::pair<std::int32_t, double>> parts;
  for (const auto& cause : case_->causes) {
    double weight = cause.probability * good;
    parts.clear();
    for (const auto& failure : cause.failures) {
      double ratio = 0;
      const auto first = parts.size();
      for (const auto& way : failure) {
        const auto& line = lines_->lines[at(way.line)];
        const double hazard =
            line.prior.mean() * lines_->environments[at(way.environment)].multiplier * way.exposure;
        const double factor = factors[at(way.line)];
        // What an event did does not depend on the rate.
        const double changed =
            factor == 1
                ? 1
                : 1 - way.counted + way.counted * std::expm1(hazard * factor) / std::expm1(hazard);
        ratio += way.share * changed;
        parts.emplace_back(way.component, way.share * changed);
      }
      for (std::size_t i = first; i < parts.size(); ++i) parts[i].second /= ratio;
      weight *= ratio;
    }
    whole += weight;
    for (const auto& [component, share] : parts) chances[at(component)] += weight * share;
  }
  for (auto& chance : chances) chance /= whole;
  return chances;
}

std::vector<double> Reweighing::components(std::int32_t line, double factor) const {
  std::vector<double> factors(expected_.size(), 1);
  factors[at(line)] = factor;
  return components(factors);
}

std::vector<double> Reweighing::derivative(std::int32_t line) const {
  // The function is exact and smooth, so a difference in the middle keeps eight digits.
  constexpr double step = 1e-4;
  auto up = components(line, std::exp(step));
  const auto down = components(line, std::exp(-step));
  for (std::size_t c = 0; c < up.size(); ++c) up[c] = (up[c] - down[c]) / (2 * step);
  return up;
}

std::vector<std::int32_t> Reweighing::lines() const {
  std::vector<std::int32_t> result;
  for (std::size_t i = 0; i < expected_.size(); ++i)
    if (expected_[i] > 0) result.push_back(static_cast<std::int32_t>(i));
  return result;
}

LeaderInterval leader_interval(const Reweighing& job, std::int32_t line, Index leader) {
  constexpr double limit = 6.907755278982137;  // ln 1000
  constexpr int steps = 28;
  const auto ahead = [&](double log_factor) {
    return lead(job.components(line, std::exp(log_factor)), at(leader));
  };
  const auto crossing = [&](double direction) -> std::optional<double> {
    double near = 0;
    for (int i = 1; i <= steps; ++i) {
      const double far = direction * limit * i / steps;
      if (ahead(far) >= 0) {
        near = far;
        continue;
      }
      std::uintmax_t turns = 60;
      const auto [from, to] =
          boost::math::tools::toms748_solve(ahead, std::min(near, far), std::max(near, far),
                                            boost::math::tools::eps_tolerance<double>(24), turns);
      return std::exp(0.5 * (from + to));
    }
    return std::nullopt;
  };
  if (ahead(0) <= 0) return {1, 1};
  return {crossing(-1), crossing(1)};
}

double value_of_knowing(const Reweighing& job, const Lines& lines, std::int32_t line,
                        std::span<const double> costs) {
  const auto& prior = lines.lines[at(line)].prior;
  const std::vector<double> as_known(lines.lines.size(), 1);
  const auto known = order_by(job.components(as_known), costs);
  constexpr std::array<double, 5> quantiles{.1, .3, .5, .7, .9};
  double sum = 0;
  for (const double q : quantiles) {
    const auto chances = job.components(line, std::max(prior.quantile(q) / prior.mean(), 1e-6));
    sum += cost_of(known, chances, costs) - cost_of(order_by(chances, costs), chances, costs);
  }
  return std::max(0.0, sum / static_cast<double>(quantiles.size()));
}

}  // namespace faultloom::learning
