#include <faultloom/belief/faults.hpp>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <tuple>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

using vehicle::Change;
using vehicle::Component;

/// Everything about a change that another fault on the same element could make matter.
using ChangeKey = std::tuple<Index, bool, double, double, int, double, bool, double, double>;

ChangeKey key_of(const Change& c) {
  constexpr double unset = -1e300;
  return {c.element,
          c.open,
          c.open ? 0 : c.add_ohm,
          c.open ? unset : c.ohm.value_or(unset),
          c.stuck ? (*c.stuck ? 1 : 0) : -1,
          c.open ? unset : c.emf_volt.value_or(unset),
          !c.open && c.reversed,
          c.open ? unset : c.shorted_ohm.value_or(unset),
          c.threshold_factor};
}

struct FaultKey {
  int gravity =
      0;  ///< -1: nothing electrical; 0: a resistance; 1: comes and goes; 2: anything else
  double ohm = 0;
  std::vector<ChangeKey> changes;
  std::vector<circuit::Setting> settings;
  double duty_a = 0;
  double duty_b = 0;

  friend auto operator<=>(const FaultKey&, const FaultKey&) = default;  // NOLINT
};

struct Draft {
  std::vector<Index> modes;
  std::vector<Change> changes;
};

/// How many sigmas of a log-normal are cut into cells; what lies beyond goes to the outermost ones.
constexpr double reach = 2.5;

double cell_middle(int cell) { return std::pow(FaultSpace::cell_ratio, cell); }

int cell_of(double ohm) {
  return static_cast<int>(std::lround(std::log(ohm) / std::log(FaultSpace::cell_ratio)));
}

}  // namespace

double lognormal_share(double median, double factor, double low, double high) {
  const double sigma = std::log(factor);
  const auto below = [&](double x) {
    return 0.5 * std::erfc(-std::log(x / median) / (sigma * std::numbers::sqrt2));
  };
  return below(high) - below(low);
}

FaultSpace::FaultSpace(const circuit::Circuit& circuit, std::span<const Repair> repairs)
    : circuit_(&circuit) {
  cells_.resize(vehicle().modes.size());
  make_variables(repairs);
  make_bundles();
  for (std::size_t v = 0; v < variables_.size(); ++v) make_faults(static_cast<std::int32_t>(v));
}

void FaultSpace::make_variables(std::span<const Repair> repairs) {
  const auto& components = vehicle().components;
  lives_.assign(components.size(), {});
  std::vector<std::vector<int>> repaired(components.size());
  for (const auto& repair : repairs) {
    repaired[at(repair.component)].push_back(repair.epoch);
    last_epoch_ = std::max(last_epoch_, repair.epoch);
  }
  const auto add = [&](Index c, Lifetime life, bool renewed) {
    lives_[at(c)].push_back(static_cast<std::int32_t>(variables_.size()));
    variables_.push_back({.components = {c}, .life = life, .renewed = renewed});
  };
  for (std::size_t i = 0; i < components.size(); ++i) {
    const auto c = static_cast<Index>(i);
    auto& epochs = repaired[i];
    std::sort(epochs.begin(), epochs.end());
    epochs.erase(std::unique(epochs.begin(), epochs.end()), epochs.end());
    if (epochs.empty()) {
      if (components[i].type != Component::Type::termination) add(c, {}, false);
      continue;
    }
    add(c, {0, epochs.front()}, false);
    for (std::size_t n = 0; n < epochs.size(); ++n)
      add(c, n + 1 < epochs.size() ? Lifetime{epochs[n], epochs[n + 1]} : Lifetime{epochs[n]},
          true);
  }
  std::map<Index, std::int32_t> ends_of;  // of wires that were repaired, without their ends
  for (std::size_t i = 0; i < components.size(); ++i) {
    if (components[i].type != Component::Type::termination || !repaired[i].empty()) continue;
    const auto c = static_cast<Index>(i);
    const auto wire = components[i].wire;
    if (repaired[at(wire)].empty()) {
      lives_[i].push_back(variable_of(wire));
      variables_[at(variable_of(wire))].components.push_back(c);
    } else if (const auto known = ends_of.find(wire); known != ends_of.end()) {
      lives_[i].push_back(known->second);
      variables_[at(known->second)].components.push_back(c);
    } else {
      add(c, {}, false);
      ends_of.emplace(wire, variable_of(c));
    }
  }
}

std::size_t FaultSpace::life_in(Index component, int epoch) const {
  const auto& lives = lives_of(component);
  std::size_t life = 0;
  while (life + 1 < lives.size() && variables_[at(lives[life])].life.until <= epoch) ++life;
  return life;
}

void FaultSpace::alive(std::span<const std::int32_t> faults, int epoch,
                       std::vector<std::int32_t>& out) const {
  out.clear();
  for (const auto f : faults)
    if (life_of(f).covers(epoch)) out.push_back(f);
}

