#include "unit/advice/decision_oracle.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <utility>

namespace faultloom::advice::oracle {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

double uniform(std::mt19937& random, double low, double high) {
  return low + (high - low) * static_cast<double>(random()) / 4294967296.0;
}

std::int32_t below(std::mt19937& random, std::size_t end) {
  return static_cast<std::int32_t>(random() % end);
}

std::uint32_t zone_bits(const std::vector<std::int32_t>& zones) {
  std::uint32_t bits = 0;
  for (const auto z : zones) bits |= 1U << at(z);
  return bits;
}

double opening(const DecisionProblem& p, std::uint32_t bits) {
  double sum = 0;
  for (std::size_t z = 0; z < p.zone_usd.size(); ++z)
    if ((bits >> z & 1U) != 0) sum += p.zone_usd[z];
  return sum;
}

std::int32_t own_repair(const DecisionProblem& p, std::size_t h) {
  return p.hypotheses[h].cures.front().repair;
}

}  // namespace

DecisionProblem random_problem(const Shape& shape, std::mt19937& random) {
  DecisionProblem p;
  for (std::size_t z = 0; z < shape.zones; ++z) p.zone_usd.push_back(uniform(random, 5, 60));
  const auto zone_of = [&](std::size_t place) -> std::vector<std::int32_t> {
    if (shape.family == Family::chain) {
      const auto block = place * (shape.zones + 1) / shape.hypotheses;
      if (block == 0) return {};
      return {static_cast<std::int32_t>(block - 1)};
    }
    const auto z = below(random, shape.zones + 1);
    if (at(z) == shape.zones) return {};
    return {z};
  };
  for (std::size_t h = 0; h < shape.hypotheses; ++h) {
    const auto index = static_cast<std::int32_t>(h);
    p.hypotheses.push_back(
        {-std::log(uniform(random, 0.001, 1)), false, {{index, DecisionProblem::none}}});
    DecisionProblem::Repair repair;
    repair.attempt_usd = uniform(random, 10, 80);
    repair.rest_usd = uniform(random, 0, 60);
    repair.zones = zone_of(h);
    p.repairs.push_back(repair);
  }
  const bool setups = shape.family == Family::setups;
  if (setups) {
    p.setups = 3;
    for (std::size_t i = 0; i < 9; ++i)
      p.change_usd.push_back(i % 4 == 0 ? 0 : uniform(random, 1, 12));
    p.setup_after_repair = 0;
  }
  const std::size_t kinds = shape.family == Family::three_outcomes ? 3 : 2;
  for (std::size_t t = 0; t < shape.tests; ++t) {
    DecisionProblem::Test test;
    test.cost_usd = uniform(random, 2, 15);
    test.outcomes = kinds;
    if (setups) test.setup = below(random, 3);
    if (shape.family == Family::chain) {
      const auto cut = 1 + at(below(random, shape.hypotheses - 1));
      test.zones = zone_of(cut);
      for (std::size_t h = 0; h < shape.hypotheses; ++h) test.codes.push_back(h < cut ? 0 : 1);
    } else {
      test.zones = zone_of(0);
      const double share = uniform(random, 0.2, 0.5);
      for (std::size_t h = 0; h < shape.hypotheses; ++h) {
        const double u = uniform(random, 0, 1);
        test.codes.push_back(u < share ? 0 : kinds == 2 || u < 0.5 + share / 2 ? 1 : 2);
      }
    }
    const double error =
        shape.most_error > 0 ? uniform(random, shape.least_error, shape.most_error) : 0;
    for (std::size_t k = 0; k < kinds; ++k)
      for (std::size_t o = 0; o < kinds; ++o)
        test.rows.push_back(k == o ? 1 - error : error / static_cast<double>(kinds - 1));
    p.tests.push_back(std::move(test));
  }
  return p;
}

