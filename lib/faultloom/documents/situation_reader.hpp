#pragma once

#include <faultloom/vehicle/vehicle.hpp>

#include <string_view>
#include <vector>

namespace faultloom::documents {

/// What a vehicle is supposed to be like: controls, faults present, wires taken off.
struct Situation {
  vehicle::ControlState state;                   ///< position of every control
  std::vector<vehicle::Index> modes;             ///< fault modes present, ascending, each once
  std::vector<vehicle::Index> lifted_elements;   ///< wire elements taken off, ascending, each once
  std::vector<vehicle::Index> bridged_elements;  ///< with a lead across them; one at most
};

/// Reads a situation: JSON {"state":{control:position}, "modes":["K1/coil_open"], "lifted":["W7:from"],
/// "isolated":true}. Every member may be left out, and "" is the sound vehicle at rest.
///
/// @throws Error  with every problem found: wrong or unknown members (schema), names that don't exist
///         (reference), a mode named twice (duplicate)
/// Complexity: linear in the text, a linear search per name in the vehicle's short lists.
[[nodiscard]] Situation read_situation(std::string_view text, const vehicle::Vehicle& vehicle);

}  // namespace faultloom::documents
