#include <faultloom/advice/lookahead.hpp>

#include <algorithm>
#include <boost/container/small_vector.hpp>
#include <boost/container_hash/hash.hpp>
#include <cmath>
#include <faultloom/base/mix.hpp>
#include <limits>
#include <map>
#include <numeric>
#include <utility>

namespace faultloom::advice {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
/// Tests that tell less are left out.
constexpr double least_information_nat = 1e-7;
/// Beliefs whose probabilities differ by less in all are taken for one.
constexpr double alike_beliefs = 0.02;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// A fixed mark for a test; the marks of a set are combined by exclusive or.
std::uint64_t mark(std::int32_t test) { return mixed(static_cast<std::uint64_t>(test)); }

bool cheaper(const double a, const double b) { return a < b; }

}  // namespace

// ---- the quick estimate ------------------------------------------------------------------------

Lookahead::Lookahead(const DecisionProblem& problem, const DecisionChart& chart,
                     const PolicyOptions& options, const Progress& progress)
    : problem_(problem),
      chart_(chart),
      options_(options),
      progress_(progress),
      started_(std::chrono::steady_clock::now()),
      stamps_(problem.repairs.size(), 0),
      probability_(problem.repairs.size(), 0),
      place_(problem.repairs.size(), 0) {}

void Lookahead::spend() {
  ++nodes_;
  if (options_.most_nodes != 0 && nodes_ > options_.most_nodes) throw OutOfBudget();
  if (nodes_ % 16 != 0) return;
  report(progress_, share_done_);
  const std::chrono::duration<double> spent = std::chrono::steady_clock::now() - started_;
  if (spent.count() > options_.most_seconds) throw OutOfBudget();
}

Lookahead::Node Lookahead::root(const DecisionState& state) const {
  std::vector<std::int32_t> heaviest;
  for (std::size_t h = 0; h < state.weights.size(); ++h)
    if (state.weights[h] > 0) heaviest.push_back(static_cast<std::int32_t>(h));
  std::stable_sort(heaviest.begin(), heaviest.end(), [&](std::int32_t a, std::int32_t b) {
    return state.weights[at(a)] > state.weights[at(b)];
  });
  const auto most = std::max<std::size_t>(options_.hypotheses, 1);
  if (heaviest.size() > most) heaviest.resize(most);
  std::sort(heaviest.begin(), heaviest.end());
  Node node;
  node.now = true;
  double sum = 0;
  for (const auto h : heaviest) sum += state.weights[at(h)];
  for (const auto h : heaviest) {
    node.hypotheses.push_back(h);
    node.weights.push_back(state.weights[at(h)] / sum);
  }
  for (std::size_t z = 0; z < state.open.size() && z < DecisionChart::most_zones; ++z)
    if (state.open[z]) node.open |= std::uint64_t{1} << z;
  node.setup = state.setup;
  for (std::size_t t = 0; t < problem_.tests.size(); ++t) {
    const auto test = static_cast<std::int32_t>(t);
    if (t < state.made.size() && state.made[t]) {
      node.made ^= mark(test);
    } else {
      node.tests.push_back(test);
    }
  }
  return node;
}

Lookahead::View Lookahead::view(const Node& node, std::uint64_t open) const {
  View result;
  result.open = open;
  result.mend_usd.reserve(node.hypotheses.size());
  for (std::size_t i = 0; i < node.hypotheses.size(); ++i) {
    const auto& h = chart_.hypotheses[at(node.hypotheses[i])];
    result.mend_usd.push_back(h.mend_usd + chart_.zones_usd(h.zones & ~open));
    result.mean_mend_usd += node.weights[i] * result.mend_usd.back();
  }
  return result;
}

