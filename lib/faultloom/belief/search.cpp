#include <faultloom/belief/search.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <tuple>
#include <unordered_map>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Thrown inside when the budget is gone; the last complete pass is the answer.
struct BudgetGone {};
/// A threshold that no weight is above: little more than "no fault" is looked at, whatever the budget.
constexpr double above_all = 2;
constexpr std::size_t between_reports = 64;
constexpr std::size_t between_looks_at_the_clock = 4;
/// Of a budget in seconds. Going over the last pass once more takes about as long as all of them.
constexpr double share_for_searching = 0.4;

constexpr double first_threshold = 1e-3;
constexpr double threshold_step = 4;
constexpr double least_threshold = 1e-18;
/// From this share of everything on, what a pass adds tells how much is still to come.
constexpr double fine = 0.01;
/// ... once a pass has looked at so many sets: one that finds nothing new may not have looked anywhere, and
/// up to there going on costs little.
constexpr std::size_t enough_to_tell = 2000;
/// Finding what matters beside a set costs as much as predicting so many sets.
constexpr double worth_expanding = 2;
/// Kernels of less than this share are not split by "does it run?".
constexpr double worth_splitting = 1e-3;

std::vector<readings::Entry> run_signs(const vehicle::Vehicle& vehicle) {
  std::vector<readings::Entry> result;
  for (std::size_t s = 0; s < vehicle.signs.size(); ++s) {
    if (vehicle.signs[s].id != "turns") continue;
    readings::Entry entry;
    entry.type = readings::Entry::Type::sign;
    entry.sign = static_cast<Index>(s);
    entry.state = vehicle.run_state;
    result.push_back(std::move(entry));
  }
  return result;
}

/// Elements between two battery blocks: where such a one opens, what is left on either side floats at a
/// voltage that tells which it was.
std::vector<bool> sources_on_both_sides(const vehicle::Vehicle& vehicle) {
  std::vector<bool> has_source(vehicle.components.size(), false);
  for (const auto& element : vehicle.elements)
    if (element.type == vehicle::ElementType::source)
      for (const auto c : element.components) has_source[at(c)] = true;
  std::vector<bool> result;
  for (const auto& element : vehicle.elements)
    result.push_back(has_source[at(vehicle.terminals[at(element.a)].component)] &&
                     has_source[at(vehicle.terminals[at(element.b)].component)]);
  return result;
}

}  // namespace

Candidate Search::with(const Candidate& candidate, std::int32_t fault) {
  Candidate result = candidate;
  result.faults.insert(std::upper_bound(result.faults.begin(), result.faults.end(), fault), fault);
  return result;
}

Search::Search(Predictions& predictions, const Observations& observations, const Prior& prior,
               const SearchOptions& options, double unmodelled)
    : predictions_(&predictions),
      observations_(&observations),
      prior_(&prior),
      options_(options),
      unmodelled_(unmodelled),
      runs_(run_signs(prior.space().vehicle())),
      run_relevance_(prior.space(), predictions.solver(), predictions.instruments(),
                     Relevance::usual_tolerance),
      between_sources_(sources_on_both_sides(prior.space().vehicle())),
      kinds_(kinds_of_faults()),
      metered_(metered_groups()),
      shorts_(prior.space().variables().size()) {
  for (std::size_t f = 0; f < prior.space().faults().size(); ++f) {
    const auto fault = static_cast<std::int32_t>(f);
    const auto v = prior.space().fault(fault).variable;
    spots_.push_back({prior.place(fault, 0), at(prior.space().variables()[at(v)].count) + 1,
                      prior.slot(v, 0), prior.contexts(v)});
  }
  for (std::size_t f = 0; f < prior.space().faults().size(); ++f)
    for (const auto& o : prior.space().faults()[f].overrides)
      if (prior.space().vehicle().elements[at(o.element)].dormant)
        shorts_[at(prior.space().faults()[f].variable)].push_back(static_cast<std::int32_t>(f));
}

Found Search::run(const Progress& progress) {
  progress_ = progress;
  start_ = std::chrono::steady_clock::now();
  auto best = passes(options_.most_sets);
  if (options_.exhaustive) return best;
  if (options_.most_faults < 0 && threshold_ < above_all && is_poor(best)) {
    const double walked = threshold_;
    try {
      aims_ = climb(best);
    } catch (const BudgetGone&) {  // no aims then
    }
    const bool more = options_.most_sets > 0 && options_.most_sets_if_poor > options_.most_sets;
    if (more || !aims_.empty()) {
      auto again = passes(more ? options_.most_sets_if_poor : options_.most_sets);
      if (again.total > best.total) {
        best = std::move(again);
      } else {
        threshold_ = walked;
        aims_.clear();
      }
    }
  }
  return named(std::move(best));
}

