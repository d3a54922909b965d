#include <faultloom/belief/search.hpp>

#include <algorithm>
#include <cmath>
#include <tuple>
#include <unordered_map>

/// The branches of the search: which further faults to follow from a set, in which order, and the best
/// they could come to.
namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

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
  auto beyond = goals_beyond(next, count);
  const bool wanted =
      next.looked_at && (count == 1 || !beyond.empty() ||
                         mass * std::max(next.likelihood, hope * best) >= threshold_);
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
  std::swap(goals_, beyond);
  visit(larger, std::move(inside));
  std::swap(goals_, beyond);
  take_back(before);
  picks_.pop_back();
}

/// Marks groups that a meter's load tells from: where insulation is all that is left, its number depends
/// on how much of it.
std::uint64_t Search::metered_groups() const {
  constexpr double high_ohm = 1e6;
  std::uint64_t marks = 0;
  const auto count = std::min(observations_->group_count(), Predictions::most_marked);
  for (std::size_t g = 0; g < count; ++g) {
    const auto& entry = observations_->first(g);
    if (entry.type != readings::Entry::Type::reading) continue;
    const auto& instrument = predictions_->instruments().instruments[at(entry.instrument)];
    if (instrument.type == readings::Instrument::Type::voltmeter &&
        instrument.resistance_ohm >= high_ohm)
      marks |= std::uint64_t{1} << g;
  }
  return marks;
}

/// Parts faults put into one where they do not explain the readings equally well after all: what an open
/// circuit leaves on either side may float, and a meter can tell where it was cut.
void Search::tell_apart(const Candidate& candidate, Next& next, std::vector<Next>& others) {
  constexpr double alike = 0.05;
  const auto marks = metered_ & (next.helped | next.started);
  const auto& change = prior_->space().fault(next.faults.front()).overrides.front();
  if (marks == 0 || change.siemens != 0) return;
  const auto explained = [&](std::int32_t f) {
    std::vector<double> values;
    for (std::size_t g = 0; g < Predictions::most_marked; ++g)
      if (((marks >> g) & 1U) != 0) values.push_back(predictions_->group(with(candidate, f), g));
    return values;
  };
  const auto same = [&](const std::vector<double>& a, const std::vector<double>& b) {
    for (std::size_t i = 0; i < a.size(); ++i)
      if (std::abs(a[i] - b[i]) > alike * std::max(a[i], b[i])) return false;
    return true;
  };
  std::vector<Next> parts;
  std::vector<std::vector<double>> values;
  for (const auto f : next.faults) {
    auto own = explained(f);
    const auto found = std::find_if(values.begin(), values.end(),
                                    [&](const std::vector<double>& v) { return same(v, own); });
    const auto n = static_cast<std::size_t>(found - values.begin());
    if (found == values.end()) {
      parts.push_back(next);
      parts.back().faults.clear();
      parts.back().chance = 0;
      if (n > 0) parts.back().likelihood = predictions_->likelihood(with(candidate, f));
      values.push_back(std::move(own));
    }
    parts[n].faults.push_back(f);
    parts[n].chance += chances_[at(f)];
  }
  next = std::move(parts.front());
  others.insert(others.end(), std::next(parts.begin()), parts.end());
}

/// Predicts the readings under those further faults that could come to something, and puts what explains
/// them best first.
void Search::look_ahead(const Candidate& candidate, const Assignment& assignment, double likelihood,
                        const Outlook& outlook, std::vector<Next>& list) {
  std::vector<Next> others;
  for (auto& next : list) {
    if (options_.exhaustive) {
      next.looked_at = true;
      continue;
    }
    const double best = best_with(candidate, outlook, next.helped, next.started);
    const double mass = assignment.mass() * std::min(1.0, next.chance);
    if (mass * std::max(std::min(likelihood, best), hope * best) < threshold_ && !leads(next))
      continue;
    const auto larger = with(candidate, next.faults.front());
    if (predictions_->intermittent_count(larger) > Predictions::most_intermittent) continue;
    next.looked_at = true;
    next.likelihood = predictions_->likelihood(larger);
    if (next.faults.size() > 1) tell_apart(candidate, next, others);
  }
  list.insert(list.end(), others.begin(), others.end());
  for (auto& next : list) {
    const double found = assignment.mass() * std::min(1.0, next.chance) * next.likelihood;
    next.found = next.looked_at && found >= threshold_ ? found : 0;
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

}  // namespace faultloom::belief
