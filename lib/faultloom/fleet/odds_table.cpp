#include <faultloom/fleet/odds_table.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>

namespace faultloom::fleet {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// From one of the hours that there is a Prior for to the next. A chance 1 - exp(-x) bends by x, so between
/// two of them it is off by less than x / 128 of itself.
constexpr double hours_ratio = 1.25;

/// By how much an event must raise a chance for the fault to count as one of its members.
constexpr double much_likelier = 2;
/// ... and what it must be.
constexpr double least_harm = 2e-3;

bool speaks_of_components(const readings::Entry& entry) {
  return entry.informative() &&
         (entry.type == readings::Entry::Type::look || entry.type == readings::Entry::Type::cue);
}

double between(double low, double high, double share) { return low + share * (high - low); }

/// Moves odds towards those of another node with the same faults and events.
void blend(OddsTable::Odds& odds, const OddsTable::Odds& other, double share) {
  for (std::size_t f = 0; f < odds.fault.size(); ++f)
    odds.fault[f] = between(odds.fault[f], other.fault[f], share);
  for (std::size_t e = 0; e < odds.events.size(); ++e) {
    auto& event = odds.events[e];
    event.weight = between(event.weight, other.events[e].weight, share);
    for (std::size_t m = 0; m < event.members.size(); ++m)
      event.members[m].odds =
          between(event.members[m].odds, other.events[e].members[m].odds, share);
  }
  odds.sound = between(odds.sound, other.sound, share);
}

}  // namespace

OddsTable::OddsTable(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
                     const rates::Rates& rates)
    : space_(&space), repeat_correlation_(instruments.repeat_correlation), rates_(&rates) {
  const belief::Looks no_looks(space, {}, 0);
  const belief::Cues no_cues;
  const belief::Prior prior(space, rates, {rates.exposure_hours, ""}, no_looks, no_cues);
  for (std::size_t b = 0; b < space.bundles().size(); ++b)
    for (const auto v : space.bundles()[b].variables) {
      const auto& variable = space.variables()[at(v)];
      for (std::size_t k = 1; k < prior.contexts(v); ++k)
        for (auto f = variable.first; f < variable.first + variable.count; ++f)
          if (prior.of(f, k) > std::max(least_harm, much_likelier * prior.of(f, 0)))
            event_modes_[{static_cast<std::int32_t>(b), k, f}] = kept(prior.modes_given(f, k));
    }
  for (std::size_t f = 0; f < space.faults().size(); ++f)
    modes_.push_back(kept(modes_of(prior, static_cast<std::int32_t>(f))));
}

OddsTable::Part OddsTable::kept(const std::vector<belief::Prior::ModeShare>& modes) {
  const Part part{shares_.size(), modes.size()};
  shares_.insert(shares_.end(), modes.begin(), modes.end());
  return part;
}

/// Modes of a fault by itself, or by an event that it is no member of.
std::vector<belief::Prior::ModeShare> OddsTable::modes_of(const belief::Prior& prior,
                                                          std::int32_t f) const {
  const auto v = space_->fault(f).variable;
  const auto bundle = space_->variables()[at(v)].bundle;
  std::map<vehicle::Index, double> weights;
  double whole = 0;
  for (std::size_t k = 0; k < prior.contexts(v); ++k) {
    if (k > 0 && event_modes_.contains({bundle, k, f})) continue;
    const double weight = (bundle < 0 ? 1 : prior.events(bundle)[k].weight) * prior.of(f, k);
    whole += weight;
    for (const auto& part : prior.modes_given(f, k)) weights[part.mode] += weight * part.share;
  }
  std::vector<belief::Prior::ModeShare> result;
  for (const auto& [mode, weight] : weights)
    if (weight > 0) result.push_back({mode, weight / whole});
  return result;
}

const OddsTable::Node& OddsTable::node(const std::string& environment, double hours) {
  const std::pair key{environment, hours};
  if (const auto known = nodes_.find(key); known != nodes_.end()) return known->second;
  const belief::Looks no_looks(*space_, {}, 0);
  const belief::Cues no_cues;
  const belief::Prior prior(*space_, *rates_, {hours, environment}, no_looks, no_cues);
  Node made;
  made.modes = prior.mode_priors();
  fill(prior, made.odds);
  add_events(prior, made.odds);
  return nodes_.emplace(key, std::move(made)).first->second;
}

/// What events do to a fault that is not among their members, over P(no event).
double OddsTable::little_harm(const belief::Prior& prior, std::int32_t f) const {
  const auto v = space_->fault(f).variable;
  const auto bundle = space_->variables()[at(v)].bundle;
  double sum = 0;
  for (std::size_t k = 1; k < prior.contexts(v); ++k)
    if (!event_modes_.contains({bundle, k, f}))
      sum += prior.events(bundle)[k].weight * prior.of(f, k);
  return sum > 0 ? sum / prior.events(bundle).front().weight : 0;
}

