#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <vector>

namespace faultloom::vehicle {

/// Looks for what is probably a slip in a vehicle that can be read.
///
/// Pointers refer to the vehicle document. In this order:
/// - dangling: a part, or an electrical path inside one, that wires reach at one end only or not at
///   all. A spare pole or connector pin, wired at neither end, is not reported, nor is a throw of a
///   switch whose other throws are in use.
/// - island: wires and parts that no path joins to pack negative, whatever the contacts do.
/// - idle_control: a control that no contact and no sign depends on, or whose positions all do alike.
/// - unreachable: a terminal marked as out of reach for any probe, or one whose zone is not known.
/// - shared_pin: a second wire on the same side of a connector pin.
///
/// Complexity: O(n log n) in terminals and elements.
[[nodiscard]] std::vector<Problem> lint(const Vehicle& vehicle);

}  // namespace faultloom::vehicle