void FaultSpace::make_bundles() {
  const auto& v = vehicle();
  for (const auto& loom : v.looms)
    bundles_.push_back({Bundle::Type::loom, loom.id, loom.wires, {}});
  std::map<std::string, std::vector<Index>> connectors;
  for (std::size_t c = 0; c < v.components.size(); ++c)
    if (v.components[c].type == Component::Type::contact)
      connectors[v.components[c].connector].push_back(static_cast<Index>(c));
  for (const auto& [id, members] : connectors)
    bundles_.push_back({Bundle::Type::connector, id, members, {}});
  std::erase_if(bundles_, [](const Bundle& b) { return b.members.size() < 2; });
  for (std::size_t b = 0; b < bundles_.size(); ++b)
    for (const auto member : bundles_[b].members) {
      // Whatever hit them all did so before the first repair.
      const auto v0 = lives_of(member).front();
      variables_[at(v0)].bundle = static_cast<std::int32_t>(b);
      bundles_[b].variables.push_back(v0);
    }
}

void FaultSpace::make_faults(std::int32_t v) {
  auto& variable = variables_[at(v)];
  std::map<FaultKey, Draft> drafts;
  std::map<FaultKey, std::map<Index, double>> shares;
  const auto add = [&](Index m, double ohm, double share) {
    const auto& mode = vehicle().modes[at(m)];
    auto changes = mode.changes;
    if (ohm > 0)
      for (auto& change : changes)
        if (change.add_ohm > 0) change.add_ohm = ohm;
    FaultKey key;
    const bool silent = circuit::overrides_of(*circuit_, changes).empty() && mode.control == none;
    key.gravity = silent ? -1 : mode.intermittent() ? 1 : ohm > 0 ? 0 : 2;
    key.ohm = ohm;
    if (!silent)
      for (const auto& change : changes) key.changes.push_back(key_of(change));
    std::sort(key.changes.begin(), key.changes.end());
    if (mode.control != none) key.settings = {{mode.control, mode.position}};
    key.duty_a = silent ? 0 : mode.duty.a;
    key.duty_b = silent ? 0 : mode.duty.b;
    auto& draft = drafts[key];
    if (draft.modes.empty()) draft.changes = silent ? std::vector<Change>{} : changes;
    draft.modes.push_back(m);
    shares[key][m] += share;
  };
  for (const auto c : variable.components)
    for (const auto m : vehicle().components[at(c)].modes) {
      const auto& mode = vehicle().modes[at(m)];
      double median = 0;
      for (const auto& change : mode.changes)
        if (change.add_ohm > 0 && !change.open) median = std::max(median, change.add_ohm);
      if (mode.spread_factor <= 1.001 || median <= 0 || mode.intermittent()) {
        add(m, 0, 1);
        continue;
      }
      const double width = std::pow(mode.spread_factor, reach);
      const int first = cell_of(median / width);
      const int last = cell_of(median * width);
      const double half = std::sqrt(cell_ratio);
      for (int k = first; k <= last; ++k) {
        const double low = k == first ? 0 : cell_middle(k) / half;
        const double high = k == last ? 1e300 : cell_middle(k) * half;
        add(m, cell_middle(k), lognormal_share(median, mode.spread_factor, low, high));
      }
    }
  variable.first = static_cast<std::int32_t>(faults_.size());
  variable.count = static_cast<std::int32_t>(drafts.size());
  for (auto& [key, draft] : drafts) {
    const auto f = static_cast<std::int32_t>(faults_.size());
    std::sort(draft.modes.begin(), draft.modes.end());
    for (const auto& [m, share] : shares[key]) cells_[at(m)].push_back({f, share});
    faults_.push_back({.variable = v,
                       .modes = std::move(draft.modes),
                       .changes = draft.changes,
                       .overrides = circuit::overrides_of(*circuit_, draft.changes),
                       .settings = key.settings,
                       .duty = {key.duty_a, key.duty_b},
                       .ohm = key.ohm});
  }
}

std::vector<FaultSpace::Cell> FaultSpace::cells_of(Index mode, std::int32_t variable) const {
  const auto& v = variables_[at(variable)];
  std::vector<Cell> result;
  for (const auto& cell : cells_of(mode))
    if (v.first <= cell.fault && cell.fault < v.first + v.count) result.push_back(cell);
  return result;
}

void FaultSpace::overrides(std::span<const std::int32_t> faults, circuit::Overrides& out) const {
  out.clear();
  if (faults.size() == 1) {
    out = fault(faults.front()).overrides;
    return;
  }
  for (const auto f : faults)
    out.insert(out.end(), fault(f).overrides.begin(), fault(f).overrides.end());
  std::sort(out.begin(), out.end(),
            [](const auto& a, const auto& b) { return a.element < b.element; });
  const bool overlap = std::adjacent_find(out.begin(), out.end(), [](const auto& x, const auto& y) {
                         return x.element == y.element;
                       }) != out.end();
  if (!overlap) return;
  std::vector<Change> changes;
  for (const auto f : faults)
    changes.insert(changes.end(), fault(f).changes.begin(), fault(f).changes.end());
  out = circuit::overrides_of(*circuit_, changes);
}

void FaultSpace::settings(std::span<const std::int32_t> faults,
                          std::vector<circuit::Setting>& out) const {
  out.clear();
  for (const auto f : faults)
    out.insert(out.end(), fault(f).settings.begin(), fault(f).settings.end());
  std::sort(out.begin(), out.end());
}

}  // namespace faultloom::belief
