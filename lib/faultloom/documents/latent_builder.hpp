#pragma once

#include <faultloom/documents/kinds.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <string>
#include <vector>

/// Places where current flows only in a fault: wires put back exchanged, wires that touch
/// something. They are dormant elements, which modes make conduct.
namespace faultloom::documents {

/// Two terminals whose wires may have been put back exchanged.
struct SwapUse {
  vehicle::Component work;  ///< receives the mode; made unless a component of its id is there
  vehicle::Index a = vehicle::none;
  vehicle::Index b = vehicle::none;
  std::string a_name;  ///< as the mode names them: terminals of a part, pins of a connector
  std::string b_name;
  bool control_only = false;  ///< cables of the power circuit can't be mixed up here
};

/// What earlier hands did to a part or connector: id, title, place and repair, without modes.
/// `owner` needs id, title and place.
[[nodiscard]] vehicle::Component earlier_work_at(const vehicle::Component& owner, double minutes,
                                                 double price_usd);

/// Adds a mode "swapped_A_B" for each use where either terminal carries exactly one wire, those two
/// differ, and do not come from the same terminal. The wires must be there. O(n log n).
void add_swaps(const std::vector<SwapUse>& uses, vehicle::Vehicle& vehicle);

/// Adds to each control wire of a loom the modes of its kind that touch pack negative or the next
/// control wire of the loom (the last one's next is the first if there are more than two). A mode
/// whose two ends are the same terminal is left out. The datum must be known. O(n).
void add_touches(const PartKind& conductor, vehicle::Vehicle& vehicle);

}  // namespace faultloom::documents
