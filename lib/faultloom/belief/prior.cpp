#include <faultloom/belief/prior.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

using vehicle::Component;

bool concerns(const rates::Event& event, Bundle::Type type) {
  return (event.on == rates::Event::On::loom) == (type == Bundle::Type::loom);
}

/// P(event puts a member into each mode), by mode of the member; zero if it can't harm it.
std::vector<double> damage_of(const vehicle::Vehicle& vehicle, const Component& member,
                              const rates::Event& event) {
  std::vector<double> result;
  double sum = 0;
  for (const auto m : member.modes) {
    const auto share = event.mode_shares.find(vehicle.modes[at(m)].id);
    result.push_back(share == event.mode_shares.end() ? 0 : share->second);
    sum += result.back();
  }
  if (sum > 0)
    for (auto& p : result) p /= sum;
  return result;
}

}  // namespace

Prior::Prior(const FaultSpace& space, const rates::Rates& rates, const rates::Exposure& exposure,
             const Looks& looks, const Cues& cues)
    : space_(&space),
      looks_(&looks),
      cues_(&cues),
      mode_priors_(rates::mode_priors(space.vehicle(), rates, exposure)),
      repair_(rates.repair) {
  find_events(rates, exposure);
  for (const auto& events : events_) {
    event_slots_.push_back(event_count_);
    event_count_ += events.size();
  }
  for (const auto& variable : space.variables()) {
    Offset offset;
    offset.contexts = variable.bundle < 0 ? 1 : events_[at(variable.bundle)].size();
    offset.slot = slots_;
    offset.first = probability_.size();
    slots_ += offset.contexts;
    for (std::size_t k = 0; k < offset.contexts; ++k)
      slot_event_.push_back(variable.bundle < 0
                                ? -1
                                : static_cast<std::int32_t>(event_slots_[at(variable.bundle)] + k));
    offsets_.push_back(offset);
    probability_.resize(probability_.size() + offset.contexts * (at(variable.count) + 1), 0);
  }
  for (std::size_t v = 0; v < offsets_.size(); ++v) {
    const auto variable = static_cast<std::int32_t>(v);
    const auto bundle = space.variables()[v].bundle;
    for (std::size_t k = 0; k < offsets_[v].contexts; ++k) {
      const double norm = fill(variable, k);
      if (bundle < 0) {
        log_scale_ += std::log(norm);
      } else {
        events_[at(bundle)][k].weight *= norm;
      }
    }
  }
  for (std::size_t v = 0; v < offsets_.size(); ++v)
    for (std::size_t k = 0; k < offsets_[v].contexts; ++k)
      good_.push_back(good(static_cast<std::int32_t>(v), k));
  for (auto& list : events_) {
    double sum = 0;
    for (const auto& event : list) sum += event.weight;
    log_scale_ += std::log(sum);
    for (auto& event : list) event.weight /= sum;
  }
}

void Prior::find_events(const rates::Rates& rates, const rates::Exposure& exposure) {
  const auto& vehicle = space_->vehicle();
  const double hours = exposure.hours > 0 ? exposure.hours : rates.exposure_hours;
  double harshness = 1;
  if (const auto found = rates.environments.find(exposure.environment);
      found != rates.environments.end())
    harshness = found->second;
  for (const auto& bundle : space_->bundles()) {
    std::vector<Event> list{{"", 1}};
    std::vector<std::vector<double>> harm{std::vector<double>(vehicle.modes.size(), 0)};
    for (const auto& [id, event] : rates.events) {
      if (!concerns(event, bundle.type)) continue;
      std::vector<double> by_mode(vehicle.modes.size(), 0);
      double able = 0;
      for (const auto c : bundle.members) {
        const auto& member = vehicle.components[at(c)];
        const auto damage = damage_of(vehicle, member, event);
        double sum = 0;
        for (std::size_t i = 0; i < damage.size(); ++i) {
          by_mode[at(member.modes[i])] = damage[i];
          sum += damage[i];
        }
        if (sum > 0) ++able;
      }
      if (able < 2) continue;
      const double hit = std::min(0.5, event.expected_hits / able);
      for (auto& p : by_mode) p *= hit;
      list.push_back({id, -std::expm1(-event.mean() * harshness * hours / 1e6)});
      harm.push_back(std::move(by_mode));
    }
    // At most one event per bundle and visit: two are rarer by orders of magnitude.
    double none_of_them = 1;
    for (std::size_t k = 1; k < list.size(); ++k) none_of_them -= list[k].weight;
    list.front().weight = std::max(none_of_them, 0.1);
    events_.push_back(std::move(list));
    damage_.push_back(std::move(harm));
  }
}

