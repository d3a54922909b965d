#include <faultloom/rates/rates.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>

namespace faultloom::rates {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

double multiplier(const Rates& rates, std::string_view environment) {
  if (environment.empty()) return 1;
  const auto found = rates.environments.find(environment);
  if (found == rates.environments.end())
    throw Error(Code::reference,
                "Environment '" + std::string(environment) +
                    "' is not in the rates document; name one it lists",
                "/environment");
  return found->second;
}

/// Splits the probability that a component failed since it was last good over its modes.
void add_rates(const vehicle::Vehicle& vehicle, const Rates& rates, const Exposure& exposure,
               const vehicle::Component& component, std::vector<double>& priors) {
  const auto kind = rates.kinds.find(component.kind);
  if (kind == rates.kinds.end()) return;
  const double hours = exposure.hours > 0 ? exposure.hours : rates.exposure_hours;
  const auto& environment =
      component.environment.empty() ? exposure.environment : component.environment;
  const double expected =
      kind->second.mean() * component.rate_factor * multiplier(rates, environment) * hours / 1e6;
  const double failed = -std::expm1(-expected);
  for (const auto mode : component.modes) {
    const auto share = kind->second.mode_shares.find(vehicle.modes[at(mode)].id);
    if (share != kind->second.mode_shares.end()) priors[at(mode)] = failed * share->second;
  }
}

/// A component stays good with some probability whatever the documents say.
constexpr double most_per_component = 0.9;

/// Puts in what was done or left so before the visit.
void add_per_visit(const vehicle::Vehicle& vehicle, const Rates& rates,
                   const vehicle::Component& component, std::vector<double>& priors) {
  bool any = false;
  double sum = 0;
  for (const auto m : component.modes) {
    const auto& mode = vehicle.modes[at(m)];
    if (!mode.per_visit.empty()) {
      any = true;
      const auto found = rates.per_visit.find(mode.per_visit);
      priors[at(m)] = found == rates.per_visit.end() ? 0 : found->second * mode.per_visit_share;
    }
    sum += priors[at(m)];
  }
  if (!any || sum <= most_per_component) return;
  for (const auto m : component.modes) priors[at(m)] /= 1 + sum;
}

}  // namespace

std::vector<double> mode_priors(const vehicle::Vehicle& vehicle, const Rates& rates,
                                const Exposure& exposure) {
  std::vector<double> priors(vehicle.modes.size(), 0);
  for (const auto& component : vehicle.components) {
    add_rates(vehicle, rates, exposure, component, priors);
    add_per_visit(vehicle, rates, component, priors);
  }
  return priors;
}

std::vector<double> component_priors(const vehicle::Vehicle& vehicle,
                                     std::span<const double> mode_priors) {
  std::vector<double> priors(vehicle.components.size(), 0);
  for (std::size_t m = 0; m < mode_priors.size(); ++m)
    priors[at(vehicle.modes[m].component)] += mode_priors[m];
  return priors;
}

double probability_of_more_than(std::span<const double> component_priors, int most) {
  // count[k] = P(exactly k so far), count[most + 1] = P(more): a sum of positive terms only.
  std::vector<double> count(at(most) + 2, 0);
  count[0] = 1;
  for (const double p : component_priors) {
    count.back() += count[count.size() - 2] * p;
    for (std::size_t k = count.size() - 2; k > 0; --k)
      count[k] = count[k] * (1 - p) + count[k - 1] * p;
    count[0] *= 1 - p;
  }
  return count.back();
}

}  // namespace faultloom::rates
