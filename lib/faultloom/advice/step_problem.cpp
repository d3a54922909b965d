#include <faultloom/advice/step_problem.hpp>

#include <algorithm>
#include <array>
#include <boost/container_hash/hash.hpp>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>
#include <utility>

namespace faultloom::advice {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Sets of faults with more components than this are taken apart in one order only.
constexpr std::size_t most_free_order = 3;

/// Builds hypotheses: what the job may have, and what repairs leave of it.
class Ways {
 public:
  Ways(const belief::FaultSpace& space, const LiveSet& live) : space_(space) {
    for (std::size_t c = 0; c < live.candidates.size(); ++c)
      live_of_.emplace(live.candidates[c].faults, static_cast<std::int32_t>(c));
    faults_.reserve(live.candidates.size());
    for (const auto& c : live.candidates) faults_.push_back(&c.faults);
    for (const auto& h : live.hypotheses) {
      list.push_back(h);
      known_.emplace(key(h), static_cast<std::int32_t>(list.size() - 1));
    }
    next_.resize(list.size());
    from_.assign(list.size(), {vehicle::none, vehicle::none});
    for (std::size_t h = 0; h < list.size(); ++h)
      follow(h);  // the list grows while it is gone through
  }

  [[nodiscard]] const std::vector<std::pair<Index, std::int32_t>>& next(std::size_t h) const {
    return next_[h];
  }
  /// For what was added: the hypothesis it is left of, and the component repaired.
  [[nodiscard]] std::pair<std::int32_t, Index> from(std::size_t h) const { return from_[h]; }

  std::vector<Hypothesis> list;

 private:
  using Key = std::tuple<std::int32_t, std::vector<Index>, std::vector<Index>, bool, std::int32_t>;
  static Key key(const Hypothesis& h) {
    return {h.live, h.components, h.modes, h.swing.has_value(), h.swing ? h.swing->lively : 0};
  }

  void follow(std::size_t h) {
    auto components = list[h].components;
    std::sort(components.begin(), components.end());
    components.erase(std::unique(components.begin(), components.end()), components.end());
    const auto ways = components.size() > most_free_order ? 1 : components.size();
    for (std::size_t k = 0; k < ways; ++k) {
      std::int32_t left = DecisionProblem::none;
      if (components.size() > 1) left = without(h, components[k]);
      next_[h].emplace_back(components[k], left);
    }
  }

  std::int32_t without(std::size_t h, Index component) {
    Hypothesis left;
    left.live = list[h].live;
    for (const auto c : list[h].components)
      if (c != component) left.components.push_back(c);
    for (const auto m : list[h].modes)
      if (space_.vehicle().modes[at(m)].component != component) left.modes.push_back(m);
    left.live = without_faults_of(component, left.live).value_or(left.live);
    if (const auto& swing = list[h].swing) {
      const auto lively = without_faults_of(component, swing->lively);
      const auto quiet = without_faults_of(component, swing->quiet);
      if (lively && quiet && lively != quiet)
        left.swing = {*lively, *quiet, swing->shows, swing->wiggled, swing->caught};
    }
    const auto [entry, added] = known_.emplace(key(left), static_cast<std::int32_t>(list.size()));
    if (added) {
      list.push_back(std::move(left));
      next_.emplace_back();
      from_.emplace_back(static_cast<std::int32_t>(h), component);
    }
    return entry->second;
  }

  /// The candidate that a repair leaves, if it is among the live ones.
  [[nodiscard]] std::optional<std::int32_t> without_faults_of(Index component,
                                                              std::int32_t live) const {
    auto faults = *faults_[at(live)];
    std::erase_if(faults, [&](std::int32_t f) {
      return space_.fault(f).variable == space_.variable_of(component);
    });
    const auto found = live_of_.find(faults);
    return found == live_of_.end() ? std::nullopt : std::optional(found->second);
  }