/// Adds the order of repairs by probability over cost.
void Lookahead::put_in_order(const Node& node, View& view) {
  std::vector<std::int32_t> needed;
  for (std::size_t i = 0; i < node.hypotheses.size(); ++i) {
    for (const auto r : chart_.hypotheses[at(node.hypotheses[i])].repairs) {
      if (probability_[at(r)] == 0) needed.push_back(r);
      probability_[at(r)] += node.weights[i];
    }
  }
  std::sort(needed.begin(), needed.end());
  struct Item {
    std::int32_t repair;
    double probability;
    double cost;
  };
  std::vector<Item> rest;
  rest.reserve(needed.size());
  for (const auto r : needed)
    rest.push_back({r, std::exchange(probability_[at(r)], 0), chart_.repairs[at(r)].attempt_usd});
  std::stable_sort(rest.begin(), rest.end(), [](const Item& a, const Item& b) {
    return a.probability * b.cost > b.probability * a.cost;
  });
  // Runs of repairs behind the same closed zones are taken as blocks: the beginning of the run with the
  // most probability for the money, the opening included (Ottosen and Jensen).
  auto opened = view.open;
  while (!rest.empty()) {
    struct Run {
      std::uint64_t closed;
      double p;
      double cost;
    };
    boost::container::small_vector<Run, 8> runs;  // by what is closed
    double best_p = 0;
    double best_cost = 1;
    std::uint64_t best_zones = 0;
    std::size_t best_end = 0;
    for (std::size_t i = 0; i < rest.size(); ++i) {
      const auto closed = chart_.repairs[at(rest[i].repair)].zones & ~opened;
      auto run =
          std::find_if(runs.begin(), runs.end(), [&](const Run& r) { return r.closed == closed; });
      if (run == runs.end()) {
        runs.push_back({closed, 0, chart_.zones_usd(closed)});
        run = std::prev(runs.end());
      } else if (closed == 0) {
        continue;  // in the open each stands for itself
      }
      const double p = run->p += rest[i].probability;
      const double cost = run->cost += rest[i].cost;
      if (best_end == 0 || p * best_cost > best_p * cost) {
        best_p = p;
        best_cost = cost;
        best_zones = closed;
        best_end = i + 1;
      }
    }
    std::vector<Item> later;
    for (std::size_t i = 0; i < rest.size(); ++i) {
      const auto closed = chart_.repairs[at(rest[i].repair)].zones & ~opened;
      const bool now = closed == best_zones && i < best_end;
      if (now && (closed != 0 || i + 1 == best_end)) {
        view.repairs.push_back(rest[i].repair);
      } else {
        later.push_back(rest[i]);
      }
    }
    opened |= best_zones;
    rest = std::move(later);
  }
  for (std::size_t i = 0; i < view.repairs.size(); ++i) place_[at(view.repairs[i])] = i;
  std::vector<std::size_t> last(node.hypotheses.size(), 0);
  for (std::size_t i = 0; i < node.hypotheses.size(); ++i) {
    view.by_repair.push_back(static_cast<std::int32_t>(i));
    for (const auto r : chart_.hypotheses[at(node.hypotheses[i])].repairs)
      last[i] = std::max(last[i], place_[at(r)]);
  }
  std::stable_sort(view.by_repair.begin(), view.by_repair.end(),
                   [&](std::int32_t a, std::int32_t b) { return last[at(a)] < last[at(b)]; });
}

const Lookahead::View& Lookahead::view_of(const Node& node, std::uint64_t open,
                                          std::vector<View>& views, bool ordered) {
  auto found =
      std::find_if(views.begin(), views.end(), [&](const View& v) { return v.open == open; });
  if (found == views.end()) {
    views.push_back(view(node, open));
    found = std::prev(views.end());
  }
  if (ordered && found->repairs.empty()) put_in_order(node, *found);
  return *found;
}

