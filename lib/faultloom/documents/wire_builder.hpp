#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <optional>
#include <string>
#include <vector>

namespace faultloom::documents {

/// What a vehicle says about one wire, its names resolved.
struct WireUse {
  std::string id;
  std::string title;
  vehicle::Index from = vehicle::none;  ///< terminals
  vehicle::Index to = vehicle::none;
  double length_metre = 0;
  double area_mm2 = 0;
  bool power = false;
  vehicle::Index zone = vehicle::none;
  vehicle::Index loom = vehicle::none;
  std::string environment;
  double rate_factor = 1;
  std::vector<std::string> cautions;
  std::optional<vehicle::Repair> repair;  ///< of the conductor, in place of the kind's
};

/// Kinds of the conductors and joints of one class of wires.
struct WireKinds {
  const PartKind* conductor = nullptr;
  const PartKind* joint = nullptr;
};

/// Finds the kinds of a class of wires ("control" or "power"): `<class>_wire` and
/// `<class>_termination`, each with two terminals and a single resistor. Appends what is missing;
/// both are set or none.
[[nodiscard]] WireKinds wire_kinds(const KindCatalog& kinds, const std::string& wire_class,
                                   const std::string& pointer, std::vector<Problem>& problems);

/// Adds a wire: components for the conductor (ID), and its joints (ID:from, ID:to), and one element
/// for the three in series. Modes of each become changes of that element;
/// those that touch something are left to add_touches.
void add_wire(const WireUse& use, const WireKinds& kinds, vehicle::Vehicle& vehicle);

}  // namespace faultloom::documents
