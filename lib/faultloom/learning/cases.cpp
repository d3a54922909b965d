#include <faultloom/learning/cases.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/advice/verification.hpp>
#include <faultloom/base/error.hpp>
#include <faultloom/readings/response.hpp>
#include <numeric>
#include <tuple>

namespace faultloom::learning {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Causes beyond this share of the probability are left to those before them.
constexpr double enough = 0.9999;
constexpr std::size_t most_causes = 2000;

}  // namespace

Lines lines_of(const rates::Rates& rates) {
  Lines result;
  result.environments.push_back({"", 1, false});
  for (const auto& [id, multiplier] : rates.environments) {
    result.named.emplace(id, static_cast<std::int32_t>(result.environments.size()));
    result.environments.push_back({id, multiplier, multiplier != 1});
  }
  for (const auto& [id, kind] : rates.kinds) {
    rates::Line line{id, kind.group, {kind.gamma_shape, kind.gamma_rate_million_hours}, {}};
    std::vector<std::string> modes;
    for (const auto& [mode, share] : kind.mode_shares) {
      if (share <= 0) continue;
      modes.push_back(mode);
      line.shares.push_back(share);
    }
    if (modes.empty()) continue;
    result.kinds.emplace(id, static_cast<std::int32_t>(result.lines.size()));
    result.lines.push_back(std::move(line));
    result.modes.push_back(std::move(modes));
  }
  result.kind_count = result.lines.size();
  for (const auto& [id, chance] : rates.per_visit) {
    if (chance <= 0) continue;
    result.per_visit.emplace(id, static_cast<std::int32_t>(result.lines.size()));
    // One sighting is behind such a number at best: common practice, no source.
    result.lines.push_back({"per_visit:" + id, "", {1, 1 / chance}, {1}});
    result.modes.push_back({id});
  }
  return result;
}

std::vector<double> noticed_modes(const belief::FaultSpace& space,
                                  const readings::InstrumentSet& instruments, double otherwise,
                                  const Progress& progress) {
  const auto& vehicle = space.vehicle();
  circuit::Solver solver(space.circuit());
  std::vector<std::pair<circuit::Stage, Index>> drives;
  for (const auto& check : advice::checks_due(solver, instruments, {}))
    if (check.type == advice::Check::Type::drives)
      drives.emplace_back(solver.stage(check.state), check.sign);
  std::vector<double> stops(space.faults().size(), 0);
  circuit::Overrides overrides;
  std::vector<circuit::Setting> settings;
  for (std::size_t f = 0; f < stops.size(); ++f) {
    report(progress, static_cast<double>(f) / static_cast<double>(stops.size()));
    const std::vector<std::int32_t> one{static_cast<std::int32_t>(f)};
    space.overrides(one, overrides);
    space.settings(one, settings);
    solver.begin(overrides, settings);
    for (const auto& [stage, sign] : drives)
      if (readings::sign_truth(solver, sign, stage) != readings::SignTruth::present) stops[f] = 1;
  }
  std::vector<double> noticed(vehicle.modes.size(), 0);
  for (std::size_t m = 0; m < noticed.size(); ++m) {
    double whole = 0;
    for (const auto& cell : space.cells_of(static_cast<Index>(m))) {
      whole += cell.share;
      noticed[m] += cell.share * (stops[at(cell.fault)] > 0 ? 1 : otherwise);
    }
    noticed[m] = whole > 0 ? noticed[m] / whole : otherwise;
  }
  return noticed;
}

CaseMaker::CaseMaker(const vehicle::Vehicle& vehicle, const rates::Rates& rates, const Lines& lines,
                     std::vector<double> noticed)
    : vehicle_(&vehicle), rates_(&rates), lines_(&lines), noticed_(std::move(noticed)) {
  for (const auto& mode : vehicle.modes) {
    place_.emplace_back(-1, -1);
    const auto& component = vehicle.components[at(mode.component)];
    if (!mode.per_visit.empty()) {
      if (const auto found = lines.per_visit.find(mode.per_visit);
          found != lines.per_visit.end() && mode.per_visit_share > 0)
        place_.back() = {found->second, 0};
      continue;
    }
    const auto kind = lines.kinds.find(component.kind);
    if (kind == lines.kinds.end()) continue;
    const auto& modes = lines.modes[at(kind->second)];
    const auto found = std::find(modes.begin(), modes.end(), mode.id);
    if (found != modes.end())
      place_.back() = {kind->second, static_cast<std::int32_t>(found - modes.begin())};
  }
}

