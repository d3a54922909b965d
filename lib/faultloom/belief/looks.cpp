#include <faultloom/belief/looks.hpp>

#include <algorithm>

namespace faultloom::belief {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// No outcome has probability zero, whatever the data say.
double clamp_probability(double p) { return std::clamp(p, 1e-4, 1 - 1e-4); }

}  // namespace

Looks::Looks(const vehicle::Vehicle& vehicle, std::span<const readings::Entry> entries,
             std::span<const double> mode_priors, double repeat_correlation)
    : vehicle_(&vehicle),
      priors_(mode_priors.begin(), mode_priors.end()),
      repeat_correlation_(repeat_correlation) {
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const auto& e = entries[i];
    if (e.type == readings::Entry::Type::look && e.informative())
      by_component_[e.component].push_back({i, e.outcome == readings::Outcome::damage});
  }
  // Products over a component's looks must not depend on the order the job lists them in.
  for (auto& [component, looks] : by_component_)
    std::stable_sort(looks.begin(), looks.end(),
                     [](const Look& a, const Look& b) { return a.damage < b.damage; });
}

double Looks::joint(const std::vector<Look>& looks, double seen) const {
  const double p = clamp_probability(seen);
  double fresh = 1;
  bool alike = true;
  for (const auto& look : looks) {
    fresh *= look.damage ? p : 1 - p;
    alike = alike && look.damage == looks.front().damage;
  }
  if (looks.size() < 2) return fresh;
  const double same = !alike ? 0 : looks.front().damage ? p : 1 - p;
  return (1 - repeat_correlation_) * fresh + repeat_correlation_ * same;
}

std::vector<double> Looks::updated(std::span<const double> odds) const {
  std::vector<double> result(odds.begin(), odds.end());
  for (const auto& [c, looks] : by_component_) {
    const auto& component = vehicle_->components[at(c)];
    const double healthy = joint(looks, component.look_false_alarm);
    for (const auto m : component.modes)
      result[at(m)] *= joint(looks, vehicle_->modes[at(m)].seen) / healthy;
  }
  return result;
}

double Looks::if_healthy() const {
  double product = 1;
  for (const auto& [c, looks] : by_component_)
    product *= joint(looks, vehicle_->components[at(c)].look_false_alarm);
  return product;
}

double Looks::marginal() const {
  double product = 1;
  for (const auto& [c, looks] : by_component_) {
    const auto& component = vehicle_->components[at(c)];
    double failed = 0;
    double sum = 0;
    for (const auto m : component.modes) {
      failed += priors_[at(m)];
      sum += priors_[at(m)] * joint(looks, vehicle_->modes[at(m)].seen);
    }
    product *= sum + (1 - failed) * joint(looks, component.look_false_alarm);
  }
  return product;
}

double Looks::ceiling() const {
  double product = 1;
  for (const auto& [c, looks] : by_component_) {
    const auto& component = vehicle_->components[at(c)];
    double most = joint(looks, component.look_false_alarm);
    for (const auto m : component.modes)
      most = std::max(most, joint(looks, vehicle_->modes[at(m)].seen));
    product *= most;
  }
  return product;
}

Looks Looks::without(std::size_t entry) const {
  Looks rest = *this;
  for (auto& [component, looks] : rest.by_component_)
    std::erase_if(looks, [&](const Look& look) { return look.entry == entry; });
  std::erase_if(rest.by_component_, [](const auto& item) { return item.second.empty(); });
  return rest;
}

double Looks::misreading(std::size_t entry, std::span<const double> mode_posteriors,
                         std::span<const double> component_posteriors) const {
  for (const auto& [c, looks] : by_component_)
    for (const auto& look : looks) {
      if (look.entry != entry) continue;
      if (look.damage) return 1 - component_posteriors[at(c)];
      double visible = 0;
      for (const auto m : vehicle_->components[at(c)].modes)
        if (vehicle_->modes[at(m)].seen > 0.5) visible += mode_posteriors[at(m)];
      return visible;
    }
  return 0;
}

}  // namespace faultloom::belief
