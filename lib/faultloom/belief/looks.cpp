#include <faultloom/belief/looks.hpp>

#include <algorithm>

namespace faultloom::belief {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// No outcome has probability zero, whatever the data say.
double clamp_probability(double p) { return std::clamp(p, 1e-4, 1 - 1e-4); }

}  // namespace

Looks::Looks(const FaultSpace& space, std::span<const readings::Entry> entries,
             double repeat_correlation)
    : vehicle_(&space.vehicle()), repeat_correlation_(repeat_correlation) {
  for (const auto& e : entries)
    if (e.type == readings::Entry::Type::look && e.informative())
      by_component_[{e.component, space.life_in(e.component, e.epoch)}].push_back(
          e.outcome == readings::Outcome::damage);
  // Products over a component's looks must not depend on the order the job lists them in.
  for (auto& [component, looks] : by_component_) std::sort(looks.begin(), looks.end());
}

double Looks::joint(const std::vector<bool>& damage, double seen) const {
  const double p = clamp_probability(seen);
  double fresh = 1;
  for (const bool seen_now : damage) fresh *= seen_now ? p : 1 - p;
  if (damage.size() < 2) return fresh;
  const bool alike = damage.front() == damage.back();  // sorted
  const double same = !alike ? 0 : damage.front() ? p : 1 - p;
  return (1 - repeat_correlation_) * fresh + repeat_correlation_ * same;
}

double Looks::if_good(Index component, std::size_t life) const {
  const auto found = by_component_.find({component, life});
  if (found == by_component_.end()) return 1;
  return joint(found->second, vehicle_->components[at(component)].look_false_alarm);
}

double Looks::if_faulty(Index mode, std::size_t life) const {
  const auto& m = vehicle_->modes[at(mode)];
  const auto found = by_component_.find({m.component, life});
  return found == by_component_.end() ? 1 : joint(found->second, m.seen);
}

double Looks::marginal(std::span<const double> mode_priors, const rates::RepairRisk& repair) const {
  double product = 1;
  for (const auto& [place, looks] : by_component_) {
    const auto [c, life] = place;
    double failed = 0;
    double sum = 0;
    const auto& component = vehicle_->components[at(c)];
    for (const auto m : component.modes) {
      failed += mode_priors[at(m)];
      sum += mode_priors[at(m)] * if_faulty(m, life);
    }
    const double scale = life == 0 ? 1 : failed > 0 ? repair.after(component.type) / failed : 0;
    product *= scale * sum + (1 - scale * failed) * if_good(c, life);
  }
  return product;
}

double Looks::misreading(const readings::Entry& look, std::span<const double> mode_posteriors,
                         std::span<const double> component_posteriors) const {
  if (look.outcome == readings::Outcome::damage)
    return 1 - component_posteriors[at(look.component)];
  double visible = 0;
  for (const auto m : vehicle_->components[at(look.component)].modes)
    if (vehicle_->modes[at(m)].seen > 0.5) visible += mode_posteriors[at(m)];
  return visible;
}

}  // namespace faultloom::belief
