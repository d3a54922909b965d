#include <faultloom/belief/search.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <tuple>
#include <unordered_map>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

Candidate with(const Candidate& candidate, std::int32_t fault) {
  Candidate result = candidate;
  result.faults.insert(std::upper_bound(result.faults.begin(), result.faults.end(), fault), fault);
  return result;
}

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
/// What a set of faults could at best become counts this much beside what it is.
constexpr double hope = 0.003;
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
  threshold_ = options_.exhaustive ? 0 : first_threshold;
  Found best;
  bool any = false;
  double walked = threshold_;  // threshold of the last complete pass
  std::size_t before = 0;
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
    if (options_.most_sets > 0 && next > static_cast<double>(options_.most_sets)) break;
    before = best.sets;
  }
  threshold_ = walked;
  return options_.exhaustive ? best : named(std::move(best));
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
  is_out_ = Bits(prior_->space().faults().size());
  visit({}, Assignment(*prior_));
  finish(found_);
}

bool Search::out_of_budget() const {
  if (options_.most_seconds <= 0 || threshold_ == above_all) return false;
  const std::chrono::duration<double> used = std::chrono::steady_clock::now() - start_;
  return used.count() > options_.most_seconds * (naming_ ? 1 : share_for_searching);
}

bool Search::open(std::int32_t fault, const Assignment& assignment) const {
  return !is_out_.test(at(fault)) && !assignment.included(prior_->space().fault(fault).variable);
}

/// Chance of each fault that is still open, for help() and ordered().
void Search::find_chances(const Assignment& assignment) {
  assignment.factors(factors_);
  assignment.chances(factors_, chances_);
  for (const auto f : out_) chances_[at(f)] = 0;
}

double Search::help(const Bits& relevant) const {
  double sum = 0;
  relevant.for_each([&](std::size_t f) { sum += chances_[f]; });
  return std::min(sum, 1.0);
}

