#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// How a vehicle uses a kind: what a part, a connector contact or a wire says about itself.
struct PartUse {
  const PartKind* kind = nullptr;
  vehicle::Component component;  ///< everything but modes, terminals and elements
  std::map<std::string, double, std::less<>> parameters;  ///< in place of the kind's values
  bool has_operated = false;
  vehicle::Condition operated;  ///< when the part counts as operated
  double terminal_minutes = 0;  ///< to place a probe [min]
  double leakage_ohm = 0;       ///< per terminal [ohm]
  std::string terminal_prefix;  ///< "K1."
  std::string pointer;          ///< the use's place in the vehicle document
};

/// Value of a quantity as the use sets it.
[[nodiscard]] double value_of(const Quantity& quantity, const PartUse& use);

/// What a mode says about itself, all but its changes.
[[nodiscard]] vehicle::Mode mode_from(const KindMode& source, vehicle::Index component);

/// Adds a part's component, terminals, elements, atoms, signs and modes to the vehicle.
///
/// Modes that earlier hands caused go to a second component, PART:work, which follows the part's.
/// A `closed` condition is the named contact's condition in its place, with the same atoms; a
/// `signal` is the input's atom. A diode conducts while an atom of its own holds, rising and
/// falling at its forward voltage.
/// @returns index of the component
/// Appends: reference  the kind asks whether the part is operated and the part does not say when;
///          value      thresholds that cross with this part's parameters.
/// Complexity: linear in the kind's size.
vehicle::Index add_part(const PartUse& use, vehicle::Vehicle& vehicle,
                        std::vector<Problem>& problems);

/// Appends "all of" or "any of" the conditions to a condition in postfix order.
[[nodiscard]] vehicle::Condition combined(const std::vector<vehicle::Condition>& operands,
                                          bool all);

}  // namespace faultloom::documents
