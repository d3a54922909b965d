#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/base/progress.hpp>
#include <faultloom/circuit/solver.hpp>
#include <vector>

namespace faultloom::circuit {

/// Whether each mode shows anywhere: at a reachable terminal by more than a millivolt or a percent of
/// source resistance, in a contact or sign, in any combination of control positions; or to the eye.
/// Complexity: modes times control combinations settled and solved.
[[nodiscard]] std::vector<bool> observable_modes(const Circuit& circuit,
                                                 const Progress& progress = {});

/// One problem (Code::silent_mode) for each mode that changes nothing observable, at /parts/ID or the like.
[[nodiscard]] std::vector<Problem> silent_modes(const Circuit& circuit,
                                                const Progress& progress = {});

/// Every combination of control positions, first control slowest.
[[nodiscard]] std::vector<vehicle::ControlState> control_combinations(
    const vehicle::Vehicle& vehicle);

}  // namespace faultloom::circuit