void Search::visit(const Candidate& candidate, Assignment assignment) {
  const double likelihood = predictions_->likelihood(candidate);
  ++found_.sets;
  ++looked_at_;
  if (looked_at_ % between_reports == 0) {
    // How many there will be is not known; the share only ever grows.
    const auto looked_at = static_cast<double>(looked_at_);
    report(progress_, 0.99 * looked_at / (looked_at + 3000));
  }
  // On a large vehicle a set takes milliseconds.
  if (looked_at_ % between_looks_at_the_clock == 0 && out_of_budget()) throw BudgetGone{};
  if (options_.most_sets > 0 && !options_.exhaustive && !naming_ && threshold_ != above_all &&
      found_.sets > options_.most_sets)
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
  if (!options_.exhaustive && !candidate.faults.empty()) {
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

double Search::capped(const Candidate& candidate) const {
  double product = 1;
  for (std::size_t g = 0; g < observations_->group_count(); ++g)
    product *= predictions_->ceiling_with_help(candidate, g);
  return product;
}

double Search::limit(const Candidate& candidate, const Assignment& assignment, double more) {
  find_chances(assignment);
  // What the faults explain worst: only sets with more to say about that can be better. A look at the
  // worst few is enough to drop most branches.
  constexpr std::size_t few = 3;
  constexpr double bad = 0.3;
  const auto count = std::min(observations_->group_count(), Predictions::most_marked);
  std::vector<std::pair<double, std::size_t>> worst;
  double capped = 1;
  for (std::size_t g = 0; g < count; ++g) {
    const double cap = predictions_->ceiling_with_help(candidate, g);
    capped *= cap;
    const double alone = predictions_->ceiling_untouched(candidate, g) / cap;
    if (alone < bad) worst.emplace_back(alone, g);
  }
  std::sort(worst.begin(), worst.end());
  double result = more * capped;
  double helped = 0;
  double rest = capped;  // of the groups not marked
  std::uint64_t marked = 0;
  for (std::size_t i = 0; i < worst.size() && i < few && result >= threshold_; ++i) {
    const auto g = worst[i].second;
    const auto& relevant = predictions_->relevant(candidate, g);
    const double strong = help(relevant.strong);
    const double weak = help(relevant.proper) - strong;
    helped += strong + 0.5 * weak * weak;
    marked |= std::uint64_t{1} << g;
    rest /= predictions_->ceiling_with_help(candidate, g);
    result = std::min(result, more * rest * predictions_->ceiling_without_help(candidate, marked) +
                                  assignment.mass() * helped * capped);
  }
  return result;
}

double Search::best_with(const Candidate& candidate, const Outlook& outlook, std::uint64_t helped,
                         std::uint64_t started) {
  double rest = outlook.capped;
  double best = outlook.capped;
  double product = 1;
  double sum = 0;
  std::uint64_t marked = 0;
  for (const auto& group : outlook.groups) {
    const auto g = group.number;
    if (((helped >> g) & 1U) != 0) continue;
    const double more = group.help(((started >> g) & 1U) != 0);
    // A group that much could help is worth nothing as a limit.
    if (product * group.alone / group.cap + sum + more >= product + sum) continue;
    sum += more;
    marked |= std::uint64_t{1} << g;
    product *= group.alone;
    rest /= group.cap;
    if (!outlook.intermittent) best = std::min(best, rest * product + sum * outlook.capped);
  }
  if (outlook.intermittent && marked != 0) {
    const auto [entry, added] = outlook.known.try_emplace(marked, 1.0);
    if (added) entry->second = predictions_->ceiling_without_help(candidate, marked);
    best = std::min(best, rest * entry->second + sum * outlook.capped);
  }
  return best;
}

/// These faults are out of the question: they can't help any more.
void Search::forget(Outlook& outlook, const Next& next, const Assignment& assignment) const {
  double chance = 0;
  for (const auto f : next.faults) chance += assignment.chance(f);
  for (auto& group : outlook.groups) {
    if (((next.helped >> group.number) & 1U) != 0) {
      group.strong = std::max(0.0, group.strong - chance);
    } else if (((next.started >> group.number) & 1U) != 0) {
      group.weak = std::max(0.0, group.weak - chance);
    }
  }
}

/// Of every fault, what `relevant` says of it in all groups.
struct Search::Marks {
  std::uint16_t groups = 0;
  std::uint16_t misfits = 0;
  std::uint64_t helped = 0;
  std::uint64_t started = 0;
};

std::vector<Search::Next> Search::ordered(const Candidate& candidate, const Assignment& assignment,
                                          Outlook& outlook) {
  constexpr double misfit = 0.3;
  const auto& space = prior_->space();
  const auto count = space.faults().size();
  std::vector<Marks> all(count);
  std::vector<std::uint64_t> signatures;
  std::vector<bool> lively;
  find_chances(assignment);
  if (options_.exhaustive) {
    for (auto& marks : all) marks.groups = 1;
  } else {
    outlook.intermittent = predictions_->intermittent_count(candidate) > 0;
    for (std::size_t g = 0; g < observations_->group_count(); ++g) {
      const auto& relevant = predictions_->relevant(candidate, g);
      relevant.any.for_each([&](std::size_t f) { ++all[f].groups; });
      signatures.resize(relevant.signatures.size(), 0);
      lively.resize(relevant.lively.size(), false);
      for (std::size_t i = 0; i < lively.size(); ++i)
        if (relevant.lively[i]) lively[i] = true;
      for (std::size_t i = 0; i < signatures.size(); ++i)
        signatures[i] = signatures[i] * 0x9e3779b97f4a7c15U + relevant.signatures[i] + g;
      if (g >= Predictions::most_marked) continue;
      const double cap = predictions_->ceiling_with_help(candidate, g);
      const double alone = relevant.weakly;
      const auto mark = std::uint64_t{1} << g;
      outlook.capped *= cap;
      relevant.proper.for_each([&](std::size_t f) { all[f].started |= mark; });
      relevant.strong.for_each([&](std::size_t f) {
        all[f].helped |= mark;
        if (alone < misfit * cap) ++all[f].misfits;
      });
      if (alone >= 0.9 * cap) continue;
      const double strong = help(relevant.strong);
      const double weak = std::max(0.0, help(relevant.proper) - strong);
      outlook.groups.push_back({g, strong, weak, alone, cap});
    }
    std::stable_sort(outlook.groups.begin(), outlook.groups.end(),
                     [](const auto& a, const auto& b) { return a.help(false) < b.help(false); });
  }
  std::vector<Next> list;
  for (std::size_t f = 0; f < count; ++f) {
    if (all[f].groups == 0 || chances_[f] <= 0) continue;
    Next next;
    next.faults = {static_cast<std::int32_t>(f)};
    next.misfits = all[f].misfits;
    next.groups = all[f].groups;
    next.helped = all[f].helped;
    next.started = all[f].started;
    next.chance = chances_[f];
    next.intermittent = space.faults()[f].duty.a > 0;
    list.push_back(std::move(next));
  }
  if (!options_.exhaustive) gather(list, signatures, lively);
  // What could mend a misfit comes first, then what much depends on: once those are out of the question,
  // there is little left that could make anything of the others.
  std::stable_sort(list.begin(), list.end(), [](const Next& a, const Next& b) {
    if (a.misfits != b.misfits) return a.misfits > b.misfits;
    if (a.intermittent != b.intermittent) return b.intermittent;
    if (a.groups != b.groups) return a.groups > b.groups;
    return a.chance > b.chance;
  });
  return list;
}

/// Numbers the faults that do the same to the element they are in, one that current runs through; -1 for
/// faults that can't be alike with any other.
std::vector<std::int32_t> Search::kinds_of_faults() const {
  using Kind = std::tuple<std::int32_t, Lifetime, double, double, double, int, double, double>;
  const auto& space = prior_->space();
  std::map<Kind, std::int32_t> number_of;
  std::vector<std::int32_t> result;
  for (const auto& fault : space.faults()) {
    const bool plain = fault.overrides.size() == 1 &&
                       !between_sources_[at(fault.overrides.front().element)] &&
                       fault.settings.empty() && fault.overrides.front().threshold_factor == 1 &&
                       !fault.overrides.front().reversed;
    if (!plain) {
      result.push_back(-1);
      continue;
    }
    const auto& o = fault.overrides.front();
    // An added resistance is told by itself, not by the sum with what the element had.
    const bool itself = fault.ohm > 0 || o.siemens == 0;
    const auto& variable = space.variables()[at(fault.variable)];
    const Kind kind{variable.bundle,        variable.life,         fault.ohm,
                    itself ? 0 : o.siemens, itself ? 0 : o.ampere, itself ? 0 : o.stuck + 2,
                    fault.duty.a,           fault.duty.b};
    result.push_back(
        number_of.emplace(kind, static_cast<std::int32_t>(number_of.size())).first->second);
  }
  return result;
}

/// Puts faults of elements in series that do the same into one.
void Search::gather(std::vector<Next>& list, const std::vector<std::uint64_t>& signatures,
                    const std::vector<bool>& lively) const {
  using Key = std::tuple<std::uint64_t, std::int32_t, std::uint64_t, std::uint64_t, int>;
  std::unordered_map<Key, std::size_t, boost::hash<Key>> first_of;
  std::vector<Next> gathered;
  gathered.reserve(list.size());
  for (auto& next : list) {
    const auto f = next.faults.front();
    const auto kind = kinds_[at(f)];
    const auto place =
        kind < 0 ? -1 : predictions_->place(prior_->space().fault(f).overrides.front().element);
    if (place >= 0 && lively[at(place)]) {
      const Key key{signatures[at(place)], kind, next.helped, next.started, next.groups};
      const auto [entry, is_new] = first_of.emplace(key, gathered.size());
      if (!is_new) {
        auto& other = gathered[entry->second];
        other.faults.push_back(f);
        other.chance += next.chance;
        continue;
      }
    }
    gathered.push_back(std::move(next));
  }
  list = std::move(gathered);
}

/// Once it is there, nothing flows any more through what is in series with it.
bool Search::stops_the_rest(std::int32_t fault) const {
  const auto& f = prior_->space().fault(fault);
  return f.duty.a <= 0 && f.overrides.size() == 1 && f.overrides.front().siemens == 0;
}

void Search::put_out(std::span<const std::int32_t> faults) {
  for (const auto f : faults) {
    out_.push_back(f);
    is_out_.set(at(f));
  }
}

void Search::take_back(std::size_t to) {
  while (out_.size() > to) {
    is_out_.set(at(out_.back()), false);
    out_.pop_back();
  }
}

/// Decides that so many of the faults are there; undone by take_back() and popping picks_.
void Search::pick(const Next& next, std::size_t count, bool exactly, Assignment& inside) {
  picks_.push_back({next.faults, count, {}});
  if (next.faults.size() == 1) {
    inside.include(next.faults.front());
    picks_.back().shares.assign(
        prior_->contexts(prior_->space().fault(next.faults.front()).variable), {1});
    return;
  }
  picks_.back().shares = inside.include_some(next.faults, count, exactly);
  put_out(next.faults);
}

void Search::follow(const Candidate& candidate, const Assignment& assignment, const Next& next,
                    std::size_t count, bool exactly, double best) {
  const double mass = assignment.mass() * assignment.chance_of(next.faults, count, exactly);
  if (mass <= 0) return;
  Candidate larger = candidate;
  for (std::size_t i = 0; i < count; ++i) larger = with(larger, next.faults[i]);
  const bool wanted =
      next.looked_at && (count == 1 || mass * std::max(next.likelihood, hope * best) >= threshold_);
  if (!wanted || predictions_->intermittent_count(larger) > Predictions::most_intermittent) {
    found_.outside += mass * best;
    return;
  }
  auto inside = assignment;
  const auto before = out_.size();
  pick(next, count, exactly, inside);
  if (next.faults.size() > 1) {
    // A short between two of them would tell which it is: what that could change stays outside.
    double told = 0;
    for (const auto f : next.faults)
      for (const auto s : shorts_[at(prior_->space().fault(f).variable)])
        if (!is_out_.test(at(s))) told += inside.chance(s);
    found_.outside += inside.mass() * std::min(1.0, told) * best;
  }
  visit(larger, std::move(inside));
  take_back(before);
  picks_.pop_back();
}

/// Predicts the readings under those further faults that could come to something, and puts what explains
/// them best first.
void Search::look_ahead(const Candidate& candidate, const Assignment& assignment, double likelihood,
                        const Outlook& outlook, std::vector<Next>& list) {
  for (auto& next : list) {
    if (options_.exhaustive) {
      next.looked_at = true;
      continue;
    }
    const double best = best_with(candidate, outlook, next.helped, next.started);
    const double mass = assignment.mass() * std::min(1.0, next.chance);
    if (mass * std::max(std::min(likelihood, best), hope * best) < threshold_) continue;
    const auto larger = with(candidate, next.faults.front());
    if (predictions_->intermittent_count(larger) > Predictions::most_intermittent) continue;
    next.looked_at = true;
    next.likelihood = predictions_->likelihood(larger);
    next.found = mass * next.likelihood >= threshold_ ? mass * next.likelihood : 0;
  }
  if (!options_.exhaustive)
    std::stable_sort(list.begin(), list.end(),
                     [](const Next& a, const Next& b) { return a.found > b.found; });
}

void Search::expand(const Candidate& candidate, Assignment& assignment, double likelihood) {
  constexpr std::size_t most_alike = 3;
  Outlook outlook;
  auto list = ordered(candidate, assignment, outlook);
  look_ahead(candidate, assignment, likelihood, outlook, list);
  const auto before = out_.size();
  for (const auto& next : list) {
    const double best =
        options_.exhaustive ? 1 : best_with(candidate, outlook, next.helped, next.started);
    if (next.faults.size() == 1) {
      follow(candidate, assignment, next, 1, true, best);
    } else if (stops_the_rest(next.faults.front())) {
      follow(candidate, assignment, next, 1, false, best);
    } else {
      const auto most = std::min(next.faults.size(), most_alike);
      for (std::size_t n = 1; n <= most; ++n) follow(candidate, assignment, next, n, true, best);
      if (next.faults.size() > most)
        found_.outside +=
            best * assignment.mass() * assignment.chance_of(next.faults, most + 1, false);
    }
    if (!options_.exhaustive) forget(outlook, next, assignment);
    for (const auto f : next.faults) assignment.exclude(f);
    put_out(next.faults);
  }
  conclude(candidate, assignment, likelihood);
  take_back(before);
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