rates::Way CaseMaker::way(Index m, const rates::Exposure& exposure) const {
  rates::Way result;
  const auto& mode = vehicle_->modes[at(m)];
  const auto& component = vehicle_->components[at(mode.component)];
  std::tie(result.line, result.mode) = place_[at(m)];
  result.component = mode.component;
  if (result.line < 0) return result;
  if (!mode.per_visit.empty()) {
    result.environment = 0;
    result.exposure = mode.per_visit_share;
    return result;
  }
  const auto& name = component.environment.empty() ? exposure.environment : component.environment;
  result.environment = 0;
  if (!name.empty()) {
    const auto found = lines_->named.find(name);
    if (found == lines_->named.end())
      throw Error(Code::reference,
                  "Environment '" + name + "' is not in the rates document; name one it lists",
                  "/environment");
    result.environment = found->second;
  }
  const double hours = exposure.hours > 0 ? exposure.hours : rates_->exposure_hours;
  result.exposure = hours * component.rate_factor / 1e6;
  return result;
}

std::vector<rates::AtRisk> CaseMaker::at_risk(const rates::Exposure& exposure, bool visit) const {
  std::map<std::tuple<std::int32_t, std::int32_t, std::int32_t>, double> sums;
  for (std::size_t m = 0; m < place_.size(); ++m) {
    if (vehicle_->modes[m].per_visit.empty() || visit) {
      const auto one = way(static_cast<Index>(m), exposure);
      if (one.line >= 0) sums[{one.line, one.mode, one.environment}] += one.exposure * noticed_[m];
    }
  }
  std::vector<rates::AtRisk> result;
  for (const auto& [key, sum] : sums)
    if (sum > 0) result.push_back({std::get<0>(key), std::get<1>(key), std::get<2>(key), sum});
  return result;
}

rates::Case CaseMaker::weighed(const belief::Posterior& posterior,
                               const rates::Exposure& exposure) const {
  rates::Case result;
  result.at_risk = at_risk(exposure, true);
  result.outside = posterior.not_in_model;
  double so_far = 0;
  double known = posterior.not_in_model;
  for (const auto& item : posterior.as_found) known += item.probability;
  for (const auto& item : posterior.as_found) {
    if (so_far >= enough * (known - result.outside) || result.causes.size() >= most_causes) break;
    rates::Cause cause;
    cause.probability = item.probability;
    for (const auto f : item.candidate.faults) {
      std::vector<rates::Way> failure;
      double shares = 0;
      for (const auto& part : posterior.modes_as_found[at(f)]) {
        auto one = way(part.mode, exposure);
        if (one.line < 0) continue;
        one.share = part.share;
        one.counted = part.by_itself;
        shares += part.share;
        failure.push_back(one);
      }
      if (failure.empty()) continue;
      for (auto& one : failure) one.share /= shares;
      cause.failures.push_back(std::move(failure));
    }
    so_far += item.probability;
    result.causes.push_back(std::move(cause));
  }
  const double whole = so_far + result.outside;
  for (auto& cause : result.causes) cause.probability /= whole;
  result.outside /= whole;
  return result;
}

rates::Case CaseMaker::confirmed(const std::vector<std::vector<Index>>& failures,
                                 const rates::Exposure& exposure) const {
  rates::Case result;
  result.at_risk = at_risk(exposure, true);
  rates::Cause cause;
  cause.probability = 1;
  for (const auto& modes : failures) {
    std::vector<rates::Way> failure;
    double shares = 0;
    for (const auto m : modes) {
      auto one = way(m, exposure);
      if (one.line < 0) continue;
      one.share = lines_->lines[at(one.line)].shares[at(one.mode)];
      shares += one.share;
      failure.push_back(one);
    }
    if (failure.empty()) continue;
    for (auto& one : failure) one.share /= shares;
    cause.failures.push_back(std::move(failure));
  }
  result.causes.push_back(std::move(cause));
  return result;
}

}  // namespace faultloom::learning
