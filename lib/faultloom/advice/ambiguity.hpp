#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/belief/faults.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/instrument.hpp>
#include <span>
#include <vector>

/// Ambiguity groups: sets of faults with the same answer to every available test.
namespace faultloom::advice {

using vehicle::Index;

/// What may be used to tell faults apart.
struct Reach {
  std::vector<int> instruments{};     ///< indices into the InstrumentSet; empty: all of them
  std::vector<Index> closed_zones{};  ///< no probe and no look gets in there
  bool allow_live = true;  ///< false: only readings with the pack isolated, so no signs either
  bool signs = true;       ///< what can be heard, seen or felt
  bool looks = false;      ///< inspecting components
  bool lifting = false;    ///< taking off one wire end with the pack isolated
};

/// Two answers to one test count as different if the total variation distance of their
/// distributions, misreadings included, is at least this: half of all tries of a practitioner
/// would tell them apart.
inline constexpr double told_apart = 0.5;

/// Faults that no available test tells apart.
struct AmbiguityGroup {
  std::vector<std::int32_t> faults;  ///< numbers in the FaultSpace, ascending
  double weight = 0;                 ///< sum of the faults' weights
  std::vector<Index> components;     ///< that the faults' modes belong to, ascending
  /// The same, a wire with its terminations as one, ascending.
  std::vector<std::int32_t> variables;
  bool shows_nothing = false;  ///< every member leaves the circuit as it is ("silent" modes)
  bool like_no_fault = false;  ///< some member is not told apart from the healthy vehicle
  bool intermittent = false;   ///< some member comes and goes: it counts as there during each test
};

/// The ambiguity groups of some faults taken one at a time (no fault is not among them), heaviest
/// first, ties by faults.
///
/// Tests are: each combination of controls (if live work is allowed) and the rest state with the
/// pack isolated; there each instrument from each reachable terminal to the datum and across each
/// element, a clamp round each wire, each sign. Resistance between two terminals that no element
/// joins is not among them. A fault's code for a test is its most probable outcome, ties to the
/// first. Faults of equal codes are linked, and so are faults for which no test reaches
/// `told_apart`; a group is what hangs together by links, so its ends may be further apart than
/// its neighbours. More tests never join groups.
///
/// @param faults   empty: all; repeated numbers count once
/// @param weights  by fault number of the space, at least 0; empty: 1 for each fault
/// @throws Error argument   a fault, instrument or zone that does not exist, or weights of another
///                          number
///               cancelled
/// Complexity: one solution per fault and distinct contact state, then tests x distinct
/// faults^2 / 64 bit operations; memory grows with distinct faults x ports that they change.
[[nodiscard]] std::vector<AmbiguityGroup> ambiguity_groups(
    const belief::FaultSpace& space, circuit::Solver& solver,
    const readings::InstrumentSet& instruments, const Reach& reach,
    std::span<const std::int32_t> faults = {}, std::span<const double> weights = {},
    const Progress& progress = {});

}  // namespace faultloom::advice