/// Cost of repairing in the view's order, of what has mass only; not divided by the mass.
double Lookahead::in_order(const Node& node, const View& view, std::span<const double> masses) {
  ++stamp_;
  auto open = view.open;
  double spent = 0;
  double first = 0;
  double sum = 0;
  for (const auto i : view.by_repair) {
    const double mass = masses[at(i)];
    if (mass <= 0) continue;
    const auto h = node.hypotheses[at(i)];
    const auto& own = chart_.hypotheses[at(h)];
    const bool runs = problem_.hypotheses[at(h)].runs;
    if (!runs || spent == 0)
      for (const auto r : own.repairs) {
        if (stamps_[at(r)] == stamp_) continue;
        stamps_[at(r)] = stamp_;
        spent += chart_.repairs[at(r)].attempt_usd +
                 chart_.zones_usd(chart_.repairs[at(r)].zones & ~open);
        open |= chart_.repairs[at(r)].zones;
        if (first == 0) first = spent;
      }
    sum += mass * (runs ? first : spent + own.rest_usd);
  }
  return sum;
}

double Lookahead::test_cost(const Node& node, std::int32_t test) const {
  const auto& t = chart_.tests[at(test)];
  return t.cost_usd + chart_.zones_usd(t.zones & ~node.open) +
         problem_.change(node.setup, problem_.tests[at(test)].setup);
}

double Lookahead::repair_cost(const Node& node, std::int32_t repair) const {
  double beyond = 0;
  for (const auto z : problem_.repairs[at(repair)].zones)
    if (at(z) >= DecisionChart::most_zones) beyond += problem_.zone_usd[at(z)];
  return problem_.repairs[at(repair)].attempt_usd + beyond +
         chart_.zones_usd(chart_.repairs[at(repair)].zones & ~node.open);
}

double Lookahead::leaf(const Node& node, double usd_per_nat) {
  auto v = view(node, node.open);
  put_in_order(node, v);
  double mending = 0;
  double entropy = 0;
  for (std::size_t i = 0; i < node.weights.size(); ++i) {
    mending += node.weights[i] * v.mend_usd[i];
    entropy -= node.weights[i] * std::log(node.weights[i]);
  }
  return std::min(in_order(node, v, node.weights), mending + usd_per_nat * entropy);
}

double Lookahead::closer(const Node& node, const Rated& test, double usd_per_nat,
                         std::vector<View>& views) {
  const auto t = test.action.index;
  const auto& own = problem_.tests[at(t)];
  const auto& v = view_of(node, node.open | chart_.tests[at(t)].zones, views, true);
  double total = test.cost_usd;
  const auto& log_rows = chart_.tests[at(t)].log_rows;
  masses_.resize(node.weights.size());
  for (std::size_t o = 0; o < own.outcomes; ++o) {
    double mass = 0;
    double mending = 0;
    double log = 0;
    for (std::size_t i = 0; i < node.weights.size(); ++i) {
      const double m = node.weights[i] * own.probability(at(node.hypotheses[i]), o);
      masses_[i] = m;
      mass += m;
      mending += m * v.mend_usd[i];
      if (m > 0)
        log += m * (logs_[i] + log_rows[at(own.codes[at(node.hypotheses[i])]) * own.outcomes + o]);
    }
    if (mass <= 0) continue;
    double left_out = 0;
    for (std::size_t i = 0; i < masses_.size(); ++i) {
      if (masses_[i] >= options_.least_weight * mass) continue;
      left_out += masses_[i] * v.mend_usd[i];
      masses_[i] = 0;
    }
    total += std::min(left_out + in_order(node, v, masses_),
                      mending + usd_per_nat * (mass * std::log(mass) - log));
  }
  return total;
}

