#pragma once

#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace faultloom::circuit {

/// An elimination order with the later neighbours of each node, ascending in elimination rank.
struct Ordering {
  std::vector<std::int32_t> order;               ///< node eliminated at each rank
  std::vector<std::vector<std::int32_t>> later;  ///< by rank: ranks of later neighbours
  double mean_path_length = 0;                   ///< nodes from a node to its root, mean
  double mean_path_work = 0;                     ///< multiply-adds along that path, mean
};

/// Picks the order with the least mean work along a path to the root.
/// @throws Error limit  terminals are joined so densely that every solution would take long
/// Complexity: a few times O(n^2) for a harness of n terminals; runs once per vehicle.
[[nodiscard]] Ordering choose_order(std::int32_t node_count,
                                    std::span<const std::pair<std::int32_t, std::int32_t>> edges);

}  // namespace faultloom::circuit