Prior::Single Prior::single(Index c, std::int32_t v, std::size_t context) const {
  const auto& component = space_->vehicle().components[at(c)];
  const auto& variable = space_->variables()[at(v)];
  const auto bundle = variable.bundle;
  const auto life = space_->life_in(c, variable.life.from);
  // A termination shares its wire's variable but lies outside the loom.
  const bool hit = bundle >= 0 && context > 0 && component.type != Component::Type::termination;
  Single result;
  double failed = 0;
  double damaged = 0;
  for (const auto m : component.modes) {
    failed += mode_priors_[at(m)];
    if (hit) damaged += damage_[at(bundle)][context][at(m)];
  }
  if (variable.renewed) {
    // The driver spoke of the vehicle as it came in.
    const double scale = failed > 0 ? repair_.after(component.type) / failed : 0;
    result.good = (1 - scale * failed) * looks_->if_good(c, life);
    for (const auto m : component.modes)
      result.modes.push_back(scale * mode_priors_[at(m)] * looks_->if_faulty(m, life));
    return result;
  }
  const double factor = cues_->factor(c);
  result.good = (1 - damaged) * (1 - failed) * looks_->if_good(c, life);
  for (const auto m : component.modes) {
    const double own = hit ? damage_[at(bundle)][context][at(m)] : 0;
    result.modes.push_back((own + (1 - damaged) * mode_priors_[at(m)]) *
                           looks_->if_faulty(m, life) * factor);
  }
  return result;
}

double Prior::fill(std::int32_t v, std::size_t context) {
  const auto& variable = space_->variables()[at(v)];
  const auto count = at(variable.count);
  double* out = probability_.data() + offsets_[at(v)].first + context * (count + 1);
  // The graver of the components' faults counts: multiply what is at most that grave.
  std::vector<double> up_to(count + 1, 1);
  for (const auto c : variable.components) {
    const auto one = single(c, v, context);
    std::vector<double> share(count + 1, 0);
    share[0] = one.good;
    const auto& modes = space_->vehicle().components[at(c)].modes;
    for (std::size_t i = 0; i < modes.size(); ++i)
      for (const auto& cell : space_->cells_of(modes[i], v))
        share[1 + at(cell.fault - variable.first)] += one.modes[i] * cell.share;
    double sum = 0;
    for (std::size_t f = 0; f <= count; ++f) {
      sum += share[f];
      up_to[f] *= sum;
    }
  }
  const double whole = up_to[count];
  if (variable.components.size() == 1) {
    // No difference of sums where none is needed.
    const auto one = single(variable.components.front(), v, context);
    out[0] = one.good;
    const auto& modes = space_->vehicle().components[at(variable.components.front())].modes;
    for (std::size_t i = 0; i < modes.size(); ++i)
      for (const auto& cell : space_->cells_of(modes[i], v))
        out[1 + at(cell.fault - variable.first)] += one.modes[i] * cell.share;
    for (std::size_t f = 0; f <= count; ++f) out[f] /= whole;
    return whole;
  }
  out[0] = up_to[0] / whole;
  for (std::size_t f = 1; f <= count; ++f) {
    // A fault without a rate has no share; the rounding of two equal sums must not give it one.
    const double share = up_to[f] - up_to[f - 1];
    out[f] = share > 1e-15 * whole ? share / whole : 0;
  }
  return whole;
}

std::size_t Prior::place(std::int32_t fault, std::size_t context) const {
  const auto v = space_->fault(fault).variable;
  const auto& variable = space_->variables()[at(v)];
  return offsets_[at(v)].first + context * (at(variable.count) + 1) + 1 +
         at(fault - variable.first);
}

double Prior::of(std::int32_t fault, std::size_t context) const {
  return probability_[place(fault, context)];
}