void Lookahead::rate_repairs(const Node& node, const View& view, Ratings& ratings) {
  // The first in order, and the first for which nothing has to be opened.
  std::vector<std::int32_t> chosen;
  bool in_open = false;
  bool closed = false;
  for (const auto r : view.repairs) {
    // Later on somebody may do what is not allowed now.
    if (node.now && !problem_.repairs[at(r)].allowed) continue;
    const bool free = (chart_.repairs[at(r)].zones & ~node.open) == 0;
    if (free ? !std::exchange(in_open, true) : !std::exchange(closed, true)) chosen.push_back(r);
  }
  for (const auto r : chosen) {
    Rated item{{DecisionAction::Type::repair, r}, 0, 0, repair_cost(node, r)};
    item.total_usd = item.cost_usd;
    const auto rest = after_repair(node, r, ratings, item.total_usd);
    if (rest.probability > 0)
      item.total_usd +=
          rest.probability * (rest.node.left_out_usd + leaf(rest.node, ratings.usd_per_nat));
    ratings.repairs.push_back(item);
  }
  std::stable_sort(
      ratings.repairs.begin(), ratings.repairs.end(),
      [](const Rated& a, const Rated& b) { return cheaper(a.total_usd, b.total_usd); });
}

/// What a test is expected to tell: the entropy of its outcome less what is left of that when the truth is
/// known.
double Lookahead::information_nat(const Node& node, std::int32_t test) {
  const auto& own = problem_.tests[at(test)];
  const auto& entropies = chart_.tests[at(test)].row_entropies_nat;
  // Hypotheses that predict the same row share their part of the sums. Most rows of a test are those of
  // hypotheses that are ruled out by now.
  if (mass_.size() < entropies.size()) mass_.resize(entropies.size(), 0);
  met_.clear();
  for (std::size_t i = 0; i < node.weights.size(); ++i) {
    const auto row = at(own.codes[at(node.hypotheses[i])]);
    if (mass_[row] == 0) met_.push_back(row);
    mass_[row] += node.weights[i];
  }
  double sum = 0;
  if (met_.size() > 1) {
    for (std::size_t o = 0; o < own.outcomes; ++o) {
      double mass = 0;
      for (const auto row : met_) mass += mass_[row] * own.rows[row * own.outcomes + o];
      if (mass > 0) sum -= mass * std::log(mass);
    }
    for (const auto row : met_) sum -= mass_[row] * entropies[row];
  }
  for (const auto row : met_) mass_[row] = 0;
  return sum;
}

Lookahead::Ratings Lookahead::rate(const Node& node, std::size_t closer_look) {
  Ratings ratings;
  std::vector<View> views;
  views.reserve(64);
  const auto count = node.weights.size();
  auto& logs = logs_;
  logs.resize(count);
  double entropy = 0;
  for (std::size_t i = 0; i < count; ++i) {
    logs[i] = std::log(node.weights[i]);
    entropy -= node.weights[i] * logs[i];
  }
  double per_nat = infinite;
  for (const auto t : node.tests) {
    const double gain = information_nat(node, t);
    if (gain < least_information_nat) continue;
    const auto& v = view_of(node, node.open | chart_.tests[at(t)].zones, views, false);
    Rated item{{DecisionAction::Type::test, t}, v.mean_mend_usd, gain, test_cost(node, t)};
    per_nat = std::min(per_nat, item.cost_usd / gain);
    ratings.tests.push_back(item);
    ratings.useful.push_back(t);
  }
  ratings.usd_per_nat = std::isfinite(per_nat) ? per_nat : 0;
  for (auto& item : ratings.tests)
    item.total_usd += item.cost_usd + ratings.usd_per_nat * (entropy - item.information_nat);
  const auto order = [](const Rated& a, const Rated& b) {
    return cheaper(a.total_usd, b.total_usd);
  };
  std::stable_sort(ratings.tests.begin(), ratings.tests.end(), order);
  const auto looked = std::min(closer_look, ratings.tests.size());
  for (std::size_t k = 0; k < looked; ++k)
    ratings.tests[k].total_usd = closer(node, ratings.tests[k], ratings.usd_per_nat, views);
  std::stable_sort(ratings.tests.begin(),
                   ratings.tests.begin() + static_cast<std::ptrdiff_t>(looked), order);
  rate_repairs(node, view_of(node, node.open, views, true), ratings);
  return ratings;
}

