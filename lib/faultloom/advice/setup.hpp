#pragma once

#include <faultloom/advice/prices.hpp>
#include <faultloom/vehicle/vehicle.hpp>

namespace faultloom::advice {

using vehicle::Index;

/// How a vehicle is made ready for a test.
struct Setup {
  vehicle::ControlState state;
  bool isolated = false;          ///< pack off and capacitors discharged
  Index lifted = vehicle::none;   ///< wire element with one end taken off
  Index bridged = vehicle::none;  ///< element with a fused lead across it

  friend auto operator<=>(const Setup&, const Setup&) = default;  // NOLINT
};

/// Minutes from one setup to another: controls that move, a helper to hold one, taking the pack off and
/// back on, an end off and back on, a lead on and off. What has to be undone is paid for with what made
/// it necessary.
[[nodiscard]] double change_minutes(const vehicle::Vehicle& vehicle, const Prices& prices,
                                    const Setup& from, const Setup& to);

/// Whether somebody has to hold a control in this setup.
[[nodiscard]] bool needs_helper(const vehicle::Vehicle& vehicle, const Setup& setup);

}  // namespace faultloom::advice