double Prior::good(std::int32_t v, std::size_t context) const {
  return probability_[offsets_[at(v)].first + context * (at(space_->variables()[at(v)].count) + 1)];
}

double Prior::of(std::int32_t fault) const {
  const auto v = space_->fault(fault).variable;
  const auto bundle = space_->variables()[at(v)].bundle;
  if (bundle < 0) return of(fault, 0);
  double sum = 0;
  for (std::size_t k = 0; k < contexts(v); ++k) sum += events_[at(bundle)][k].weight * of(fault, k);
  return sum;
}

std::vector<Prior::ModeShare> Prior::modes_given(std::int32_t fault, std::size_t context) const {
  const auto v = space_->fault(fault).variable;
  const auto& variable = space_->variables()[at(v)];
  std::vector<Single> singles;
  // Of each component: weight of what is less grave than the fault, and of the fault itself.
  std::vector<double> below;
  std::vector<double> equal;
  const auto weights_of = [&](std::size_t j, std::size_t i) {
    std::pair<double, double> result{0, 0};
    const auto m = space_->vehicle().components[at(variable.components[j])].modes[i];
    for (const auto& cell : space_->cells_of(m, v)) {
      if (cell.fault < fault) result.first += singles[j].modes[i] * cell.share;
      if (cell.fault == fault) result.second += singles[j].modes[i] * cell.share;
    }
    return result;
  };
  for (std::size_t j = 0; j < variable.components.size(); ++j) {
    singles.push_back(single(variable.components[j], v, context));
    below.push_back(singles[j].good);
    equal.push_back(0);
    for (std::size_t i = 0; i < singles[j].modes.size(); ++i) {
      const auto [less, same] = weights_of(j, i);
      below[j] += less;
      equal[j] += same;
    }
  }
  double all = 1;
  double all_below = 1;
  for (std::size_t j = 0; j < below.size(); ++j) {
    all *= below[j] + equal[j];
    all_below *= below[j];
  }
  const double whole = all - all_below;
  std::vector<ModeShare> result;
  for (std::size_t j = 0; j < variable.components.size(); ++j) {
    double others = 1;
    double others_below = 1;
    for (std::size_t i = 0; i < below.size(); ++i) {
      if (i == j) continue;
      others *= below[i] + equal[i];
      others_below *= below[i];
    }
    const auto& modes = space_->vehicle().components[at(variable.components[j])].modes;
    for (std::size_t i = 0; i < modes.size(); ++i) {
      const auto [less, same] = weights_of(j, i);
      const double share = same * others + less * (others - others_below);
      if (share > 0 && whole > 0) result.push_back({modes[i], share / whole});
    }
  }
  return result;
}

double Prior::by_itself(Index mode, std::int32_t v, std::size_t context) const {
  const auto bundle = space_->variables()[at(v)].bundle;
  const auto& component =
      space_->vehicle().components[at(space_->vehicle().modes[at(mode)].component)];
  if (bundle < 0 || context == 0 || component.type == Component::Type::termination) return 1;
  const auto& damage = damage_[at(bundle)][context];
  double damaged = 0;
  for (const auto m : component.modes) damaged += damage[at(m)];
  const double own = (1 - damaged) * mode_priors_[at(mode)];
  return own > 0 ? own / (own + damage[at(mode)]) : 0;
}

// ---- assignment --------------------------------------------------------------------------------

Assignment::Assignment(const Prior& prior)
    : prior_(&prior),
      open_(prior.slots_, 1),
      spare_(prior.slots_, 1),
      events_(prior.event_count_),
      included_(prior.offsets_.size(), false) {
  for (std::size_t b = 0; b < prior.events_.size(); ++b)
    for (std::size_t k = 0; k < prior.events_[b].size(); ++k)
      events_[prior.event_slots_[b] + k] = prior.events_[b][k].weight;
}

double Assignment::event(std::int32_t bundle, std::size_t k) const {
  return events_[prior_->event_slots_[at(bundle)] + k];
}

double Assignment::context(std::int32_t v, std::size_t k) const {
  const auto bundle = prior_->space().variables()[at(v)].bundle;
  return bundle < 0 ? 1 : event(bundle, k);
}