/// Lowers the threshold from pass to pass; leaves it as that of what is returned.
Found Search::passes(std::size_t most_sets) {
  threshold_ = options_.exhaustive ? 0 : first_threshold;
  scale_ = 0;
  Found best;
  bool any = false;
  double walked = threshold_;  // threshold of the last complete pass
  std::size_t before = 0;
  most_sets_ = most_sets;
  while (true) {
    try {
      walk();
    } catch (const BudgetGone&) {
      if (any) break;
      // Not even one coarse pass: everything but "no fault" stays outside.
      threshold_ = walked = above_all;
      walk();
      best = std::move(found_);
      break;
    }
    best = std::move(found_);
    any = true;
    walked = threshold_;
    const double share_found = best.total > 0 ? threshold_ / best.total : 1;
    best.growth = best.total > 0 ? std::abs(best.total - scale_) / best.total : 1;
    scale_ = best.total;
    best.complete = best.outside <= options_.bound * (best.total + unmodelled_ + best.outside);
    const bool settled =
        best.sets >= enough_to_tell && share_found < fine && best.growth < options_.least_growth;
    if (best.complete || settled || options_.exhaustive || threshold_ < least_threshold) break;
    threshold_ /= threshold_step;
    // The first passes find next to nothing; what they grow by says little.
    const auto now = static_cast<double>(best.sets);
    const double next =
        now * std::clamp(now / static_cast<double>(std::max<std::size_t>(before, 1)), 2.0, 4.0);
    if (most_sets_ > 0 && next > static_cast<double>(most_sets_)) break;
    before = best.sets;
  }
  threshold_ = walked;
  return best;
}

bool Search::is_poor(const Found& found) const {
  constexpr int several = 2;
  constexpr double mistaken = 0.1;  // a sign taken for its opposite is at some 0.06
  const auto best =
      std::max_element(found.kernels.begin(), found.kernels.end(),
                       [](const Kernel& a, const Kernel& b) { return a.weight < b.weight; });
  if (best == found.kernels.end()) return true;
  // A group that faults make come and go has no value of its own.
  if (predictions_->intermittent_count(best->seen) > 0) return false;
  int count = 0;
  for (std::size_t g = 0; g < observations_->group_count(); ++g)
    if (predictions_->group(best->seen, g) <
        mistaken * predictions_->ceiling_with_help(best->seen, g))
      ++count;
  return count >= several;
}

/// Goes over the sets of the last pass once more, none of it new, for what costs time and is wanted once:
/// whether it runs, and resistances to more than their cell.
Found Search::named(Found best) {
  naming_ = true;
  try {
    walk();
  } catch (const BudgetGone&) {
    return best;
  }
  found_.growth = best.growth;
  found_.complete = best.complete;
  return std::move(found_);
}

void Search::walk() {
  found_ = {};
  found_.events.assign(prior_->event_count(), 0);
  found_.faults.assign(prior_->place_count(), 0);
  free_.assign(prior_->slot_count(), 0);
  excluded_.assign(prior_->place_count(), 0);
  out_.clear();
  picks_.clear();
  goals_.clear();
  for (const auto& aim : aims_) goals_.push_back(aim.faults);
  is_out_ = Bits(prior_->space().faults().size());
  visit({}, Assignment(*prior_));
  finish(found_);
}

bool Search::out_of_budget() const {
  if (options_.most_seconds <= 0 || threshold_ == above_all) return false;
  const std::chrono::duration<double> used = std::chrono::steady_clock::now() - start_;
  return used.count() > options_.most_seconds * (naming_ ? 1 : share_for_searching);
}

/// Counts a set, reports and ends if the time is up.
void Search::look_at_one() {
  ++looked_at_;
  if (looked_at_ % between_reports == 0) {
    // How many there will be is not known; the share only ever grows.
    const auto looked_at = static_cast<double>(looked_at_);
    report(progress_, 0.99 * looked_at / (looked_at + 3000));
  }
  // On a large vehicle a set takes milliseconds.
  if (looked_at_ % between_looks_at_the_clock == 0 && out_of_budget()) throw BudgetGone{};
}