// ---- following it to the end -------------------------------------------------------------------

/// Takes over what has enough of the mass. What has not is expected to be found last: the rest is paid
/// for in vain, then what mends it and what it takes to know.
void Lookahead::fill(Node& node, std::span<const std::int32_t> hypotheses,
                     std::span<const double> masses, double mass, double usd_per_nat) const {
  double sum = 0;
  double most_usd = 0;
  for (std::size_t i = 0; i < masses.size(); ++i) {
    if (masses[i] <= 0) continue;
    most_usd = std::max(most_usd, chart_.hypotheses[at(hypotheses[i])].mend_usd);
    if (masses[i] >= options_.least_weight * mass) {
      node.hypotheses.push_back(hypotheses[i]);
      node.weights.push_back(masses[i]);
      sum += masses[i];
      continue;
    }
    const auto& h = chart_.hypotheses[at(hypotheses[i])];
    const double share = masses[i] / mass;
    node.left_out_usd += share * (h.mend_usd + chart_.zones_usd(h.zones & ~node.open) +
                                  std::min(-usd_per_nat * std::log(share), most_usd));
  }
  for (auto& w : node.weights) w /= sum;
}

std::vector<Lookahead::Branch> Lookahead::after_test(const Node& node, std::int32_t test,
                                                     const Ratings& ratings) const {
  const auto& own = problem_.tests[at(test)];
  struct Part {
    double probability = 0;
    std::vector<double> masses;
  };
  // Outcomes that leave the same belief are one: apart they would only thin out what is followed, and
  // what is estimated for want of reach would make a test that tells nothing look worth its cost.
  std::vector<Part> parts;
  for (std::size_t o = 0; o < own.outcomes; ++o) {
    Part part{0, std::vector<double>(node.weights.size())};
    for (std::size_t i = 0; i < part.masses.size(); ++i) {
      part.masses[i] = node.weights[i] * own.probability(at(node.hypotheses[i]), o);
      part.probability += part.masses[i];
    }
    if (part.probability <= 0) continue;
    const auto same = std::find_if(parts.begin(), parts.end(), [&](const Part& other) {
      double apart = 0;
      for (std::size_t i = 0; i < part.masses.size() && apart <= alike_beliefs; ++i)
        apart += std::abs(part.masses[i] / part.probability - other.masses[i] / other.probability);
      return apart <= alike_beliefs;
    });
    if (same == parts.end()) {
      parts.push_back(std::move(part));
      continue;
    }
    same->probability += part.probability;
    for (std::size_t i = 0; i < part.masses.size(); ++i) same->masses[i] += part.masses[i];
  }
  std::vector<Branch> branches;
  for (const auto& part : parts) {
    Branch branch;
    branch.probability = part.probability;
    auto& next = branch.node;
    next.open = node.open | chart_.tests[at(test)].zones;
    fill(next, node.hypotheses, part.masses, part.probability, ratings.usd_per_nat);
    next.setup = own.setup != DecisionProblem::none ? own.setup : node.setup;
    next.made = node.made ^ mark(test);
    next.tests.reserve(ratings.useful.size());
    for (const auto t : ratings.useful)
      if (t != test) next.tests.push_back(t);
    branches.push_back(std::move(branch));
  }
  return branches;
}

