#pragma once

#include <faultloom/circuit/solver.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <random>
#include <string>
#include <vector>

/// The shipped vehicles for circuit tests.
namespace faultloom::shipped {

inline const std::vector<std::string> ids{"seedling-hauler", "orchid-runner", "mulch-tug"};

[[nodiscard]] vehicle::Vehicle read(const std::string& id);

/// A random position for every control.
[[nodiscard]] vehicle::ControlState random_state(const vehicle::Vehicle& vehicle,
                                                 std::mt19937_64& random);
/// One or two different modes.
[[nodiscard]] std::vector<vehicle::Index> random_modes(const vehicle::Vehicle& vehicle,
                                                       std::mt19937_64& random);
/// A whole number from 0 to below `end`; std::uniform_int_distribution differs between standard libraries.
[[nodiscard]] inline std::size_t below(std::size_t end, std::mt19937_64& random) {
  return random() % end;
}
/// From 0 to below 1.
[[nodiscard]] inline double unit(std::mt19937_64& random) {
  return static_cast<double>(random() >> 11U) * 0x1p-53;
}

/// All branch values of the stage that the solver entered.
[[nodiscard]] circuit::BranchValues values_of(const circuit::Solver& solver);
/// All voltages in the stage that the solver entered, by terminal.
[[nodiscard]] std::vector<double> volts_of(circuit::Solver& solver);

}  // namespace faultloom::shipped
