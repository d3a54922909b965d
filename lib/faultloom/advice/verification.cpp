#include <faultloom/advice/verification.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/readings/response.hpp>
#include <set>

namespace faultloom::advice {
namespace {

using readings::Entry;
using readings::Outcome;
using Type = Check::Type;
using Result = Check::Result;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// Currents and voltages below these say nothing about a conductor.
constexpr double least_ampere = 0.01;
constexpr double most_volt = 1;

class Checks {
 public:
  Checks(circuit::Solver& solver, const readings::InstrumentSet& instruments,
         std::span<const Entry> entries)
      : solver_(solver),
        vehicle_(solver.circuit().vehicle()),
        instruments_(instruments),
        entries_(entries) {
    solver_.begin(sound_);
    for (std::size_t s = 0; s < vehicle_.signs.size(); ++s)
      if (vehicle_.signs[s].id == "turns") turns_.push_back(static_cast<Index>(s));
    for (const auto& entry : entries_) epoch_ = std::max(epoch_, entry.epoch);
  }

  std::vector<Check> all() {
    add_states();
    std::set<Index> done;
    for (const auto& entry : entries_)
      if (entry.type == Entry::Type::repair && done.insert(entry.component).second)
        add_drop(entry.component);
    list_.insert(list_.end(), interlocks_.begin(), interlocks_.end());
    for (auto& check : list_) judge(check);
    return std::move(list_);
  }

 private:
  bool runs(const vehicle::ControlState& state, Index sign) {
    return readings::sign_truth(solver_, sign, solver_.stage(state)) ==
           readings::SignTruth::present;
  }

  /// The run state and those that differ from it in one control: where it drives and where it must not.
  void add_states() {
    add_state(vehicle_.run_state, vehicle::none);
    for (std::size_t c = 0; c < vehicle_.controls.size(); ++c)
      for (std::size_t p = 0; p < vehicle_.controls[c].positions.size(); ++p) {
        auto state = vehicle_.run_state;
        if (state[c] == static_cast<Index>(p)) continue;
        state[c] = static_cast<Index>(p);
        add_state(state, static_cast<Index>(c));
      }
  }

  void add_state(const vehicle::ControlState& state, Index control) {
    for (const auto sign : turns_) {
      Check check;
      check.state = state;
      check.sign = sign;
      check.control = control;
      if (runs(state, sign)) {
        list_.push_back(check);
      } else if (control != vehicle::none && vehicle_.controls[at(control)].interlock) {
        check.type = Type::interlock;
        interlocks_.push_back(check);
      }
    }
  }

  /// Of the component's conductors the one with the most current, in the first state that has any.
  void add_drop(Index component) {
    for (const auto& driven : list_) {
      if (driven.type != Type::drives) continue;
      solver_.enter(solver_.stage(driven.state));
      Check best;
      double most = least_ampere;
      for (std::size_t e = 0; e < vehicle_.elements.size(); ++e) {
        const auto& element = vehicle_.elements[e];
        const bool conductor = element.type == vehicle::ElementType::resistor ||
                               element.type == vehicle::ElementType::contact;
        if (!conductor || element.dormant ||
            std::find(element.components.begin(), element.components.end(), component) ==
                element.components.end())
          continue;
        if (!vehicle_.terminals[at(element.a)].reachable ||
            !vehicle_.terminals[at(element.b)].reachable)
          continue;
        const double ampere = std::abs(solver_.ampere(static_cast<Index>(e)));
        const double volt = solver_.port(element.a, element.b).volt;
        if (ampere <= most || std::abs(volt) > most_volt) continue;
        most = ampere;
        best.red = volt < 0 ? element.b : element.a;
        best.black = volt < 0 ? element.a : element.b;
        best.expected_volt = std::abs(volt);
      }
      if (best.red == vehicle::none) continue;
      best.type = Type::drop;
      best.component = component;
      best.state = driven.state;
      best.limit_volt = std::max(0.05, 2 * best.expected_volt + 0.02);
      list_.push_back(best);
      return;
    }
  }

  void judge(Check& check) const {
    int repaired = 0;  // epoch that the component's last repair began
    for (const auto& e : entries_)
      if (e.type == Entry::Type::repair && e.component == check.component) repaired = e.epoch;
    for (std::size_t i = 0; i < entries_.size(); ++i) {
      const auto& e = entries_[i];
      if (!e.informative() || e.state != check.state || !e.lifted_elements.empty() ||
          !e.bridged_elements.empty())
        continue;
      if (check.type == Type::drop) {
        if (!measures(e, check)) continue;
        if (e.epoch < repaired) check.before_volt = e.number;
        if (e.epoch < epoch_) continue;
        check.after_volt = e.number;
        check.result = std::abs(e.number) <= check.limit_volt ? Result::passed : Result::failed;
      } else {
        if (e.epoch < epoch_ || e.type != Entry::Type::sign || e.sign != check.sign) continue;
        const auto wanted = check.type == Type::drives ? Outcome::yes : Outcome::no;
        // Of several tries of one entry a single bad one counts.
        const bool again = check.entry && same_entry(entries_[*check.entry], e);
        if (again && check.result == Result::failed) continue;
        check.result = e.outcome == wanted ? Result::passed : Result::failed;
      }
      check.entry = i;
    }
  }

  static bool same_entry(const Entry& a, const Entry& b) {
    return a.id.substr(0, a.id.find('#')) == b.id.substr(0, b.id.find('#'));
  }

  bool measures(const Entry& e, const Check& check) const {
    if (e.type != Entry::Type::reading || e.outcome != Outcome::number || e.instrument < 0 ||
        instruments_.instruments[static_cast<std::size_t>(e.instrument)].type !=
            readings::Instrument::Type::voltmeter)
      return false;
    // Caught at a moment, such as when it failed: no drop under load.
    if (!e.moment.empty()) return false;
    return (e.red == check.red && e.black == check.black) ||
           (e.red == check.black && e.black == check.red);
  }

  circuit::Solver& solver_;
  const vehicle::Vehicle& vehicle_;
  const readings::InstrumentSet& instruments_;
  std::span<const Entry> entries_;
  circuit::Overrides sound_;
  std::vector<Index> turns_;
  int epoch_ = 0;
  std::vector<Check> list_;
  std::vector<Check> interlocks_;
};

}  // namespace

std::vector<Check> checks_due(circuit::Solver& solver, const readings::InstrumentSet& instruments,
                              std::span<const Entry> entries) {
  return Checks(solver, instruments, entries).all();
}

Check::Result overall(std::span<const Check> checks) {
  bool all = true;
  for (const auto& check : checks) {
    if (check.result == Result::failed) return Result::failed;
    all = all && check.result == Result::passed;
  }
  return all ? Result::passed : Result::open;
}

}  // namespace faultloom::advice
