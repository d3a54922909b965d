#pragma once

#include <faultloom/vehicle/vehicle.hpp>

#include <vector>

/// The harness as a graph: terminals are vertices, elements (wires, contacts, part elements) are
/// edges. Whether contacts are open or closed does not matter here. Dormant elements are left out.
namespace faultloom::vehicle {

/// Elements in a row between two branch points: one current flows through all of them.
struct Section {
  std::vector<Index> elements;  ///< in order from `from` to `to`
  Index from = none;            ///< terminals at the ends
  Index to = none;
};

/// Which island each terminal belongs to, in terminal order. Terminals of one island are joined by
/// elements; islands are numbered from 0 by their lowest terminal. O(terminals + elements).
[[nodiscard]] std::vector<Index> islands(const Vehicle& vehicle);

/// Whether each terminal is joined to the datum by elements, in terminal order. All false without a
/// datum. O(terminals + elements).
[[nodiscard]] std::vector<bool> joined_to_datum(const Vehicle& vehicle);

/// Which block each element belongs to, in element order: two elements are in one block if some
/// loop passes through both (biconnected components). An element alone in its block is a bridge,
/// the only way for current between what it joins. Blocks are numbered from 0 by their lowest
/// element; dormant elements are in none. O(n log n).
[[nodiscard]] std::vector<Index> blocks(const Vehicle& vehicle);

/// The elements as sections in series: chains whose inner terminals touch exactly two elements and
/// are not the datum. Every element that is not dormant is in exactly one section; sections are
/// ordered by their lowest element. O(terminals + elements).
[[nodiscard]] std::vector<Section> sections(const Vehicle& vehicle);

/// Which section each element belongs to, in element order, as indices into sections(); none for
/// dormant ones.
[[nodiscard]] std::vector<Index> section_of_elements(const Vehicle& vehicle,
                                                     const std::vector<Section>& sections);

}  // namespace faultloom::vehicle
