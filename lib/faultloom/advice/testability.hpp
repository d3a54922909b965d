#pragma once

#include <faultloom/advice/ambiguity.hpp>

/// How far the faults of a vehicle can be told apart at all: fault detection and fault isolation figures
/// in the manner of IEEE Std 1522 (from memory).
namespace faultloom::advice {

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
  /// Indices of the groups of more than one thing, by weight x (things - 1), worst first.
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
