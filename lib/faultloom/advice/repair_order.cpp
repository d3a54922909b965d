#include <faultloom/advice/repair_order.hpp>

#include <algorithm>
#include <map>
#include <numeric>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Which faults keep the vehicle from running, each on its own; computed when first asked.
class Stoppers {
 public:
  Stoppers(const belief::FaultSpace& space, circuit::Solver& solver)
      : space_(space), solver_(solver) {}

  bool stops(std::int32_t fault) {
    const auto [entry, added] = known_.emplace(fault, false);
    if (added) {
      if (!sound_runs_) sound_runs_ = runs({});
      entry->second = *sound_runs_ && !runs({{fault}});
    }
    return entry->second;
  }

 private:
  /// Runs: every sign called "turns" is there in the state in which the driver wants to go.
  bool runs(const belief::Candidate& candidate) {
    const auto& vehicle = space_.vehicle();
    space_.overrides(candidate.faults, overrides_);
    space_.settings(candidate.faults, settings_);
    const auto stage = solver_.stage(vehicle.run_state);
    solver_.begin(overrides_, settings_);
    solver_.enter(stage);
    return std::all_of(vehicle.signs.begin(), vehicle.signs.end(), [&](const auto& sign) {
      return sign.id != "turns" || solver_.holds(sign.when);
    });
  }

  const belief::FaultSpace& space_;
  circuit::Solver& solver_;
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
  std::map<std::int32_t, bool> known_;
  std::optional<bool> sound_runs_;  ///< with nothing broken
};

/// Splits a candidate over the modes its faults stand for, in proportion to their shares.
void expand(LiveSet& set, std::int32_t live, const belief::Weighted& item,
            const belief::FaultSpace& space, const belief::Posterior& posterior,
            Stoppers& stoppers) {
  constexpr std::size_t most_splits = 32;
  const auto& faults = item.candidate.faults;
  const bool some_stop =
      std::any_of(faults.begin(), faults.end(), [&](std::int32_t f) { return stoppers.stops(f); });
  std::vector<Hypothesis> split{{item.probability, live, {}, {}}};
  for (const auto f : faults) {
    const bool needed = !some_stop || stoppers.stops(f);
    const auto& shares = posterior.mode_shares[at(f)];
    std::vector<Hypothesis> next;
    for (const auto& h : split)
      for (const auto& [mode, share] : shares) {
        // A mode hidden behind the one that counts is no separate way for things to be.
        const auto& own = space.fault(f).modes;
        if (std::find(own.begin(), own.end(), mode) == own.end() || share <= 0) continue;
        auto more = h;
        more.weight *= share;
        more.modes.push_back(mode);
        if (needed) more.components.push_back(space.vehicle().modes[at(mode)].component);
        next.push_back(std::move(more));
      }
    std::stable_sort(next.begin(), next.end(),
                     [](const Hypothesis& a, const Hypothesis& b) { return a.weight > b.weight; });
    if (next.size() > most_splits) next.resize(most_splits);
    split = std::move(next);
  }
  double sum = 0;
  for (const auto& h : split) sum += h.weight;
  for (auto& h : split) {
    if (sum > 0) h.weight *= item.probability / sum;
    set.hypotheses.push_back(std::move(h));
  }
}

/// Numbers a candidate of the set, which gets it if it lacks it.
std::int32_t number_of(LiveSet& set, const belief::Candidate& candidate) {
  auto found = std::find(set.candidates.begin(), set.candidates.end(), candidate);
  if (found == set.candidates.end()) found = set.candidates.insert(found, candidate);
  return static_cast<std::int32_t>(found - set.candidates.begin());
}