void OddsTable::fill(const belief::Prior& prior, Odds& odds) const {
  odds.fault.resize(space_->faults().size());
  double log_sound = 0;
  double sum = 1;
  for (std::size_t v = 0; v < space_->variables().size(); ++v) {
    const auto& variable = space_->variables()[v];
    const double good = std::max(prior.good(static_cast<std::int32_t>(v), 0), 1e-9);
    double whole = 0;
    double most = 0;
    std::int32_t best = -1;
    for (auto f = variable.first; f < variable.first + variable.count; ++f) {
      odds.fault[at(f)] = (prior.of(f, 0) + little_harm(prior, f)) / good;
      const double p = prior.of(f);
      whole += p;
      if (space_->fault(f).duty.a > 0 || p <= most) continue;
      most = p;
      best = f;
    }
    log_sound += std::log(good);
    if (best < 0) continue;
    odds.typical.emplace_back(best, whole / std::max(1 - whole, 1e-9));
    sum += odds.typical.back().second;
  }
  for (std::size_t b = 0; b < space_->bundles().size(); ++b)
    log_sound += std::log(prior.events(static_cast<std::int32_t>(b)).front().weight);
  for (auto& [fault, weight] : odds.typical) weight /= sum;
  odds.sound = std::exp(log_sound);
}

void OddsTable::add_events(const belief::Prior& prior, Odds& odds) const {
  for (std::size_t b = 0; b < space_->bundles().size(); ++b) {
    const auto bundle = static_cast<std::int32_t>(b);
    const auto& events = prior.events(bundle);
    for (std::size_t k = 1; k < events.size(); ++k) {
      Event event;
      event.bundle = bundle;
      event.weight = events[k].weight / events.front().weight;
      for (const auto v : space_->bundles()[b].variables) {
        const auto& variable = space_->variables()[at(v)];
        const double good = std::max(prior.good(v, k), 1e-9);
        const double good_before = std::max(prior.good(v, 0), 1e-9);
        // Faults that are no members are there or not; what the event does to them counts in its weight.
        double others = 1;
        double others_before = 1;
        for (auto f = variable.first; f < variable.first + variable.count; ++f)
          if (const auto known = event_modes_.find({bundle, k, f}); known != event_modes_.end()) {
            event.members.push_back({f, v, prior.of(f, k) / good, of(known->second)});
          } else {
            others += prior.of(f, k) / good;
            others_before += prior.of(f, 0) / good_before;
          }
        event.weight *= good / good_before * others / others_before;
      }
      odds.events.push_back(std::move(event));
    }
  }
}

const OddsTable::Odds& OddsTable::find(const belief::Evidence& evidence) {
  const auto& exposure = evidence.exposure;
  const double usual = rates_->exposure_hours;
  const double hours = exposure.hours > 0 ? exposure.hours : usual;
  // Counted from the usual hours, which most jobs have.
  const double below = std::floor(std::log(hours / usual) / std::log(hours_ratio));
  const double low_hours = usual * std::pow(hours_ratio, below);
  const double high_hours = usual * std::pow(hours_ratio, below + 1);
  const double share = std::clamp((hours - low_hours) / (high_hours - low_hours), 0.0, 1.0);
  const auto& low = node(exposure.environment, low_hours);
  const bool more =
      std::any_of(evidence.entries.begin(), evidence.entries.end(), speaks_of_components);
  if (share == 0 && !more) return low.odds;
  present_ = low.odds;
  if (share > 0) blend(present_, node(exposure.environment, high_hours).odds, share);
  if (more) add_looks_and_cues(evidence, low, present_);
  return present_;
}

/// They act on the odds of single modes, and so on those of a fault by the modes it stands for.
void OddsTable::add_looks_and_cues(const belief::Evidence& evidence, const Node& low,
                                   Odds& out) const {
  const auto& vehicle = space_->vehicle();
  const belief::Looks looks(*space_, evidence.entries, repeat_correlation_);
  const belief::Cues cues(vehicle, *rates_, evidence.entries);
  std::vector<double> if_good(vehicle.components.size());
  double all_good = 1;
  for (std::size_t c = 0; c < if_good.size(); ++c) {
    if_good[c] = looks.if_good(static_cast<vehicle::Index>(c));
    all_good *= if_good[c];
  }
  const auto factor = [&](Modes modes) {
    double sum = 0;
    for (const auto& part : modes) {
      const auto component = vehicle.modes[at(part.mode)].component;
      sum +=
          part.share * cues.factor(component) * looks.if_faulty(part.mode) / if_good[at(component)];
    }
    return modes.empty() ? 1 : sum;
  };
  for (std::size_t f = 0; f < out.fault.size(); ++f) out.fault[f] *= factor(of(modes_[f]));
  for (auto& event : out.events)
    for (auto& member : event.members) member.odds *= factor(member.modes);
  out.unlooked = looks.marginal(low.modes, rates_->repair) / all_good;
}

}  // namespace faultloom::fleet
