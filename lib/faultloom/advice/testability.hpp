#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/belief/faults.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/instrument.hpp>
#include <span>
#include <vector>

/// How far the faults of a vehicle can be told apart at all: ambiguity groups (sets of faults
/// with the same answer to every available test), fault detection and fault isolation figures in
/// the manner of IEEE Std 1522 (from memory), and the one extra thing that would split a group.
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

/// The one extra thing that would split a group best.
struct Splitter {
  enum class Type { nothing, look, lift, instrument, zone };
  Type type = Type::nothing;
  Index component = vehicle::none;  ///< look: at this component; lift: this wire's component
  bool isolated = false;            ///< lift: only with the pack isolated, else also live
  int instrument = -1;              ///< instrument: not at hand so far
  Index zone = vehicle::none;       ///< zone: closed so far
  /// Expected reduction of 1 - sum w_v^2, w_v being the share of variable v (Variable of the
  /// space) in the group: by how much the chance falls that two draws from the group are
  /// different things.
  double separated = 0;
  /// The group after the test, heaviest part first; a look does not split for certain: one part.
  std::vector<std::vector<std::int32_t>> parts{};
};

/// Tries looks at the group's components, lifting one end of wires that touch them (at most 24,
/// nearest first; live only for control wires, in one state per contact state of the healthy
/// vehicle), each instrument not at hand and each closed zone. Things that `reach` already allows
/// are not tried. Groups of one component are not split; of larger groups the heaviest 48 faults
/// are looked at, and `parts` holds only these. Ties go to the order of Splitter::Type. A fault
/// with several modes looks like each of them equally often.
/// @throws Error argument, cancelled  as ambiguity_groups()
/// Complexity: as ambiguity_groups() of the group, once per thing tried.
[[nodiscard]] Splitter best_splitter(const belief::FaultSpace& space,
                                     const readings::InstrumentSet& instruments, const Reach& reach,
                                     const AmbiguityGroup& group,
                                     std::span<const double> weights = {},
                                     const Progress& progress = {});

/// Figures of merit for a vehicle and a way of working, all relative to the probability of any
/// fault.
struct Testability {
  double detected = 0;         ///< fault detection: share that some test tells from no fault
  double isolated_to_one = 0;  ///< fault isolation: share in groups of one replaceable thing
  double isolated_to_two = 0;  ///< share in groups of at most two
  double mean_group_size = 0;  ///< replaceable things in the group of a fault drawn by weight
  double weight = 0;           ///< sum of the weights given
  std::size_t tests = 0;  ///< looked at; with a wire lifted, once for each group it was made on
  /// That tell different pairs of faults apart; useless ones are left out.
  std::size_t distinct_tests = 0;
  std::vector<AmbiguityGroup> groups;  ///< all, as ambiguity_groups() gives them
  /// Indices of the groups of more than one thing, by weight x (things - 1), worst first; at most
  /// 10.
  std::vector<std::size_t> worst;
};

/// Testability of a vehicle for those who design it or write its model.
/// @param prior_by_fault  weights by fault number; empty: all alike
/// @param wires_as_one    a wire and its terminations are one replaceable thing
/// @throws Error argument, cancelled  as ambiguity_groups(). Complexity: the same.
[[nodiscard]] Testability testability(const belief::FaultSpace& space, circuit::Solver& solver,
                                      const readings::InstrumentSet& instruments,
                                      const Reach& reach,
                                      std::span<const double> prior_by_fault = {},
                                      const Progress& progress = {}, bool wires_as_one = true);

}  // namespace faultloom::advice
