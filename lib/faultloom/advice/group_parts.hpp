#pragma once

#include <faultloom/advice/grouping.hpp>

/// What ambiguity groups, their splitters and the figures of a vehicle share.
namespace faultloom::advice {

/// Weight of a fault; 1 if none are given.
[[nodiscard]] double weight_of(std::span<const double> weights, std::int32_t fault);

/// The faults in order, each once; all of the space if none is given.
/// @throws Error argument  there is no such fault, or weights are of another number
[[nodiscard]] std::vector<std::int32_t> checked_faults(const belief::FaultSpace& space,
                                                       std::span<const std::int32_t> faults,
                                                       std::span<const double> weights);

/// Wires that end at terminals of the components or are among them, the group's own first; at most 24.
[[nodiscard]] std::vector<Index> wires_near(const vehicle::Vehicle& vehicle,
                                            std::span<const Index> components);

/// Groups by every test that the reach allows.
[[nodiscard]] Grouping group_by_all(const belief::FaultSpace& space, circuit::Solver& solver,
                                    const readings::InstrumentSet& instruments, const Reach& reach,
                                    std::span<const std::int32_t> faults, const Progress& progress);

/// Groups with what there is to say of them, heaviest first; empties `grouping.groups`.
[[nodiscard]] std::vector<AmbiguityGroup> described(const belief::FaultSpace& space,
                                                    Grouping& grouping,
                                                    std::span<const double> weights);

}  // namespace faultloom::advice