Lookahead::Branch Lookahead::after_repair(const Node& node, std::int32_t repair,
                                          const Ratings& ratings, double& cost_usd) const {
  const auto& own = problem_.repairs[at(repair)];
  std::map<std::int32_t, double> left;
  for (std::size_t i = 0; i < node.weights.size(); ++i) {
    const auto h = node.hypotheses[i];
    const auto& item = problem_.hypotheses[at(h)];
    const double w = node.weights[i];
    if (item.runs) continue;
    const auto cure = std::find_if(item.cures.begin(), item.cures.end(),
                                   [&](const auto& c) { return c.repair == repair; });
    if (cure == item.cures.end()) {
      left[h] += w;
      continue;
    }
    const double moved = w * (1 - own.not_taken);
    cost_usd += moved * own.rest_usd;
    if (cure->next != DecisionProblem::none) left[cure->next] += moved;
    if (own.not_taken > 0) left[h] += w - moved;
  }
  Branch branch;
  double missed = 0;
  for (auto& [h, w] : left) {
    const double passed = w * problem_.missed_under(h);
    missed += passed;
    w -= passed;
    branch.probability += w;
  }
  cost_usd += missed * problem_.comeback_usd;
  auto& next = branch.node;
  next.open = node.open | chart_.repairs[at(repair)].zones;
  std::vector<std::int32_t> hypotheses;
  std::vector<double> masses;
  for (const auto& [h, w] : left) {
    hypotheses.push_back(h);
    masses.push_back(w);
  }
  fill(next, hypotheses, masses, branch.probability, ratings.usd_per_nat);
  if (next.weights.empty()) branch.probability = 0;
  next.setup = problem_.setup_after_repair != DecisionProblem::none ? problem_.setup_after_repair
                                                                    : node.setup;
  next.made = node.made;
  next.tests = ratings.useful;
  return branch;
}

double Lookahead::value(const Node& node, double reach, std::size_t level, double usd_per_nat) {
  return node.left_out_usd + followed(node, reach, level, usd_per_nat);
}

double Lookahead::followed(const Node& node, double reach, std::size_t level, double usd_per_nat) {
  if (node.hypotheses.size() == 1) {
    const auto& h = chart_.hypotheses[at(node.hypotheses.front())];
    return h.mend_usd + chart_.zones_usd(h.zones & ~node.open);
  }
  spend();
  if (reach < options_.least_reach) return leaf(node, usd_per_nat);
  std::size_t key = node.made;
  boost::hash_combine(key, node.open);
  boost::hash_combine(key, node.setup);
  boost::hash_combine(key, level);
  for (std::size_t i = 0; i < node.weights.size(); ++i) {
    boost::hash_combine(key, node.hypotheses[i]);
    boost::hash_combine(key, std::lround(node.weights[i] * 16777216));
  }
  if (const auto found = known_.find(key); found != known_.end()) return found->second;
  const auto ratings = rate(node, level > 0 ? 24 : 12);
  std::vector<Rated> ranked = ratings.repairs;
  const auto width = level > 0 ? std::max<std::size_t>(options_.later_candidates, 1) : 1;
  for (std::size_t k = 0; k < std::min(width, ratings.tests.size()); ++k)
    ranked.push_back(ratings.tests[k]);
  std::stable_sort(ranked.begin(), ranked.end(), [](const Rated& a, const Rated& b) {
    return cheaper(a.total_usd, b.total_usd);
  });
  double best = infinite;
  for (std::size_t k = 0; k < std::min(width, ranked.size()); ++k)
    best = std::min(
        best, follow(node, ratings, ranked[k].action, reach, level > 0 ? level - 1 : 0, best));
  if (!std::isfinite(best)) best = leaf(node, ratings.usd_per_nat);
  known_.emplace(key, best);
  return best;
}