  const belief::FaultSpace& space_;
  std::vector<const std::vector<std::int32_t>*> faults_;
  std::map<std::vector<std::int32_t>, std::int32_t> live_of_;
  std::map<Key, std::int32_t> known_;
  std::vector<std::vector<std::pair<Index, std::int32_t>>> next_;
  std::vector<std::pair<std::int32_t, Index>> from_;
};

/// What comes and goes: the candidate now, with everything at work and quiet.
using SwingKey = std::array<std::int32_t, 3>;
using SwingMap = std::map<SwingKey, std::int32_t>;
SwingKey swing_key(const Hypothesis& h) { return {h.live, h.swing->lively, h.swing->quiet}; }

/// Code of what a repair leaves, if something comes and goes: as that of one that was given.
std::int32_t plain_code(const Trial& trial, const Hypothesis& left,
                        const SwingMap& first_of_swing) {
  if (left.swing)
    if (const auto found = first_of_swing.find(swing_key(left)); found != first_of_swing.end())
      return trial.codes[at(found->second)];
  return trial.plain[at(left.live)];
}

/// Codes of all ways for a trial, made dense from 0; the rows that they stand for.
struct Predicted {
  std::vector<std::int32_t> codes;
  std::vector<std::int32_t> rows;
};

Predicted predicted(const Trial& trial, const Ways& ways, std::size_t given,
                    std::span<const std::int32_t> first_of_live, const SwingMap& first_of_swing) {
  Predicted result;
  std::vector<std::int32_t> raw(trial.codes);
  raw.reserve(ways.list.size());
  for (std::size_t h = given; h < ways.list.size(); ++h) {
    const auto [from, component] = ways.from(h);
    if (trial.step.type == Step::Type::look) {
      raw.push_back(trial.step.component == component ? 0 : raw[at(from)]);
    } else if (!trial.plain.empty()) {
      raw.push_back(plain_code(trial, ways.list[h], first_of_swing));
    } else {
      raw.push_back(raw[at(first_of_live[at(ways.list[h].live)])]);
    }
  }
  // Few rows differ, so a linear search finds them fastest.
  result.codes.reserve(raw.size());
  for (const auto code : raw) {
    auto found = std::find(result.rows.begin(), result.rows.end(), code);
    if (found == result.rows.end()) found = result.rows.insert(found, code);
    result.codes.push_back(static_cast<std::int32_t>(found - result.rows.begin()));
  }
  return result;
}

/// Outcomes that are in the same ratio under every row say the same.
std::vector<std::vector<std::size_t>> same_outcomes(const Trial& trial,
                                                    std::span<const std::int32_t> rows) {
  std::vector<std::vector<std::size_t>> groups;
  const auto alike = [&](std::size_t a, std::size_t b) {
    const auto& first = trial.row(rows.front());
    return std::all_of(rows.begin(), rows.end(), [&](std::int32_t r) {
      const auto& row = trial.row(r);
      return std::abs(row[a] * first[b] - row[b] * first[a]) <= 1e-9 * (row[a] * first[b]);
    });
  };
  for (std::size_t o = 0; o < trial.outcomes; ++o) {
    const auto group = std::find_if(groups.begin(), groups.end(),
                                    [&](const auto& g) { return alike(g.front(), o); });
    if (group == groups.end()) {
      groups.push_back({o});
    } else {
      group->push_back(o);
    }
  }
  return groups;
}

/// Numbers setups as they come.
class Setups {
 public:
  std::int32_t number(const Setup& setup) {
    const auto [entry, added] = numbers_.emplace(setup, static_cast<std::int32_t>(list_.size()));
    if (added) list_.push_back(setup);
    return entry->second;
  }
  void fill(DecisionProblem& problem, const RepairCosts& costs) const {
    problem.setups = list_.size();
    for (const auto& from : list_)
      for (const auto& to : list_)
        problem.change_usd.push_back(
            costs.prices().of_minutes(change_minutes(costs.vehicle(), costs.prices(), from, to)));
  }
  [[nodiscard]] const std::vector<Setup>& list() const noexcept { return list_; }

 private:
  std::map<Setup, std::int32_t> numbers_;
  std::vector<Setup> list_;
};

void add_repairs(const Ways& ways, const RepairCosts& costs, const std::vector<bool>& open_zones,
                 const Constraints& constraints, StepProblem& result) {
  std::map<Index, std::int32_t> repair_of;
  const auto repair = [&](Index component) {
    const auto [entry, added] =
        repair_of.emplace(component, static_cast<std::int32_t>(result.components.size()));
    if (!added) return entry->second;
    result.components.push_back(component);
    DecisionProblem::Repair item;
    if (component == vehicle::none) {
      item.attempt_usd = costs.prices().of_minutes(costs.prices().verify_minutes);
      item.allowed =
          constraints.allow_live && costs.prices().verify_minutes <= constraints.most_minutes;
    } else {
      const auto zone = costs.vehicle().components[at(component)].zone;
      const auto& off = constraints.closed_zones;
      item.attempt_usd = costs.attempt(component);
      item.rest_usd = costs.part_rest(component);
      item.not_taken = costs.not_taken(component);
      if (zone != vehicle::none) item.zones.push_back(zone);
      item.allowed = constraints.allow_live &&
                     std::find(off.begin(), off.end(), zone) == off.end() &&
                     repair_minutes(costs, component, open_zones) <= constraints.most_minutes;
    }
    result.problem.repairs.push_back(std::move(item));
    return entry->second;
  };
  for (std::size_t h = 0; h < ways.list.size(); ++h) {
    DecisionProblem::Hypothesis item;
    item.weight = ways.list[h].weight;
    item.runs = ways.next(h).empty();
    if (const auto& swing = ways.list[h].swing) item.passes = 1 - swing->shows;
    if (item.runs) item.cures.push_back({repair(vehicle::none), DecisionProblem::none});
    for (const auto& [component, left] : ways.next(h))
      item.cures.push_back({repair(component), left});
    result.problem.hypotheses.push_back(std::move(item));
  }
}

/// Gives the weight of hypotheses that nothing tells apart to the first of them.
void merge_alike(DecisionProblem& problem) {
  const auto count = problem.hypotheses.size();
  std::vector<std::size_t> hashes(count, 0);
  for (const auto& test : problem.tests)
    for (std::size_t h = 0; h < count; ++h) boost::hash_combine(hashes[h], test.codes[h]);
  const auto same = [&](std::size_t a, std::size_t b) {
    const auto& left = problem.hypotheses[a].cures;
    const auto& right = problem.hypotheses[b].cures;
    return left.size() == right.size() &&
           std::equal(left.begin(), left.end(), right.begin(),
                      [](const auto& x, const auto& y) {
                        return x.repair == y.repair && x.next == y.next;
                      }) &&
           std::all_of(problem.tests.begin(), problem.tests.end(),
                       [&](const auto& t) { return t.codes[a] == t.codes[b]; });
  };
  std::map<std::size_t, std::vector<std::size_t>> firsts;
  for (std::size_t h = 0; h < count; ++h) {
    auto& list = firsts[hashes[h]];
    const auto first =
        std::find_if(list.begin(), list.end(), [&](std::size_t f) { return same(f, h); });
    if (first == list.end()) {
      list.push_back(h);
    } else {
      problem.hypotheses[*first].weight += problem.hypotheses[h].weight;
      problem.hypotheses[h].weight = 0;
    }
  }
}

}  // namespace