double optimum_without_errors(const DecisionProblem& p) {
  const auto n = p.hypotheses.size();
  const std::size_t subsets = std::size_t{1} << n;
  const std::size_t opens = std::size_t{1} << p.zone_usd.size();
  const auto setups = static_cast<std::int32_t>(std::max<std::size_t>(p.setups, 1));
  double whole = 0;
  for (const auto& h : p.hypotheses) whole += h.weight;
  std::vector<double> mass(subsets, 0);
  for (std::size_t s = 1; s < subsets; ++s)
    for (std::size_t h = 0; h < n; ++h)
      if ((s >> h & 1U) != 0) mass[s] += p.hypotheses[h].weight / whole;
  // By test and outcome: which hypotheses give it.
  std::vector<std::vector<std::size_t>> giving;
  for (const auto& t : p.tests) {
    std::vector<std::size_t> list(t.outcomes, 0);
    for (std::size_t h = 0; h < n; ++h)
      for (std::size_t o = 0; o < t.outcomes; ++o)
        if (t.probability(h, o) > 0.5) list[o] |= std::size_t{1} << h;
    giving.push_back(std::move(list));
  }
  // best[s][open][setup]: mass of s times expected cost from there. Smaller subsets come first; with more
  // zones open nothing refers back.
  const auto place = [&](std::size_t s, std::size_t open, std::int32_t setup) {
    return (s * opens + open) * at(setups) + at(setup);
  };
  std::vector<double> best(subsets * opens * at(setups), 0);
  for (std::size_t s = 1; s < subsets; ++s)
    for (std::size_t open = opens; open-- > 0;)
      for (std::int32_t setup = 0; setup < setups; ++setup) {
        double least = infinite;
        for (std::size_t h = 0; h < n; ++h) {
          if ((s >> h & 1U) == 0) continue;
          const auto& r = p.repairs[at(own_repair(p, h))];
          const auto zones = zone_bits(r.zones);
          const double pay = r.attempt_usd + opening(p, zones & ~static_cast<std::uint32_t>(open));
          const auto after =
              p.setup_after_repair == DecisionProblem::none ? setup : p.setup_after_repair;
          const auto one = std::size_t{1} << h;
          least = std::min(least, mass[s] * pay + mass[one] * r.rest_usd +
                                      best[place(s & ~one, open | zones, after)]);
        }
        for (std::size_t t = 0; t < p.tests.size(); ++t) {
          const auto& test = p.tests[t];
          const auto zones = zone_bits(test.zones);
          const auto after = test.setup == DecisionProblem::none ? setup : test.setup;
          double cost =
              mass[s] * (test.cost_usd + opening(p, zones & ~static_cast<std::uint32_t>(open)) +
                         p.change(p.setups == 0 ? DecisionProblem::none : setup, test.setup));
          bool splits = true;
          for (const auto set : giving[t]) {
            if ((s & set) == s) splits = false;
            cost += best[place(s & set, open | zones, after)];
          }
          if (splits) least = std::min(least, cost);
        }
        best[place(s, open, setup)] = least;
      }
  return best[place(subsets - 1, 0, 0)];
}

namespace {

/// The state of a problem with errors, and its value once worked out.
class WithErrors {
 public:
  explicit WithErrors(const DecisionProblem& p) : p_(p) {
    for (const auto& h : p.hypotheses) whole_ += h.weight;
  }

  /// `seen[t]`: 0 not made, else outcome plus one. Mass times expected cost.
  double value(std::vector<int>& seen, std::uint32_t left, std::uint32_t open) {
    if (left == 0) return 0;
    std::uint64_t key = left;
    for (const auto s : seen) key = key * 4 + static_cast<std::uint64_t>(s);
    key = key * 16 + open;
    if (const auto found = known_.find(key); found != known_.end()) return found->second;
    double mass = 0;
    std::vector<double> masses(p_.hypotheses.size(), 0);
    for (std::size_t h = 0; h < masses.size(); ++h) {
      if ((left >> h & 1U) == 0) continue;
      masses[h] = p_.hypotheses[h].weight / whole_;
      for (std::size_t t = 0; t < seen.size(); ++t)
        if (seen[t] > 0)
          masses[h] *= p_.tests[t].probability(h, static_cast<std::size_t>(seen[t] - 1));
      mass += masses[h];
    }
    double least = infinite;
    for (std::size_t h = 0; h < masses.size(); ++h) {
      if ((left >> h & 1U) == 0) continue;
      const auto& r = p_.repairs[at(own_repair(p_, h))];
      const auto zones = zone_bits(r.zones);
      least = std::min(least, mass * (r.attempt_usd + opening(p_, zones & ~open)) +
                                  masses[h] * r.rest_usd +
                                  value(seen, left & ~(1U << h), open | zones));
    }
    for (std::size_t t = 0; t < seen.size(); ++t) {
      if (seen[t] != 0) continue;
      const auto& test = p_.tests[t];
      const auto zones = zone_bits(test.zones);
      double cost = mass * (test.cost_usd + opening(p_, zones & ~open));
      for (std::size_t o = 0; o < test.outcomes; ++o) {
        seen[t] = static_cast<int>(o) + 1;
        cost += value(seen, left, open | zones);
      }
      seen[t] = 0;
      least = std::min(least, cost);
    }
    known_.emplace(key, least);
    return least;
  }

