#pragma once

#include "ngspice/spice.hpp"

#include <faultloom/vehicle/vehicle.hpp>

#include <vector>

namespace faultloom::witness {

/// Node voltages by terminal [V] from Gaussian elimination with pivoting on the assembled matrix in extended
/// precision (64-bit mantissa): for networks where double precision can't hold the matrix itself, because a
/// leakage of 1e-8 S is added to a conductance of 1e3 S.
[[nodiscard]] std::vector<double> dense_volts(const vehicle::Vehicle& vehicle,
                                              const std::vector<Part>& parts);

}  // namespace faultloom::witness