/// Cuts the hypotheses of candidates with faults that come and go in two: at work now, and quiet.
void split_swings(LiveSet& set, const belief::FaultSpace& space, const belief::Posterior& posterior,
                  double least) {
  struct Halves {
    const belief::Predictions::Swing* chances;
    std::int32_t quiet;  // candidate
  };
  std::map<std::int32_t, Halves> halves;  // by candidate with everything at work
  const auto given = static_cast<std::int32_t>(set.candidates.size());
  for (const auto& [candidate, swing] : posterior.swings) {
    const auto found = std::find(set.candidates.begin(), set.candidates.end(), candidate);
    const auto live = static_cast<std::int32_t>(found - set.candidates.begin());
    if (live >= given) continue;
    auto quiet = candidate;
    std::erase_if(quiet.faults, [&](std::int32_t f) { return space.fault(f).duty.a > 0; });
    halves[live] = {&swing, number_of(set, quiet)};
  }
  std::vector<Hypothesis> all;
  for (auto& h : set.hypotheses) {
    const auto found = halves.find(h.live);
    if (found == halves.end()) {
      all.push_back(std::move(h));
      continue;
    }
    const auto& chances = *found->second.chances;
    auto lively = h;
    const double later =
        chances.now < 1 ? std::max(0.0, chances.caught - chances.now) / (1 - chances.now) : 1;
    lively.swing = {h.live, found->second.quiet, chances.again, chances.wiggled,
                    chances.again + (1 - chances.again) * later};
    lively.weight *= chances.now;
    auto quiet = lively;
    quiet.live = lively.swing->quiet;
    quiet.swing->shows = chances.after_quiet;
    quiet.swing->caught = later;
    quiet.weight = h.weight - lively.weight;
    if (lively.weight > least * h.weight) all.push_back(std::move(lively));
    if (quiet.weight > least * h.weight) all.push_back(std::move(quiet));
  }
  set.hypotheses = std::move(all);
}

/// A run of repairs inside one zone, or a single repair in an open one.
struct Block {
  std::vector<Index> components;
  double probability = 0;
  double cost = 0;
};

/// The prefix of a zone's repairs (best ratio first) with the greatest probability per cost, opening included.
Block best_prefix(const std::vector<Index>& sorted, double opening,
                  const std::map<Index, double>& probability, const RepairCosts& costs) {
  Block best;
  Block growing;
  growing.cost = opening;
  for (const auto c : sorted) {
    growing.components.push_back(c);
    growing.probability += probability.at(c);
    growing.cost += costs.attempt(c);
    if (best.components.empty() ||
        growing.probability * best.cost > best.probability * growing.cost)
      best = growing;
  }
  return best;
}

}  // namespace

LiveSet live_set(const belief::FaultSpace& space, circuit::Solver& solver,
                 const belief::Posterior& posterior, const LiveOptions& options) {
  LiveSet set;
  Stoppers stoppers(space, solver);
  const double modelled = 1 - posterior.not_in_model;
  for (const auto& item : posterior.candidates) {
    // One at least: with everything else out of the model there is still something to try.
    if (!set.candidates.empty() && (set.candidates.size() == options.most_candidates ||
                                    set.covered >= options.coverage * modelled))
      break;
    const auto live = static_cast<std::int32_t>(set.candidates.size());
    set.candidates.push_back(item.candidate);
    set.covered += item.probability;
    expand(set, live, item, space, posterior, stoppers);
  }
  split_swings(set, space, posterior, options.least_variant);
  std::stable_sort(set.hypotheses.begin(), set.hypotheses.end(),
                   [](const Hypothesis& a, const Hypothesis& b) { return a.weight > b.weight; });
  if (set.hypotheses.size() > options.most_hypotheses)
    set.hypotheses.resize(options.most_hypotheses);
  double sum = 0;
  for (const auto& h : set.hypotheses) sum += h.weight;
  const auto count = static_cast<double>(set.hypotheses.size());
  for (auto& h : set.hypotheses) h.weight = sum > 0 ? h.weight / sum : 1 / count;
  return set;
}

double RepairCosts::attempt(Index component) const {
  const auto& repair = vehicle_->components[at(component)].repair;
  return prices_.of_minutes(repair.minutes + prices_.verify_minutes) + loss(component);
}

/// What it costs that a part replaced was good; less than nothing is then due if it was not.
double RepairCosts::loss(Index component) const {
  const auto& own = vehicle_->components[at(component)];
  if (own.repair.price_usd <= 0) return 0;
  // A joint cleaned or a wire spliced for nothing is soon forgotten.
  const bool part = own.type == vehicle::Component::Type::part;
  return prices_.good_part_loss * own.repair.price_usd + (part ? prices_.good_part_usd : 0);
}