 private:
  const DecisionProblem& p_;
  double whole_ = 0;
  std::map<std::uint64_t, double> known_;
};

/// A state of the job with what the walker needs.
struct Walker {
  const DecisionProblem& p;
  const Chooser& chooser;
  std::map<std::vector<std::int64_t>, double> known;

  double walk(const DecisionState& state) {
    std::vector<std::int64_t> key;
    for (const double w : state.weights) key.push_back(std::llround(w * 1e12));
    for (const bool b : state.open) key.push_back(b ? 1 : 0);
    for (const bool b : state.made) key.push_back(b ? 1 : 0);
    key.push_back(state.setup);
    if (const auto found = known.find(key); found != known.end()) return found->second;
    const auto action = chooser(state);
    double total = 0;
    const auto open = [&](const std::vector<std::int32_t>& zones, DecisionState& next) {
      for (const auto z : zones) {
        if (!state.open[at(z)]) total += p.zone_usd[at(z)];
        next.open[at(z)] = true;
      }
    };
    if (action.type == DecisionAction::Type::repair) {
      const auto& r = p.repairs[at(action.index)];
      auto next = state;
      open(r.zones, next);
      total += r.attempt_usd;
      double left = 0;
      for (std::size_t h = 0; h < next.weights.size(); ++h) {
        if (own_repair(p, h) == action.index) {
          total += next.weights[h] * r.rest_usd;
          next.weights[h] = 0;
        }
        left += next.weights[h];
      }
      for (auto& w : next.weights) w = left > 0 ? w / left : 0;
      if (p.setup_after_repair != DecisionProblem::none) next.setup = p.setup_after_repair;
      if (left > 1e-12) total += left * walk(next);
    } else {
      const auto& t = p.tests[at(action.index)];
      auto next = state;
      open(t.zones, next);
      total += t.cost_usd + p.change(state.setup, t.setup);
      next.made[at(action.index)] = true;
      if (t.setup != DecisionProblem::none) next.setup = t.setup;
      for (std::size_t o = 0; o < t.outcomes; ++o) {
        auto branch = next;
        double mass = 0;
        for (std::size_t h = 0; h < branch.weights.size(); ++h) {
          branch.weights[h] *= t.probability(h, o);
          mass += branch.weights[h];
        }
        for (auto& w : branch.weights) w = mass > 0 ? w / mass : 0;
        if (mass > 1e-12) total += mass * walk(branch);
      }
    }
    known.emplace(std::move(key), total);
    return total;
  }
};

struct Order {
  std::vector<std::int32_t> repairs;
  double expected = 0;  ///< not divided by the sum of the weights
};

/// Probability over cost with zones as blocks.
Order in_order(const DecisionProblem& p, const std::vector<double>& weights,
               std::vector<bool> open) {
  Order order;
  std::vector<std::size_t> left;
  double remaining = 0;
  for (std::size_t h = 0; h < weights.size(); ++h)
    if (weights[h] > 0) {
      left.push_back(h);
      remaining += weights[h];
      order.expected += weights[h] * p.repairs[at(own_repair(p, h))].rest_usd;
    }
  const auto repair_of = [&](std::size_t h) -> const DecisionProblem::Repair& {
    return p.repairs[at(own_repair(p, h))];
  };
  std::stable_sort(left.begin(), left.end(), [&](std::size_t a, std::size_t b) {
    return weights[a] * repair_of(b).attempt_usd > weights[b] * repair_of(a).attempt_usd;
  });
  while (!left.empty()) {
    std::vector<std::size_t> block;
    double block_ratio = -1;
    std::map<std::int32_t, bool> done;
    for (const auto first : left) {
      const auto zone = repair_of(first).zones.empty() || open[at(repair_of(first).zones.front())]
                            ? DecisionProblem::none
                            : repair_of(first).zones.front();
      if (std::exchange(done[zone], true)) continue;
      double cost = zone == DecisionProblem::none ? 0 : p.zone_usd[at(zone)];
      double mass = 0;
      std::vector<std::size_t> prefix;
      for (const auto h : left) {
        if (zone == DecisionProblem::none ? h != first
                                          : repair_of(h).zones != repair_of(first).zones)
          continue;
        mass += weights[h];
        cost += repair_of(h).attempt_usd;
        prefix.push_back(h);
        if (mass / cost > block_ratio) {
          block_ratio = mass / cost;
          block = prefix;
        }
      }
    }
    for (const auto h : block) {
      const auto& r = repair_of(h);
      double pay = r.attempt_usd;
      for (const auto z : r.zones) {
        if (!open[at(z)]) pay += p.zone_usd[at(z)];
        open[at(z)] = true;
      }
      order.expected += remaining * pay;
      remaining -= weights[h];
      order.repairs.push_back(own_repair(p, h));
      std::erase(left, h);
    }
  }
  return order;
}

double cost_now(const DecisionProblem& p, const DecisionState& state,
                const DecisionProblem::Test& test) {
  double cost = test.cost_usd + p.change(state.setup, test.setup);
  for (const auto z : test.zones)
    if (!state.open[at(z)]) cost += p.zone_usd[at(z)];
  return cost;
}

double entropy(const std::vector<double>& weights) {
  double sum = 0;
  double log = 0;
  for (const double w : weights) {
    sum += w;
    if (w > 0) log += w * std::log(w);
  }
  return sum > 0 ? sum * std::log(sum) - log : 0;
}

std::vector<double> after(const DecisionProblem::Test& test, std::size_t outcome,
                          std::vector<double> weights) {
  for (std::size_t h = 0; h < weights.size(); ++h) weights[h] *= test.probability(h, outcome);
  return weights;
}

DecisionAction first_repair(const DecisionProblem& p, const DecisionState& state) {
  return {DecisionAction::Type::repair, in_order(p, state.weights, state.open).repairs.front()};
}

}  // namespace

