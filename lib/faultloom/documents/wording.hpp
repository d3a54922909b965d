#pragma once

#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/response.hpp>

#include <span>
#include <string>
#include <string_view>
#include <vector>

/// Plain words for readings, signs and states, as answers show them.
namespace faultloom::documents {

/// A number with its unit: four significant digits, no exponent, "kohm" and "Mohm" for large
/// resistances: "48.2 V", "0.053 V", "12.5 kohm". Voltages and currents below 0.0005 are "0".
/// @param unit  "V", "ohm" or "A"
[[nodiscard]] std::string quantity_text(double value, std::string_view unit);

/// Controls that are not at rest, in the order they are moved: "key on, selector forward, pedal pressed";
/// "all at rest" if none is moved.
[[nodiscard]] std::string state_text(const vehicle::Vehicle& vehicle,
                                     const vehicle::ControlState& state);

/// What is taken off: "pack isolated, W7 lifted"; "" if nothing is.
[[nodiscard]] std::string lifted_text(const vehicle::Vehicle& vehicle,
                                      std::span<const vehicle::Index> lifted_elements);

/// Outcome as a person says it: "can't reach", "not sure", "dim".
[[nodiscard]] std::string outcome_text(readings::Outcome outcome);

/// One line for an entry: "48.2 V at K1.coil_feed against BAT1.negative, key on, selector forward",
/// "filament lamp dim between K1.coil_feed and K1.coil_return, key on", "contactor click (K1): no, key
/// on", "look at W12: clean".
[[nodiscard]] std::string entry_text(const vehicle::Vehicle& vehicle,
                                     const readings::InstrumentSet& instruments,
                                     const readings::Entry& entry);

/// What an instrument would most likely show on a port: "about 48.2 V", "overload", "dim", "silent". For a
/// clamp `port.volt` holds the current.
[[nodiscard]] std::string shown_text(const readings::InstrumentSet& instruments,
                                     const readings::Instrument& instrument,
                                     const readings::Thevenin& port);

}  // namespace faultloom::documents