double RepairCosts::part_rest(Index component) const {
  return vehicle_->components[at(component)].repair.price_usd - loss(component);
}

double RepairCosts::not_taken(Index component) const {
  return risk_.after(vehicle_->components[at(component)].type);
}

double RepairCosts::zone(Index zone) const {
  if (zone == vehicle::none) return 0;
  const auto& z = vehicle_->zones[at(zone)];
  return prices_.of_minutes(z.open_minutes + z.close_minutes);
}

double RepairCosts::fix(const Hypothesis& hypothesis, const std::vector<bool>& open_zones) const {
  if (hypothesis.components.empty()) return prices_.of_minutes(prices_.verify_minutes);
  double sum = 0;
  Index opened = vehicle::none;
  for (const auto c : hypothesis.components) {
    sum += attempt(c) + part_rest(c);
    const auto z = vehicle_->components[at(c)].zone;
    if (z != vehicle::none && !open_zones[at(z)] && z != opened) {
      sum += zone(z);
      opened = z;
    }
  }
  return sum;
}

RepairOrder repair_order(std::span<const Hypothesis> hypotheses, std::span<const double> weights,
                         const RepairCosts& costs, const std::vector<bool>& open_zones) {
  const auto& vehicle = costs.vehicle();
  std::map<Index, double> probability;
  double whole = 0;
  double part_rests = 0;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    whole += weights[h];
    for (const auto c : hypotheses[h].components) {
      if (weights[h] <= 0) continue;
      probability[c] += weights[h];
      part_rests += weights[h] * costs.part_rest(c);
    }
  }
  std::map<Index, std::vector<Index>> by_zone;
  for (const auto& [c, p] : probability) {
    const auto z = vehicle.components[at(c)].zone;
    by_zone[z != vehicle::none && !open_zones[at(z)] ? z : vehicle::none].push_back(c);
  }
  const auto better = [&](Index a, Index b) {
    const double left = probability[a] * costs.attempt(b);
    const double right = probability[b] * costs.attempt(a);
    return left != right ? left > right : a < b;
  };
  for (auto& [z, list] : by_zone) std::sort(list.begin(), list.end(), better);

  RepairOrder order;
  std::map<Index, double> spent_until;
  double spent = 0;
  while (!by_zone.empty()) {
    // Either the best single repair where nothing needs opening, or the best block behind a panel.
    Block best;
    Index best_zone = vehicle::none;
    for (const auto& [z, list] : by_zone) {
      const auto block =
          z == vehicle::none
              ? Block{{list.front()}, probability[list.front()], costs.attempt(list.front())}
              : best_prefix(list, costs.zone(z), probability, costs);
      if (best.components.empty() ||
          block.probability * best.cost > best.probability * block.cost) {
        best = block;
        best_zone = z;
      }
    }
    double extra = best.cost;
    for (const auto c : best.components) extra -= costs.attempt(c);
    spent += extra;
    for (const auto c : best.components) {
      spent += costs.attempt(c);
      spent_until[c] = spent;
      order.components.push_back(c);
    }
    auto rest = by_zone[best_zone];
    by_zone.erase(best_zone);
    std::erase_if(rest, [&](Index c) { return spent_until.contains(c); });
    if (rest.empty()) continue;
    auto& open = by_zone[vehicle::none];  // the zone is open now
    open.insert(open.end(), rest.begin(), rest.end());
    std::sort(open.begin(), open.end(), better);
  }
  double sum = part_rests;
  for (std::size_t h = 0; h < hypotheses.size(); ++h) {
    double last = hypotheses[h].components.empty()
                      ? costs.prices().of_minutes(costs.prices().verify_minutes)
                      : 0;
    for (const auto c : hypotheses[h].components)
      if (weights[h] > 0) last = std::max(last, spent_until[c]);
    sum += weights[h] * last;
  }
  order.expected_usd = whole > 0 ? sum / whole : 0;
  return order;
}

}  // namespace faultloom::advice