double optimum_with_errors(const DecisionProblem& p) {
  std::vector<int> seen(p.tests.size(), 0);
  return WithErrors(p).value(seen, (1U << p.hypotheses.size()) - 1, 0);
}

double expected_cost(const DecisionProblem& p, const Chooser& chooser) {
  DecisionState state;
  double sum = 0;
  for (const auto& h : p.hypotheses) sum += h.weight;
  for (const auto& h : p.hypotheses) state.weights.push_back(h.weight / sum);
  state.open.assign(p.zone_usd.size(), false);
  state.made.assign(p.tests.size(), false);
  if (p.setups > 0) state.setup = 0;
  return Walker{p, chooser, {}}.walk(state);
}

Chooser repairs_only(const DecisionProblem& p) {
  return [&p](const DecisionState& state) { return first_repair(p, state); };
}

Chooser information_for_money(const DecisionProblem& p, double sure) {
  return [&p, sure](const DecisionState& state) {
    const double most = *std::max_element(state.weights.begin(), state.weights.end());
    double best = 0;
    DecisionAction action = first_repair(p, state);
    if (most >= sure) return action;
    for (std::size_t t = 0; t < p.tests.size(); ++t) {
      if (state.made[t]) continue;
      double gain = entropy(state.weights);
      for (std::size_t o = 0; o < p.tests[t].outcomes; ++o)
        gain -= entropy(after(p.tests[t], o, state.weights));
      if (gain < 1e-9) continue;
      const double rate = gain / cost_now(p, state, p.tests[t]);
      if (rate > best) {
        best = rate;
        action = {DecisionAction::Type::test, static_cast<std::int32_t>(t)};
      }
    }
    return action;
  };
}

Chooser one_step_value(const DecisionProblem& p) {
  return [&p](const DecisionState& state) {
    DecisionAction action = first_repair(p, state);
    double best = in_order(p, state.weights, state.open).expected;
    for (std::size_t t = 0; t < p.tests.size(); ++t) {
      if (state.made[t]) continue;
      double total = cost_now(p, state, p.tests[t]);
      auto open = state.open;
      for (const auto z : p.tests[t].zones) open[at(z)] = true;
      for (std::size_t o = 0; o < p.tests[t].outcomes; ++o)
        total += in_order(p, after(p.tests[t], o, state.weights), open).expected;
      if (total < best - 1e-9) {
        best = total;
        action = {DecisionAction::Type::test, static_cast<std::int32_t>(t)};
      }
    }
    return action;
  };
}

}  // namespace faultloom::advice::oracle