double Assignment::open(std::int32_t v, std::size_t k) const {
  return open_[prior_->offsets_[at(v)].slot + k];
}

double Assignment::spare(std::int32_t v, std::size_t k) const {
  return spare_[prior_->offsets_[at(v)].slot + k];
}

double Assignment::chance_in(std::int32_t fault, std::size_t k) const {
  const auto v = prior_->space().fault(fault).variable;
  const double rest = open(v, k);
  return rest > 0 ? std::min(1.0, spare(v, k) * prior_->of(fault, k) / rest) : 0;
}

double Assignment::chance(std::int32_t fault) const {
  const auto v = prior_->space().fault(fault).variable;
  double sum = 0;
  for (std::size_t k = 0; k < prior_->contexts(v); ++k) sum += context(v, k) * chance_in(fault, k);
  return std::min(sum, 1.0);
}

namespace {

/// P(at least or exactly `count` of independent things happen), one of them left out if wanted.
double count_chance(std::span<const double> chances, std::size_t count, bool exactly,
                    std::size_t without) {
  std::vector<double> by_count(count + 2, 0);  // the last: more than `count`
  by_count[0] = 1;
  for (std::size_t i = 0; i < chances.size(); ++i) {
    if (i == without) continue;
    const double p = chances[i];
    by_count[count + 1] += by_count[count] * p;
    for (std::size_t n = count; n > 0; --n)
      by_count[n] = by_count[n] * (1 - p) + by_count[n - 1] * p;
    by_count[0] *= 1 - p;
  }
  return exactly ? by_count[count] : by_count[count] + by_count[count + 1];
}

constexpr std::size_t nobody = static_cast<std::size_t>(-1);

}  // namespace

double Assignment::chance_of(std::span<const std::int32_t> faults, std::size_t count,
                             bool exactly) const {
  const auto v = prior_->space().fault(faults.front()).variable;
  const auto contexts = prior_->contexts(v);
  std::vector<double> chances(faults.size());
  double sum = 0;
  for (std::size_t k = 0; k < contexts; ++k) {
    for (std::size_t i = 0; i < faults.size(); ++i) chances[i] = chance_in(faults[i], k);
    sum += context(v, k) * count_chance(chances, count, exactly, nobody);
  }
  return sum;
}

std::vector<std::vector<double>> Assignment::include_some(std::span<const std::int32_t> faults,
                                                          std::size_t count, bool exactly) {
  const auto first = prior_->space().fault(faults.front()).variable;
  const auto bundle = prior_->space().variables()[at(first)].bundle;
  const auto contexts = prior_->contexts(first);
  std::vector<std::vector<double>> shares(contexts, std::vector<double>(faults.size()));
  std::vector<double> whole(contexts);
  std::vector<double> chances(faults.size());
  double sum = 0;
  for (std::size_t k = 0; k < contexts; ++k) {
    for (std::size_t i = 0; i < faults.size(); ++i) chances[i] = chance_in(faults[i], k);
    whole[k] = count_chance(chances, count, exactly, nobody);
    for (std::size_t i = 0; i < faults.size(); ++i)
      shares[k][i] =
          whole[k] > 0
              ? std::min(1.0, chances[i] * count_chance(chances, count - 1, exactly, i) / whole[k])
              : 0;
    sum += context(first, k) * whole[k];
  }
  mass_ *= sum;
  for (std::size_t k = 0; k < contexts && bundle >= 0 && sum > 0; ++k)
    events_[prior_->event_slots_[at(bundle)] + k] *= whole[k] / sum;
  for (std::size_t i = 0; i < faults.size(); ++i) {
    const auto slot = prior_->offsets_[at(prior_->space().fault(faults[i]).variable)].slot;
    close(faults[i]);
    for (std::size_t k = 0; k < contexts; ++k) spare_[slot + k] *= 1 - shares[k][i];
  }
  return shares;
}

/// Takes a fault out of what is open without any say on whether it is there.
void Assignment::close(std::int32_t fault) {
  const auto v = prior_->space().fault(fault).variable;
  for (std::size_t k = 0; k < prior_->contexts(v); ++k) {
    auto& rest = open_[prior_->offsets_[at(v)].slot + k];
    rest = std::max(rest - prior_->of(fault, k), prior_->good(v, k));
  }
}