/// Expected total of the action; infinite as soon as it is certain to exceed `bound`. With `then`, that
/// test is made next wherever it pays.
double Lookahead::follow(const Node& node, const Ratings& ratings, DecisionAction action,
                         double reach, std::size_t level, double bound, std::int32_t then) {
  if (action.type == DecisionAction::Type::repair) {
    double total = repair_cost(node, action.index);
    const auto rest = after_repair(node, action.index, ratings, total);
    if (rest.probability <= 0) return total;
    if (total > bound) return infinite;
    return total + rest.probability *
                       value(rest.node, reach * rest.probability, level, ratings.usd_per_nat);
  }
  double total = test_cost(node, action.index);
  auto branches = after_test(node, action.index, ratings);
  // What is wrong has to be mended whatever is found: no branch can cost less.
  std::vector<double> least(branches.size());
  for (std::size_t b = 0; b < branches.size(); ++b) {
    const auto& next = branches[b].node;
    least[b] = next.left_out_usd;
    for (std::size_t i = 0; i < next.weights.size(); ++i) {
      const auto& h = chart_.hypotheses[at(next.hypotheses[i])];
      least[b] += next.weights[i] * (h.mend_usd + chart_.zones_usd(h.zones & ~next.open));
    }
    total += branches[b].probability * least[b];
  }
  for (std::size_t b = 0; b < branches.size(); ++b) {
    if (total > bound) return infinite;
    const auto& branch = branches[b];
    const double branch_reach = reach * branch.probability;
    double best = value(branch.node, branch_reach, level, ratings.usd_per_nat);
    if (then != DecisionProblem::none && branch.node.hypotheses.size() > 1 &&
        branch_reach >= options_.least_reach) {
      const auto later = rate(branch.node, 0);
      if (std::find(later.useful.begin(), later.useful.end(), then) != later.useful.end())
        best = std::min(best, branch.node.left_out_usd +
                                  follow(branch.node, later, {DecisionAction::Type::test, then},
                                         branch_reach, level, best - branch.node.left_out_usd));
    }
    total += branch.probability * (best - least[b]);
  }
  return total;
}

// ---- the choice --------------------------------------------------------------------------------

/// Keeps the tests that are worth following: the best now, and the best after each outcome of these.
void Lookahead::pool(Node& node, Ratings& ratings) {
  if (options_.exhaustive || ratings.useful.size() <= options_.tests) {
    node.tests = ratings.useful;
    return;
  }
  std::vector<std::int32_t> chosen;
  std::vector<bool> in(problem_.tests.size(), false);
  const auto add = [&](std::int32_t t) {
    if (chosen.size() < options_.tests && !in[at(t)]) {
      in[at(t)] = true;
      chosen.push_back(t);
    }
  };
  for (std::size_t k = 0; k < options_.tests / 3; ++k) add(ratings.tests[k].action.index);
  auto by_price = ratings.tests;
  std::stable_sort(by_price.begin(), by_price.end(), [](const Rated& a, const Rated& b) {
    return a.cost_usd * b.information_nat < b.cost_usd * a.information_nat;
  });
  for (std::size_t k = 0; k < options_.tests / 6; ++k) add(by_price[k].action.index);
  for (std::size_t k = 0; k < 4; ++k) {
    for (const auto& branch : after_test(node, ratings.tests[k].action.index, ratings)) {
      if (branch.probability < 0.02 || branch.node.hypotheses.size() < 2) continue;
      const auto later = rate(branch.node, 0);
      for (std::size_t j = 0; j < std::min<std::size_t>(8, later.tests.size()); ++j)
        add(later.tests[j].action.index);
    }
  }
  for (const auto& item : ratings.tests) add(item.action.index);
  std::sort(chosen.begin(), chosen.end());
  ratings.useful = chosen;
  node.tests = std::move(chosen);
}

