#pragma once

#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/response.hpp>
#include <faultloom/readings/slip.hpp>

#include <span>
#include <string>
#include <string_view>
#include <vector>

/// Plain words for readings, signs and states, as answers show them.
namespace faultloom::documents {

/// An id in words: "put_right" becomes "put right".
[[nodiscard]] std::string words_of(std::string name);

/// "replace K1" at the start of a sentence: "Replace K1".
[[nodiscard]] std::string first_capital(std::string text);

/// "Filament lamp" inside a sentence: "filament lamp"; "LED tester" stays as it is.
[[nodiscard]] std::string inside_sentence(std::string title);

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
/// "filament lamp: dim between K1.coil_feed and K1.coil_return, key on", "contactor click (K1): no, key
/// on", "look at W12: clean", "look at tow switch: set wrong", "driver: only one direction dead: yes". What
/// provoked it, the sign that told when and the visit follow: ", wiggled at dash, visit 2".
/// @param cue_title  of a cue, "" if not known
[[nodiscard]] std::string entry_text(const vehicle::Vehicle& vehicle,
                                     const readings::InstrumentSet& instruments,
                                     const readings::Entry& entry, std::string_view cue_title = {});

/// As documents write it: "wiggle", "heat", "wet", "" for nothing.
[[nodiscard]] std::string_view provocation_text(readings::Entry::Provocation provocation) noexcept;

/// What probably went wrong with an entry that doesn't fit: "looks like the drive pedal was not
/// pressed", "looks like the red probe sat on X1-4.plug instead of X1-3.plug", "looks like the probe made no
/// contact", "looks like a slip in range or note". A sign, look or cue was missed, imagined or mistaken.
[[nodiscard]] std::string slip_text(const vehicle::Vehicle& vehicle,
                                    const readings::InstrumentSet& instruments,
                                    const readings::Entry& entry, readings::Slip slip);

/// What an instrument would most likely show on a port: "about 48.2 V", "overload", "dim", "silent". For a
/// clamp `port.volt` holds the current.
[[nodiscard]] std::string shown_text(const readings::InstrumentSet& instruments,
                                     const readings::Instrument& instrument,
                                     const readings::Thevenin& port);

}  // namespace faultloom::documents
