#pragma once

#include <faultloom/vehicle/vehicle.hpp>

#include <boost/graph/adjacency_list.hpp>

namespace faultloom::vehicle {

/// Terminals as vertices; each edge carries the index of its element. Elements may be parallel.
/// Dormant ones are left out: no current flows there in a healthy vehicle.
using HarnessGraph =
    boost::adjacency_list<boost::vecS, boost::vecS, boost::undirectedS, boost::no_property,
                          boost::property<boost::edge_index_t, Index>>;

/// The vehicle's harness for algorithms of Boost.Graph. O(terminals + elements).
[[nodiscard]] inline HarnessGraph harness_graph(const Vehicle& vehicle) {
  HarnessGraph graph(vehicle.terminals.size());
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    const auto& element = vehicle.elements[e];
    if (element.dormant) continue;
    boost::add_edge(static_cast<std::size_t>(element.a), static_cast<std::size_t>(element.b),
                    static_cast<Index>(e), graph);
  }
  return graph;
}

}  // namespace faultloom::vehicle