std::vector<Lookahead::Rated> Lookahead::root_candidates(const Node& node,
                                                         const Ratings& ratings) const {
  std::vector<Rated> list;
  const auto add = [&](const Rated& item) {
    if (std::none_of(list.begin(), list.end(),
                     [&](const Rated& known) { return known.action == item.action; }))
      list.push_back(item);
  };
  const auto count = options_.exhaustive ? ratings.tests.size() : options_.candidates;
  for (std::size_t k = 0; k < std::min(count, ratings.tests.size()); ++k) add(ratings.tests[k]);
  const auto add_two_best = [&](const auto& better) {
    auto sorted = ratings.tests;
    std::stable_sort(sorted.begin(), sorted.end(), better);
    for (std::size_t k = 0; k < std::min<std::size_t>(2, sorted.size()); ++k) add(sorted[k]);
  };
  add_two_best([](const Rated& a, const Rated& b) {
    return a.cost_usd * b.information_nat < b.cost_usd * a.information_nat;
  });
  // The quick estimate has all that is left told at the price of the cheapest test, which may tell little.
  add_two_best(
      [](const Rated& a, const Rated& b) { return a.information_nat > b.information_nat; });
  // Behind what is closed: the best there, which the opening may have put behind.
  std::vector<std::uint64_t> seen;
  for (const auto& item : ratings.tests) {
    const auto closed = chart_.tests[at(item.action.index)].zones & ~node.open;
    if (closed == 0 || std::find(seen.begin(), seen.end(), closed) != seen.end()) continue;
    seen.push_back(closed);
    if (seen.size() <= 4) add(item);
  }
  for (const auto& item : ratings.repairs) add(item);
  std::stable_sort(list.begin(), list.end(), [](const Rated& a, const Rated& b) {
    return cheaper(a.total_usd, b.total_usd);
  });
  return list;
}

Decision Lookahead::choose(const DecisionState& state) {
  Decision decision;
  Node node = root(state);
  if (node.hypotheses.empty()) return decision;
  auto whole = view(node, node.open);
  put_in_order(node, whole);
  decision.repair_only_usd = in_order(node, whole, node.weights);
  auto ratings = rate(node, options_.exhaustive ? node.tests.size() : 64);
  auto list = root_candidates(node, ratings);
  pool(node, ratings);

  const auto kept = options_.alternatives + 1;
  const auto by_total = [](const Rated& a, const Rated& b) {
    return cheaper(a.total_usd, b.total_usd);
  };
  // First everything with the quick estimate alone deciding later, then the best few with comparisons
  // later on too. What a budget cut off is not mixed with what was followed.
  const auto followed = [&](std::vector<Rated>& items, std::size_t level) {
    std::vector<double> totals;
    for (auto& item : items) {
      double bound = infinite;
      if (totals.size() >= kept) {
        std::nth_element(totals.begin(), totals.begin() + static_cast<std::ptrdiff_t>(kept - 1),
                         totals.end());
        bound = totals[kept - 1];
      }
      share_done_ = static_cast<double>(totals.size()) / static_cast<double>(items.size());
      double total = follow(node, ratings, item.action, 1, level, bound);
      if (item.action.type == DecisionAction::Type::test && std::isfinite(total)) {
        const auto closed = chart_.tests[at(item.action.index)].zones & ~node.open;
        for (const auto& other : ratings.tests) {
          if (closed == 0) break;
          const auto t = other.action.index;
          if (t == item.action.index || (chart_.tests[at(t)].zones & ~node.open) != closed)
            continue;
          total = std::min(total, follow(node, ratings, item.action, 1, level, total, t));
          break;
        }
      }
      item.total_usd = total;
      totals.push_back(total);
    }
    std::stable_sort(items.begin(), items.end(), by_total);
  };
  try {
    auto first = list;
    followed(first, 0);
    std::erase_if(first, [](const Rated& item) { return !std::isfinite(item.total_usd); });
    list = std::move(first);
    if (list.size() > kept) list.resize(kept);
    if (options_.later_depth > 0) {
      auto second = list;
      followed(second, options_.later_depth);
      list = std::move(second);
    }
  } catch (const OutOfBudget&) {
    decision.cut_short = true;
  }
  for (const auto& item : list) {
    if (decision.options.size() == kept) break;
    decision.options.push_back({item.action, item.cost_usd, item.total_usd});
  }
  decision.nodes = nodes_;
  return decision;
}

}  // namespace faultloom::advice
