#pragma once

#include <faultloom/circuit/solver.hpp>

#include <span>
#include <string>
#include <vector>

/// Text forms of results for other programs.
namespace faultloom::reports {

using vehicle::Index;

/// Resistance that stands for an open element in a deck whose elements may be altered [ohm].
inline constexpr double open_ohm = 1e20;

/// The settled network of a situation as a SPICE netlist: a title line, comments that say which node is
/// which terminal, a resistor for each conducting element, in series with a voltage source if the element
/// has an EMF, a resistor for each insulation leakage, `.op` and `.end`. Pack negative is node 0; elements
/// that don't conduct are comments. Numbers have 17 significant digits, so that a simulator gets the
/// library's own values. Same arguments, same text.
///
/// @param solver  becomes the solver of the healthy vehicle again
/// @param state   position of every control
/// @param modes   fault modes present
/// @param lifted   wire elements taken off
/// @param bridged  elements with a lead across them
/// @throws Error argument  as Solver::stage
/// Complexity: one settled network and O(elements + terminals) text.
[[nodiscard]] std::string spice_deck(circuit::Solver& solver, const vehicle::ControlState& state,
                                     std::span<const Index> modes = {},
                                     std::span<const Index> lifted = {},
                                     std::span<const Index> bridged = {});

/// A netlist with all elements of a vehicle in it, for programs that alter its values.
struct SpiceDeck {
  std::string text;
  std::vector<std::string> resistor_names;  ///< by element
  std::vector<std::string> source_names;    ///< by element, "" if it has no EMF
  std::vector<std::string> node_names;      ///< by terminal, "0" for pack negative
};

/// Every element of the healthy vehicle as if it conducted: contacts closed, diodes in forward direction.
/// Names depend on the vehicle alone. To open an element set its resistor to open_ohm; a source's own
/// value is V(a) - V(b) without load [V].
[[nodiscard]] SpiceDeck complete_spice_deck(const circuit::Circuit& circuit);

}  // namespace faultloom::reports