void Assignment::include(std::int32_t fault) {
  const auto v = prior_->space().fault(fault).variable;
  const auto bundle = prior_->space().variables()[at(v)].bundle;
  const double p = chance(fault);
  mass_ *= p;
  included_[at(v)] = true;
  if (bundle < 0 || p <= 0) return;
  for (std::size_t k = 0; k < prior_->contexts(v); ++k) {
    auto& weight = events_[prior_->event_slots_[at(bundle)] + k];
    const double rest = open(v, k);
    weight *= rest > 0 ? chance_in(fault, k) / p : 0;
  }
}

void Assignment::exclude(std::int32_t fault) {
  const auto v = prior_->space().fault(fault).variable;
  const auto bundle = prior_->space().variables()[at(v)].bundle;
  const auto slot = prior_->offsets_[at(v)].slot;
  double left = 0;
  for (std::size_t k = 0; k < prior_->contexts(v); ++k) {
    auto& rest = open_[slot + k];
    const double now = std::max(rest - prior_->of(fault, k), prior_->good(v, k));
    // Of what is spare, the fault's share goes.
    const double kept = rest > 0 ? 1 - spare(v, k) * (1 - now / rest) : 0;
    rest = now;
    if (bundle < 0) {
      mass_ *= kept;
      return;
    }
    auto& weight = events_[prior_->event_slots_[at(bundle)] + k];
    weight *= kept;
    left += weight;
  }
  mass_ *= left;
  if (left <= 0) return;
  for (std::size_t k = 0; k < prior_->contexts(v); ++k)
    events_[prior_->event_slots_[at(bundle)] + k] /= left;
}

double Assignment::nothing_else() const { return nothing_of(false); }

double Assignment::nothing_left() const { return nothing_of(true); }

double Assignment::nothing_of(bool lasting_only) const {
  const auto& variables = prior_->space().variables();
  double product = 1;
  std::vector<double> left = events_;
  for (std::size_t v = 0; v < included_.size(); ++v) {
    if (included_[v] || (lasting_only && !variables[v].life.lasting())) continue;
    const auto& offset = prior_->offsets_[v];
    for (std::size_t s = offset.slot; s < offset.slot + offset.contexts; ++s) {
      const double nothing = 1 - spare_[s] * (1 - prior_->good_[s] / open_[s]);
      const auto event = prior_->slot_event_[s];
      (event < 0 ? product : left[at(event)]) *= nothing;
    }
  }
  for (std::size_t b = 0; b < prior_->events_.size(); ++b) {
    double sum = 0;
    for (std::size_t k = 0; k < prior_->events_[b].size(); ++k)
      sum += left[prior_->event_slots_[b] + k];
    product *= sum;
  }
  return product;
}

void Assignment::factors(std::vector<double>& out) const {
  out.resize(open_.size());
  for (std::size_t s = 0; s < out.size(); ++s) {
    const auto event = prior_->slot_event_[s];
    const double context = event < 0 ? 1 : events_[at(event)];
    out[s] = open_[s] > 0 ? context * spare_[s] / open_[s] : 0;
  }
  for (std::size_t v = 0; v < included_.size(); ++v) {
    const auto& offset = prior_->offsets_[v];
    if (included_[v])
      std::fill_n(out.begin() + static_cast<std::ptrdiff_t>(offset.slot), offset.contexts, 0.0);
  }
}

void Assignment::chances(std::span<const double> factors, std::vector<double>& out) const {
  const auto& variables = prior_->space().variables();
  out.assign(prior_->space().faults().size(), 0);
  for (std::size_t v = 0; v < variables.size(); ++v) {
    const auto& offset = prior_->offsets_[v];
    const auto count = at(variables[v].count);
    const auto first = at(variables[v].first);
    const double* probability = prior_->probability_.data() + offset.first;
    for (std::size_t k = 0; k < offset.contexts; ++k, probability += count + 1)
      for (std::size_t i = 0; i < count; ++i)
        out[first + i] += factors[offset.slot + k] * probability[i + 1];
    for (std::size_t i = 0; i < count; ++i) out[first + i] = std::min(1.0, out[first + i]);
  }
}

}  // namespace faultloom::belief
