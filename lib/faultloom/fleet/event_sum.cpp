#include <faultloom/fleet/event_sum.hpp>

#include <algorithm>

namespace faultloom::fleet {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// What explains so much more than what it is added to is branched on.
constexpr double improves = 1.05;
/// A set counts this much by what it would be if its worst test were mended.
constexpr double hope = 0.1;
/// What is so many times smaller than what counts is left out.
constexpr double negligible = 1e-5;

}  // namespace

std::size_t EventSum::kind_of(std::int32_t group) {
  if (kind_by_group_.size() <= at(group)) kind_by_group_.resize(at(group) + 1, 0);
  const auto known = kind_by_group_[at(group)];
  if (known < kinds_.size() && kinds_[known].group == group) return known;
  kind_by_group_[at(group)] = kinds_.size();
  kinds_.push_back({group, false});
  if (options_of_.size() < kinds_.size()) options_of_.emplace_back();
  options_of_[kinds_.size() - 1].clear();
  return kinds_.size() - 1;
}

double EventSum::take_in(const OddsTable::Event& event, const OddsTable::Odds& prior,
                         const Groups& groups) {
  options_.clear();
  kinds_.clear();
  option_of_.clear();
  variable_of_.clear();
  variables_.clear();
  double base = event.weight;
  const auto& members = event.members;
  for (std::size_t m = 0; m < members.size();) {
    // One variable after another.
    const auto v = members[m].variable;
    const auto first = options_.size();
    double unseen = 1;
    double plain = 1;
    for (; m < members.size() && members[m].variable == v; ++m) {
      const auto& member = members[m];
      const auto g = groups.group_of[at(member.fault)];
      const double d = g < 0 ? 0 : groups.duty[at(g)];
      unseen += member.odds * (1 - d);
      plain += prior.fault[at(member.fault)] * (1 - d);
      variable_of_.push_back(variables_.size());
      option_of_.push_back(-1);
      if (g < 0) continue;
      const auto kind = kind_of(g);
      auto i = first;
      while (i < options_.size() && options_[i].kind != kind) ++i;
      if (i == options_.size()) {
        options_.push_back({variables_.size(), kind, 0, 0, 0});
        options_of_[kind].push_back(i);
      }
      options_[i].odds += member.odds * d;
      option_of_.back() = static_cast<std::int32_t>(i);
    }
    base *= unseen / plain;
    variables_.push_back({unseen, 0, 1});
    for (auto i = first; i < options_.size(); ++i) options_[i].odds /= unseen;
  }
  return base;
}

void EventSum::copy_values(const Groups& groups) {
  const auto count = kinds_.size();
  value_.resize(count * tests_);
  dominance_.resize(count * tests_);
  for (std::size_t k = 0; k < count; ++k)
    for (std::size_t t = 0; t < tests_; ++t) {
      const auto place = t * groups.count + at(kinds_[k].group);
      value_[k * tests_ + t] = groups.value[place];
      dominance_[k * tests_ + t] = groups.dominance[place];
    }
  shown_.resize((most_branched + 1) * tests_);
  rank_.resize(shown_.size());
  left_.resize((most_branched + 1) * count);
  std::copy(groups.sound_value.begin(), groups.sound_value.end(), shown_.begin());
  std::fill_n(rank_.begin(), tests_, 0.0);
}

void EventSum::run(const OddsTable::Event& event, const OddsTable::Odds& prior,
                   const Groups& groups, const Beside& beside, double least) {
  tests_ = groups.tests;
  least_ = least;
  itself_ = beside_ = 0;
  const double base = take_in(event, prior, groups);
  copy_values(groups);
  set_.clear();
  visit(base, 0);
  add_beside(base, beside);
  share(event, prior, groups);
}

/// Odds that at least one option of a kind is there.
double EventSum::odds_of(std::size_t kind) const {
  double none = 1;
  for (const auto i : options_of_[kind])
    none *= 1 + options_[i].odds * variables_[options_[i].variable].open;
  return none - 1;
}

