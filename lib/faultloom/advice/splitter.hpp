#pragma once

#include <faultloom/advice/ambiguity.hpp>

namespace faultloom::advice {

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

}  // namespace faultloom::advice