void Search::visit(const Candidate& candidate, Assignment assignment) {
  const double likelihood = predictions_->likelihood(candidate);
  ++found_.sets;
  look_at_one();
  if (most_sets_ > 0 && !options_.exhaustive && !naming_ && threshold_ != above_all &&
      found_.sets > most_sets_)
    throw BudgetGone{};
  if (options_.most_faults >= 0 &&
      candidate.faults.size() == static_cast<std::size_t>(options_.most_faults)) {
    // Nothing more may be there: decide all the rest.
    const double exact = assignment.mass() * assignment.nothing_else();
    found_.outside += assignment.mass() - exact;
    found_.seen_mass += exact;
    const double weight = exact * likelihood;
    found_.kernels.push_back({candidate, picks_, candidate, weight, likelihood});
    found_.total += weight;
    if (mended(candidate)) found_.no_fault += weight;
    account(assignment, weight);
    return;
  }
  if (!options_.exhaustive && !candidate.faults.empty() && goals_.empty()) {
    const double more = assignment.mass() * (1 - assignment.nothing_else());
    if (more * likelihood < worth_expanding * threshold_) {
      double worst = more * capped(candidate);
      // What further faults could mend is looked into only where that could come to something.
      if (hope * worst >= worth_expanding * threshold_) worst = limit(candidate, assignment, more);
      if (hope * worst < worth_expanding * threshold_) {
        found_.outside += worst;
        conclude(candidate, assignment, likelihood);
        return;
      }
    }
  }
  expand(candidate, assignment, likelihood);
}

/// Whether none of these faults is there any more.
bool Search::mended(const Candidate& candidate) const {
  return std::none_of(candidate.faults.begin(), candidate.faults.end(),
                      [&](std::int32_t f) { return prior_->space().life_of(f).lasting(); });
}

void Search::conclude(const Candidate& candidate, Assignment& assignment, double likelihood) {
  const double weight = assignment.mass() * likelihood;
  const bool split = naming_ && weight > worth_splitting * (scale_ + weight);
  if (!split) {
    settle(candidate, candidate, assignment, likelihood);
    return;
  }
  // Nothing seen so far depends on the faults that remain, but whether it runs may: name those.
  const auto count = prior_->space().faults().size();
  Bits relevant(count);
  circuit::Overrides overrides;
  std::vector<circuit::Setting> settings;
  const auto& space = prior_->space();
  std::vector<std::int32_t> now;
  space.alive(candidate.faults, space.last_epoch(), now);
  space.overrides(now, overrides);
  space.settings(now, settings);
  predictions_->solver().begin(overrides, settings);
  run_relevance_.begin();
  std::vector<std::uint64_t> signatures;
  for (const auto& sign : runs_) {
    relevant |= run_relevance_.bearing(sign).proper;
    const auto& more = run_relevance_.signatures();
    signatures.resize(more.size(), 0);
    for (std::size_t i = 0; i < more.size(); ++i) signatures[i] = signatures[i] * 31 + more[i];
  }
  std::vector<Next> list;
  relevant.for_each([&](std::size_t f) {
    Next next;
    next.faults = {static_cast<std::int32_t>(f)};
    if (!space.life_of(next.faults.front()).lasting()) return;
    next.chance =
        open(next.faults.front(), assignment) ? assignment.chance(next.faults.front()) : 0;
    if (next.chance > 0) list.push_back(std::move(next));
  });
  gather(list, signatures, run_relevance_.lively());
  const auto before = out_.size();
  for (const auto& next : list) {
    auto inside = assignment;
    const auto here = out_.size();
    pick(next, 1, false, inside);
    settle(with(candidate, next.faults.front()), candidate, inside, likelihood);
    take_back(here);
    picks_.pop_back();
    for (const auto f : next.faults) assignment.exclude(f);
    put_out(next.faults);
  }
  settle(candidate, candidate, assignment, likelihood);
  take_back(before);
}

double Search::density(std::int32_t fault, double ohm) const {
  double sum = 0;
  const auto& vehicle = prior_->space().vehicle();
  for (const auto m : prior_->space().fault(fault).modes) {
    const auto& mode = vehicle.modes[at(m)];
    double median = 0;
    for (const auto& change : mode.changes) median = std::max(median, change.add_ohm);
    const double sigma = std::log(mode.spread_factor);
    const double z = std::log(ohm / median) / sigma;
    sum += prior_->mode_priors()[at(m)] / sigma * std::exp(-0.5 * z * z);
  }
  return sum;
}

