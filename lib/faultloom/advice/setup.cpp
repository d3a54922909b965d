#include <faultloom/advice/setup.hpp>

namespace faultloom::advice {

bool needs_helper(const vehicle::Vehicle& vehicle, const Setup& setup) {
  for (std::size_t c = 0; c < setup.state.size(); ++c)
    if (vehicle.controls[c].needs_helper && setup.state[c] != vehicle.controls[c].rest) return true;
  return false;
}

double change_minutes(const vehicle::Vehicle& vehicle, const Prices& prices, const Setup& from,
                      const Setup& to) {
  double minutes = 0;
  for (std::size_t c = 0; c < to.state.size(); ++c)
    if (from.state[c] != to.state[c]) minutes += vehicle.controls[c].minutes;
  if (needs_helper(vehicle, to) && !needs_helper(vehicle, from)) minutes += prices.helper_minutes;
  if (to.isolated && !from.isolated) minutes += prices.isolate_minutes;
  if (to.lifted != vehicle::none && to.lifted != from.lifted) minutes += prices.lift_minutes;
  if (to.bridged != vehicle::none && to.bridged != from.bridged) minutes += prices.bridge_minutes;
  return minutes;
}

}  // namespace faultloom::advice
