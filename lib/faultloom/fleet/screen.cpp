#include <faultloom/fleet/screen.hpp>

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

namespace faultloom::fleet {
namespace {

using readings::Entry;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

bool electrical(const Entry& entry) {
  return entry.informative() &&
         (entry.type == Entry::Type::reading || entry.type == Entry::Type::sign);
}

/// What an electrical entry is, but for its name.
auto content(const Entry& e) {
  return std::tie(e.type, e.instrument, e.red, e.black, e.element, e.sign, e.state,
                  e.lifted_elements, e.bridged_elements, e.outcome, e.number, e.tolerance);
}

bool same_test(const Entry& a, const Entry& b) {
  return a.type == b.type && a.instrument == b.instrument && a.red == b.red && a.black == b.black &&
         a.element == b.element && a.sign == b.sign && a.state == b.state &&
         a.lifted_elements == b.lifted_elements && a.bridged_elements == b.bridged_elements;
}

/// Products of more probabilities than that may leave the range of numbers.
constexpr std::size_t most_entries = 48;
/// Groups whose pairs are looked at, and the least share of everything that makes one worth it.
constexpr std::size_t most_leading = 12;
constexpr double least_leading = 1e-3;
/// A group counts this much by what it would be if its worst test were mended.
constexpr double hope = 0.01;
/// Odds of a group that make it a partner of the leading ones.
constexpr double least_partner = 1e-5;
/// Pairs from this share of everything on are solved.
constexpr double worth_solving = 5e-3;
/// Larger sets are taken to explain a job so much of what is possible at most. Chosen so that the bound holds
/// beside Belief on drawn jobs, tests/unit/fleet/screen_test.cpp.
constexpr double larger_sets = 0.3;
/// What weighs less than this share of everything is left out.
constexpr double negligible = 1e-8;
/// Sets that an event hit are followed from this share on.
constexpr double least_event = 2e-4;

}  // namespace

Screen::Screen(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
               const rates::Rates& rates)
    : space_(&space),
      rates_(&rates),
      table_(space, instruments),
      odds_table_(space, instruments, rates) {
  std::map<std::pair<double, double>, std::int32_t> known;
  for (const auto& fault : space.faults()) {
    rule_of_.push_back(-1);
    if (fault.duty.a <= 0) continue;
    const auto [entry, added] =
        known.try_emplace({fault.duty.a, fault.duty.b}, static_cast<std::int32_t>(rules_.size()));
    if (added) rules_.push_back(belief::beta_rule(fault.duty));
    rule_of_.back() = entry->second;
  }
}

bool Screen::covers(const belief::Evidence& evidence) {
  if (!evidence.repairs.empty()) return false;
  std::vector<const Entry*> list;
  for (const auto& entry : evidence.entries) {
    if (!electrical(entry)) continue;
    if (entry.provocation != Entry::Provocation::nothing || !entry.moment.empty()) return false;
    for (const auto* other : list)
      if (entry.visit != other->visit || same_test(entry, *other)) return false;
    list.push_back(&entry);
    if (list.size() > most_entries) return false;
  }
  return true;
}

belief::Evidence Screen::readable(const belief::Evidence& evidence) {
  belief::Evidence result;
  result.exposure = evidence.exposure;
  int epoch = 0;
  int visit = 0;
  for (const auto& entry : evidence.entries) {
    epoch = std::max(epoch, entry.epoch);
    if (electrical(entry)) visit = std::max(visit, entry.visit);
  }
  for (const auto& entry : evidence.entries) {
    if (entry.epoch != epoch || !entry.informative()) continue;
    if (electrical(entry)) {
      const bool again = std::any_of(
          result.entries.begin(), result.entries.end(),
          [&](const Entry& other) { return electrical(other) && same_test(entry, other); });
      if (entry.visit != visit || entry.provocation != Entry::Provocation::nothing || again ||
          result.entries.size() >= most_entries)
        continue;
    }
    result.entries.push_back(entry);
    result.entries.back().epoch = 0;
  }
  return result;
}

void Screen::prepare(std::span<const belief::Evidence* const> jobs, const Progress& progress) {
  for (const auto* job : jobs)
    for (const auto& entry : job->entries)
      if (electrical(entry)) static_cast<void>(table_.number(entry));
  table_.fill(progress);
}

Answer Screen::rank(const belief::Evidence& evidence) {
  take_in(evidence);
  groups_.form(table_, tests_, rows_, *odds_, rule_of_);
  weight_.resize(groups_.count);
  total_ = groups_.sound;
  several_ = 0;
  for (std::size_t g = 0; g < groups_.count; ++g) {
    const auto rule = rule_of_[at(groups_.first_of[g])];
    groups_.weigh(g, rule < 0 ? nullptr : &rules_[at(rule)], rates_->intermittence.persistence);
    weight_[g] = groups_.odds[g] * groups_.likelihood[g];
    total_ += weight_[g];
  }
  add_pairs();
  add_events();
  return answer();
}

void Screen::take_in(const belief::Evidence& evidence) {
  table_.tidy();
  entries_.clear();
  tests_.clear();
  rows_.clear();
  for (const auto& entry : evidence.entries)
    if (electrical(entry)) entries_.push_back(&entry);
  // An order of their own, so that the order given changes no bit.
  std::sort(entries_.begin(), entries_.end(),
            [](const Entry* a, const Entry* b) { return content(*a) < content(*b); });
  for (const auto* entry : entries_) tests_.push_back(table_.number(*entry));
  table_.fill();
  groups_.sound_value.clear();
  groups_.sound = 1;
  for (std::size_t t = 0; t < tests_.size(); ++t) {
    rows_.push_back(&table_.row(tests_[t], *entries_[t]));
    groups_.sound_value.push_back(rows_[t]->share.front());
    groups_.sound *= groups_.sound_value.back();
  }
  odds_ = &odds_table_.find(evidence);
}

void Screen::add_pairs() {
  const auto count = groups_.count;
  std::vector<std::pair<double, std::size_t>> leading;
  for (std::size_t g = 0; g < count; ++g) {
    const double worst = groups_.worst[g];
    const double likelihood = groups_.likelihood[g];
    const double mended = worst > 0 ? hope * groups_.alone[g] / worst : 0;
    const double best = groups_.odds[g] * std::max(likelihood, mended);
    if (best > least_leading * total_) leading.emplace_back(-best, g);
  }
  const auto used = std::min(most_leading, leading.size());
  std::partial_sort(leading.begin(), leading.begin() + static_cast<std::ptrdiff_t>(used),
                    leading.end());
  find_likely();
  done_.assign(count, false);
  left_.assign(count, 0);
  leading_ = 0;
  for (std::size_t i = 0; i < used; ++i) add_pairs_of(leading[i].second);
}

/// Picks the groups that are looked at as partners, and puts what they show together.
void Screen::find_likely() {
  const auto count = groups_.count;
  likely_.clear();
  for (std::size_t g = 0; g < count; ++g)
    if (groups_.odds[g] > least_partner) likely_.push_back(g);
  likely_value_.clear();
  likely_dominance_.clear();
  for (std::size_t t = 0; t < groups_.tests; ++t)
    for (const auto g : likely_) {
      likely_value_.push_back(groups_.value[t * count + g]);
      likely_dominance_.push_back(groups_.dominance[t * count + g]);
    }
}

/// Odds of each group's faults beside one of another group, which exclude those of the same variable.
void Screen::find_partners(std::size_t a) {
  partner_ = groups_.odds;
  constexpr double worth_it = 0.01;
  for (auto f = groups_.first_of[a]; f >= 0; f = groups_.next_of[at(f)]) {
    const double share = odds_->fault[at(f)] / groups_.odds[a];
    if (share < worth_it) continue;
    const auto& variable = space_->variables()[at(space_->fault(f).variable)];
    for (auto other = variable.first; other < variable.first + variable.count; ++other)
      if (const auto g = groups_.group_of[at(other)]; g >= 0)
        partner_[at(g)] = std::max(0.0, partner_[at(g)] - share * odds_->fault[at(other)]);
  }
}

/// P(outcomes | one fault of the group and one of each other) for the likelier others.
void Screen::find_joint(std::size_t a) {
  const auto count = groups_.count;
  const auto likely = likely_.size();
  joint_.assign(likely, 1);
  for (std::size_t t = 0; t < groups_.tests; ++t) {
    const double* value = likely_value_.data() + t * likely;
    const double* dominance = likely_dominance_.data() + t * likely;
    const double own = groups_.value[t * count + a];
    const double rank = groups_.dominance[t * count + a];
    for (std::size_t n = 0; n < likely; ++n) joint_[n] *= dominance[n] > rank ? value[n] : own;
  }
}

void Screen::add_pairs_of(std::size_t a) {
  find_partners(a);
  find_joint(a);
  const double alone = groups_.alone[a];
  const double there = groups_.duty[a];
  if (alone > 0) {
    const double own = groups_.odds[a] * alone * there;
    leading_ += own;
    for (std::size_t n = 0; n < likely_.size(); ++n)
      left_[likely_[n]] += own * std::min(1.0, joint_[n] / alone);
  }
  // Two of one group show what one of them does.
  const double twice = 0.5 * groups_.odds[a] * partner_[a] * groups_.likelihood[a];
  done_[a] = true;
  double sum = 0;
  for (std::size_t n = 0; n < likely_.size(); ++n) {
    const auto g = likely_[n];
    if (done_[g] || partner_[g] <= 0) continue;
    const double odds = groups_.odds[a] * partner_[g];
    const double d = groups_.duty[g];
    // What comes and goes is taken to be at work throughout or not at all.
    const double apart =
        there * (1 - d) * alone + (1 - there) * (d * groups_.alone[g] + (1 - d) * groups_.sound);
    double weight = odds * (there * d * joint_[n] + apart);
    if (weight > worth_solving * total_) weight = odds * (there * d * solved(a, g) + apart);
    weight_[g] += weight;
    sum += weight;
  }
  weight_[a] += sum + 2 * twice;
  total_ += sum + twice;
  several_ += sum + twice;
}

double Screen::solved(std::size_t a, std::size_t b) {
  double product = 1;
  for (std::size_t t = 0; t < tests_.size(); ++t)
    product *=
        table_.share_of_both(tests_[t], *entries_[t], {groups_.best_of[a], groups_.best_of[b]});
  return product;
}

void Screen::add_events() {
  mode_weight_.assign(space_->vehicle().modes.size(), 0);
  const double others = total_ - groups_.sound;
  const double least = least_event * total_;
  for (auto& left : left_) left = leading_ > 0 ? left / leading_ : 0;
  double beside = 0;
  double itself = 0;
  for (const auto& event : odds_->events) {
    event_.run(event, *odds_, groups_, {left_, others}, least);
    itself += event_.itself();
    beside += event_.beside();
    for (std::size_t m = 0; m < event.members.size(); ++m)
      if (std::abs(event_.members()[m]) > negligible * total_)
        for (const auto& part : event.members[m].modes)
          mode_weight_[at(part.mode)] += event_.members()[m] * part.share;
  }
  if (others > 0)
    for (auto& weight : weight_) weight *= 1 + beside / others;
  total_ += itself + beside;
  several_ += itself + beside;
}

/// Weight of a cause that nothing describes; half of such look like the known ones.
double Screen::unmodelled() const {
  double weight =
      rates_->not_in_model / (1 - rates_->not_in_model) * odds_->unlooked / odds_->sound;
  for (std::size_t t = 0; t < tests_.size(); ++t) {
    const auto& classes = table_.classes(tests_[t]);
    const auto& row = *rows_[t];
    double marginal = 0;
    double rest = 1;
    for (const auto& [fault, share] : odds_->typical) {
      marginal += share * row.share[classes[at(fault)]];
      rest -= share;
    }
    weight *= 0.5 * (marginal + rest * row.share.front()) + 0.5 * row.anything;
  }
  return weight;
}

/// Weight that sets of three and more could have at best, by what is worth hoping for: an estimate.
double Screen::unlooked() const {
  double sum = 0;
  for (const double odds : groups_.odds) sum += odds;
  return larger_sets * sum * sum * sum / 6;
}

Answer Screen::answer() const {
  const auto& vehicle = space_->vehicle();
  Answer answer;
  answer.modes.assign(vehicle.modes.size(), 0);
  answer.components.assign(vehicle.components.size(), 0);
  // Whatever no test speaks of was summed over; what it weighs is left out of the weights so far.
  std::vector<double> unseen(space_->variables().size(), 1);
  double free = 1;
  for (std::size_t v = 0; v < unseen.size(); ++v) {
    const auto& variable = space_->variables()[v];
    for (auto f = variable.first; f < variable.first + variable.count; ++f)
      if (groups_.group_of[at(f)] < 0) unseen[v] += odds_->fault[at(f)];
    free *= unseen[v];
  }
  const double other = unmodelled() / free;
  const double whole = total_ + other;
  if (!(whole > 0) || !std::isfinite(whole)) return answer;
  const double larger = unlooked();
  answer.bound = std::min(1.0, several_ / whole + larger / (larger + total_));
  answer.not_in_model = other / whole;
  answer.no_fault = groups_.sound / whole / free;
  for (std::size_t m = 0; m < answer.modes.size(); ++m) answer.modes[m] = mode_weight_[m] / whole;
  for (std::size_t f = 0; f < groups_.group_of.size(); ++f) {
    const double odds = odds_->fault[f];
    const auto g = groups_.group_of[f];
    const auto fault = static_cast<std::int32_t>(f);
    const double p = g < 0 ? odds / unseen[at(space_->fault(fault).variable)] * total_ / whole
                           : weight_[at(g)] / whole * odds / groups_.odds[at(g)];
    for (const auto& part : odds_table_.modes_of(fault))
      answer.modes[at(part.mode)] += p * part.share;
  }
  for (std::size_t m = 0; m < answer.modes.size(); ++m) {
    answer.modes[m] = std::clamp(answer.modes[m], 0.0, 1.0);
    answer.components[at(vehicle.modes[m].component)] += answer.modes[m];
  }
  return answer;
}

}  // namespace faultloom::fleet
