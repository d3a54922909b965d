#include "unit/circuit/shipped.hpp"

#include <faultloom/documents/vehicle_reader.hpp>

#include <fstream>
#include <sstream>

namespace faultloom::shipped {

vehicle::Vehicle read(const std::string& id) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/vehicles/" + id + ".json");
  std::stringstream text;
  text << file.rdbuf();
  return documents::read_vehicle(text.str(), documents::default_kinds());
}

vehicle::ControlState random_state(const vehicle::Vehicle& vehicle, std::mt19937_64& random) {
  vehicle::ControlState state;
  for (const auto& control : vehicle.controls)
    state.push_back(static_cast<vehicle::Index>(below(control.positions.size(), random)));
  return state;
}

std::vector<vehicle::Index> random_modes(const vehicle::Vehicle& vehicle, std::mt19937_64& random) {
  const auto first = static_cast<vehicle::Index>(below(vehicle.modes.size(), random));
  const auto second = static_cast<vehicle::Index>(below(vehicle.modes.size(), random));
  if (first == second || below(2, random) == 0) return {first};
  return {first, second};
}

circuit::BranchValues values_of(const circuit::Solver& solver) {
  circuit::BranchValues values;
  for (std::size_t e = 0; e < solver.circuit().vehicle().elements.size(); ++e) {
    const auto [siemens, ampere] = solver.branch(static_cast<vehicle::Index>(e));
    values.siemens.push_back(siemens);
    values.ampere.push_back(ampere);
  }
  return values;
}

std::vector<double> volts_of(circuit::Solver& solver) {
  std::vector<double> volts(solver.circuit().vehicle().terminals.size());
  solver.volts(volts);
  return volts;
}

}  // namespace faultloom::shipped
