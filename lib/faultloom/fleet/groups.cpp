#include <faultloom/fleet/groups.hpp>

#include <algorithm>
#include <faultloom/base/mix.hpp>

namespace faultloom::fleet {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

}  // namespace

void Groups::form(TestTable& table, std::span<const std::int32_t> tests_of,
                  std::span<const TestTable::Row* const> rows, const OddsTable::Odds& prior,
                  std::span<const std::int32_t> rule_of) {
  const auto faults = rule_of.size();
  tests = tests_of.size();
  // A sum of one random number for each test in which a fault shows, so that it is 0 if none does.
  key_.assign(faults, 0);
  for (std::size_t t = 0; t < tests; ++t) {
    const auto& classes = table.classes(tests_of[t]);
    marks_.resize(rows[t]->share.size());
    for (std::size_t k = 0; k < marks_.size(); ++k) marks_[k] = k == 0 ? 0 : mixed((t << 32U) + k);
    for (std::size_t f = 0; f < faults; ++f) key_[f] += marks_[classes[f]];
  }
  group_of.assign(faults, -1);
  next_of.assign(faults, -1);
  first_of.clear();
  best_of.clear();
  last_of_.clear();
  odds.clear();
  std::size_t room = 1024;
  while (room < 2 * faults) room *= 2;
  slots_.assign(room, -1);
  for (std::size_t f = 0; f < faults; ++f) {
    const double p = prior.fault[f];
    if (key_[f] == 0 || p <= 0) continue;
    if (rule_of[f] >= 0) key_[f] += mixed(static_cast<std::uint64_t>(rule_of[f]));
    auto slot = key_[f] & (room - 1);
    while (slots_[slot] >= 0 && key_[at(first_of[at(slots_[slot])])] != key_[f])
      slot = (slot + 1) & (room - 1);
    const auto fault = static_cast<std::int32_t>(f);
    if (slots_[slot] < 0) {
      slots_[slot] = static_cast<std::int32_t>(first_of.size());
      first_of.push_back(fault);
      best_of.push_back(fault);
      last_of_.push_back(fault);
      odds.push_back(0);
    }
    const auto g = at(slots_[slot]);
    group_of[f] = slots_[slot];
    if (last_of_[g] != fault) next_of[at(last_of_[g])] = fault;
    last_of_[g] = fault;
    odds[g] += p;
    if (p > prior.fault[at(best_of[g])]) best_of[g] = fault;
  }
  count = first_of.size();
  duty.assign(count, 1);
  alone.assign(count, 1);
  likelihood.assign(count, 1);
  worst.assign(count, 1);
  value.resize(count * tests);
  dominance.resize(count * tests);
  for (std::size_t t = 0; t < tests; ++t) {
    const auto& classes = table.classes(tests_of[t]);
    const auto& ranks = table.dominance(tests_of[t]);
    for (std::size_t g = 0; g < count; ++g) {
      const auto k = classes[at(first_of[g])];
      value[t * count + g] = rows[t]->share[k];
      dominance[t * count + g] = ranks[k];
    }
  }
}

void Groups::weigh(std::size_t g, const belief::BetaRule* rule, double keeps) {
  double product = 1;
  double least = 1;
  for (std::size_t t = 0; t < tests; ++t) {
    product *= value[t * count + g];
    least = std::min(least, value[t * count + g]);
  }
  worst[g] = least;
  alone[g] = likelihood[g] = product;
  if (rule == nullptr) return;
  // As Predictions has it: throughout the visit as it was, or drawn anew for each entry.
  double sum = 0;
  double mean = 0;
  for (std::size_t n = 0; n < rule->nodes.size(); ++n) {
    const double d = rule->nodes[n];
    mean += rule->weights[n] * d;
    double apart = 1;
    for (std::size_t t = 0; t < tests; ++t)
      apart *= d * value[t * count + g] + (1 - d) * sound_value[t];
    sum += rule->weights[n] * (keeps * (d * product + (1 - d) * sound) + (1 - keeps) * apart);
  }
  duty[g] = mean;
  likelihood[g] = sum;
}

}  // namespace faultloom::fleet