const Search::Refined& Search::refined(const Candidate& candidate, double likelihood) {
  const auto [entry, added] = refined_.try_emplace(candidate);
  auto& result = entry->second;
  if (!added) return result;
  result.likelihood = likelihood;
  for (const auto f : candidate.faults) {
    const double middle = prior_->space().fault(f).ohm;
    if (middle <= 0) continue;
    // Simpson's rule over the logarithm of the resistance, on 48 and on 24 intervals.
    constexpr int intervals = 48;
    double closer = 0;
    double coarse = 0;
    double closer_density = 0;
    double coarse_density = 0;
    std::vector<ResistanceWeight> points;
    for (int i = 0; i <= intervals; ++i) {
      const double ohm =
          middle * std::pow(FaultSpace::cell_ratio, static_cast<double>(i) / intervals - 0.5);
      const double p = density(f, ohm);
      const double value = predictions_->at_resistance(candidate, f, ohm);
      const bool end = i == 0 || i == intervals;
      const double w = end ? 1 : i % 2 == 1 ? 4 : 2;
      closer += w * p * value;
      closer_density += w * p;
      if (i % 2 == 0) {
        const double v = end ? 1 : i % 4 == 2 ? 4 : 2;
        coarse += v * p * value;
        coarse_density += v * p;
      }
      points.push_back({f, ohm, w * p * value});
    }
    if (closer <= 0 || likelihood <= 0) continue;
    const double mean = closer / closer_density;
    for (auto& point : points) point.weight /= closer;
    result.points.insert(result.points.end(), points.begin(), points.end());
    result.error += result.likelihood / likelihood * std::abs(mean - coarse / coarse_density);
    result.likelihood *= mean / likelihood;
  }
  return result;
}

void Search::settle(const Candidate& candidate, const Candidate& seen, const Assignment& assignment,
                    double likelihood) {
  constexpr double worth_refining = 3e-3;
  const Refined* closer = nullptr;
  if (naming_ && assignment.mass() * likelihood > worth_refining * scale_ &&
      predictions_->intermittent_count(candidate) == 0) {
    closer = &refined(seen, likelihood);
    likelihood = closer->likelihood;
  }
  const double weight = assignment.mass() * likelihood;
  if (closer != nullptr) {
    found_.quadrature_error += assignment.mass() * closer->error;
    for (auto point : closer->points) {
      point.weight *= weight;
      found_.resistances.push_back(point);
    }
  }
  for (const auto f : candidate.faults) {
    const bool looked_at =
        closer != nullptr && std::binary_search(seen.faults.begin(), seen.faults.end(), f);
    if (const double ohm = prior_->space().fault(f).ohm; ohm > 0 && !looked_at)
      found_.resistances.push_back({f, ohm, weight});
  }
  found_.seen_mass += assignment.mass();
  found_.total += weight;
  if (mended(candidate)) found_.no_fault += weight * assignment.nothing_left();
  if (weight <= 0) return;
  found_.kernels.push_back({candidate, picks_, seen, weight, likelihood});
  assignment.factors(factors_);
  for (std::size_t i = 0; i < factors_.size(); ++i) free_[i] += weight * factors_[i];
  for (const auto f : out_) {
    const auto& spot = spots_[at(f)];
    for (std::size_t k = 0; k < spot.contexts; ++k)
      excluded_[spot.place + k * spot.stride] += weight * factors_[spot.slot + k];
  }
  account(assignment, weight);
}

void Search::account(const Assignment& assignment, double weight) {
  for (const auto& pick : picks_)
    for (std::size_t i = 0; i < pick.faults.size(); ++i) {
      const auto v = prior_->space().fault(pick.faults[i]).variable;
      for (std::size_t k = 0; k < prior_->contexts(v); ++k)
        found_.faults[prior_->place(pick.faults[i], k)] +=
            weight * assignment.context(v, k) * pick.shares[k][i];
    }
  for (std::size_t b = 0; b < prior_->space().bundles().size(); ++b) {
    const auto bundle = static_cast<std::int32_t>(b);
    for (std::size_t k = 0; k < prior_->events(bundle).size(); ++k)
      found_.events[prior_->event_slot(bundle, k)] += weight * assignment.event(bundle, k);
  }
}

void Search::finish(Found& found) const {
  if (options_.most_faults >= 0) return;  // nothing was left open
  for (std::size_t f = 0; f < prior_->space().faults().size(); ++f) {
    const auto fault = static_cast<std::int32_t>(f);
    const auto v = prior_->space().fault(fault).variable;
    for (std::size_t k = 0; k < prior_->contexts(v); ++k) {
      // The same terms were added to both sums in the same order: excluded throughout gives zero.
      const double left = free_[prior_->slot(v, k)] - excluded_[prior_->place(fault, k)];
      found.faults[prior_->place(fault, k)] += prior_->of(fault, k) * std::max(left, 0.0);
    }
  }
}

}  // namespace faultloom::belief