double repair_minutes(const RepairCosts& costs, Index component,
                      const std::vector<bool>& open_zones) {
  const auto& vehicle = costs.vehicle();
  double minutes = vehicle.components[at(component)].repair.minutes + costs.prices().verify_minutes;
  const auto zone = vehicle.components[at(component)].zone;
  if (zone != vehicle::none && !open_zones[at(zone)])
    minutes += vehicle.zones[at(zone)].open_minutes + vehicle.zones[at(zone)].close_minutes;
  return minutes;
}

StepProblem make_step_problem(const belief::FaultSpace& space, const LiveSet& live,
                              std::span<const Trial> trials, const RepairCosts& costs,
                              const std::vector<bool>& open_zones, const Setup& present,
                              const Constraints& constraints) {
  StepProblem result;
  auto& problem = result.problem;
  const Ways ways(space, live);
  add_repairs(ways, costs, open_zones, constraints, result);
  std::vector<std::int32_t> first_of_live(live.candidates.size(), 0);
  for (std::size_t h = live.hypotheses.size(); h-- > 0;)
    first_of_live[at(live.hypotheses[h].live)] = static_cast<std::int32_t>(h);

  SwingMap first_of_swing;
  for (std::size_t h = 0; h < live.hypotheses.size(); ++h)
    if (live.hypotheses[h].swing)
      first_of_swing.emplace(swing_key(live.hypotheses[h]), static_cast<std::int32_t>(h));

  Setups setups;
  result.state.setup = setups.number(present);
  problem.setup_after_repair =
      setups.number({costs.vehicle().run_state, false, vehicle::none, vehicle::none});
  for (const auto& trial : trials) {
    DecisionProblem::Test test;
    auto prediction = predicted(trial, ways, live.hypotheses.size(), first_of_live, first_of_swing);
    auto groups = same_outcomes(trial, prediction.rows);
    test.cost_usd = costs.prices().of_minutes(trial.own_minutes);
    test.zones.assign(trial.zones.begin(), trial.zones.end());
    if (!trial.setup.state.empty()) test.setup = setups.number(trial.setup);
    test.outcomes = groups.size();
    test.codes = std::move(prediction.codes);
    for (const auto row : prediction.rows)
      for (const auto& group : groups) {
        double p = 0;
        for (const auto o : group) p += trial.row(row)[o];
        test.rows.push_back(p);
      }
    problem.tests.push_back(std::move(test));
    result.outcomes.push_back(std::move(groups));
  }
  setups.fill(problem, costs);
  result.setups = setups.list();
  for (std::size_t z = 0; z < open_zones.size(); ++z)
    problem.zone_usd.push_back(costs.zone(static_cast<Index>(z)));
  merge_alike(problem);

  problem.missed = costs.prices().missed;
  problem.comeback_usd = costs.prices().comeback_usd;
  for (const auto& h : live.hypotheses) problem.comeback_usd += h.weight * costs.fix(h, open_zones);
  for (const auto& h : problem.hypotheses) result.state.weights.push_back(h.weight);
  result.state.open = open_zones;
  result.state.made.assign(problem.tests.size(), false);
  return result;
}

}  // namespace faultloom::advice