/// One set of kinds that explain something, with any of the others.
void EventSum::visit(double weight, std::size_t depth) {
  const auto count = kinds_.size();
  const double* shown = shown_.data() + depth * tests_;
  const double* rank = rank_.data() + depth * tests_;
  double* left = left_.data() + depth * count;
  double likelihood = 1;
  for (std::size_t t = 0; t < tests_; ++t) likelihood *= shown[t];
  const auto excluded_before = excluded_.size();
  for (std::size_t k = 0; k < count; ++k) {
    left[k] = 0;
    if (kinds_[k].excluded) continue;
    const double* value = value_.data() + k * tests_;
    const double* dominance = dominance_.data() + k * tests_;
    double together = 1;
    double worst = 1;
    const double enough = negligible * likelihood;
    for (std::size_t t = 0; t < tests_ && together > enough; ++t) {
      const double p = dominance[t] > rank[t] ? value[t] : shown[t];
      together *= p;
      worst = std::min(worst, p);
    }
    const double ratio = likelihood > 0 ? together / likelihood : 1;
    left[k] = std::min(ratio, 1.0);
    if (depth == most_branched || ratio < improves) continue;
    const double more = weight * odds_of(k);
    const double best = worst > 0 ? std::max(together, hope * together / worst) : 0;
    if (more * best < least_) continue;
    branch(k, more, depth);
    left[k] = 0;
    kinds_[k].excluded = true;
    excluded_.push_back(k);
  }
  settle(weight * likelihood, depth, std::span(left, count));
  for (; excluded_.size() > excluded_before; excluded_.pop_back())
    kinds_[excluded_.back()].excluded = false;
}

void EventSum::branch(std::size_t kind, double weight, std::size_t depth) {
  const auto from = depth * tests_;
  for (std::size_t t = 0; t < tests_; ++t) {
    const double dominance = dominance_[kind * tests_ + t];
    const bool shows = dominance > rank_[from + t];
    shown_[from + tests_ + t] = shows ? value_[kind * tests_ + t] : shown_[from + t];
    rank_[from + tests_ + t] = shows ? dominance : rank_[from + t];
  }
  const double odds = odds_of(kind);
  const auto chance_of = [&](const Option& option) {
    const double p = option.odds * variables_[option.variable].open;
    return odds > 0 ? p / (1 + p) * (1 + odds) / odds : 0;
  };
  for (const auto i : options_of_[kind]) options_[i].share = std::min(1.0, chance_of(options_[i]));
  std::vector<double> open;
  for (const auto i : options_of_[kind]) {
    auto& variable = variables_[options_[i].variable];
    open.push_back(variable.open);
    variable.open *= 1 - options_[i].share;
  }
  kinds_[kind].excluded = true;
  set_.push_back(kind);
  visit(weight, depth + 1);
  set_.pop_back();
  for (std::size_t n = 0; n < open.size(); ++n)
    variables_[options_[options_of_[kind][n]].variable].open = open[n];
}

void EventSum::settle(double weight, std::size_t depth, std::span<const double> left) {
  if (weight < negligible * least_) return;
  sums_.assign(variables_.size(), 1);
  soft_.resize(options_.size());
  for (std::size_t i = 0; i < options_.size(); ++i) {
    const auto& option = options_[i];
    soft_[i] = option.odds * left[option.kind] * variables_[option.variable].open;
    sums_[option.variable] += soft_[i];
  }
  for (double& sum : sums_) {
    weight *= sum;
    sum = 1 / sum;
  }
  itself_ += weight;
  for (std::size_t i = 0; i < options_.size(); ++i) {
    const auto v = options_[i].variable;
    const double part = weight * soft_[i] * sums_[v];
    options_[i].weight += part;
    variables_[v].hit += part;
  }
  for (std::size_t n = 0; n < depth; ++n)
    for (const auto i : options_of_[set_[n]]) {
      options_[i].weight += weight * options_[i].share;
      variables_[options_[i].variable].hit += weight * options_[i].share;
    }
}

void EventSum::add_beside(double base, const Beside& beside) {
  sums_.assign(variables_.size(), 0);
  const auto part_of = [&](const Option& option) {
    return option.odds * beside.left[at(kinds_[option.kind].group)];
  };
  for (const auto& option : options_) sums_[option.variable] += part_of(option);
  beside_ = base * beside.weight;
  for (const double sum : sums_) beside_ *= 1 + sum;
  for (auto& option : options_) {
    const double part = beside_ * part_of(option) / (1 + sums_[option.variable]);
    option.weight += part;
    variables_[option.variable].hit += part;
  }
}

void EventSum::share(const OddsTable::Event& event, const OddsTable::Odds& prior,
                     const Groups& groups) {
  const double whole = itself_ + beside_;
  members_.assign(event.members.size(), 0);
  for (std::size_t m = 0; m < members_.size(); ++m) {
    const auto& member = event.members[m];
    const auto& variable = variables_[variable_of_[m]];
    // What is not at work, or not spoken of, is as likely as before wherever its variable does not show.
    const double rest = (whole - variable.hit) * member.odds / variable.unseen;
    if (option_of_[m] < 0) {
      const double plain = prior.fault[at(member.fault)];
      members_[m] = rest - whole * plain / (1 + plain);
      continue;
    }
    const double d = groups.duty[at(groups.group_of[at(member.fault)])];
    const auto& option = options_[at(option_of_[m])];
    members_[m] = rest * (1 - d);
    if (option.odds > 0)
      members_[m] += option.weight * member.odds * d / (option.odds * variable.unseen);
  }
}

}  // namespace faultloom::fleet
