#include <faultloom/circuit/ordering.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <boost/graph/adjacency_list.hpp>
#include <boost/graph/minimum_degree_ordering.hpp>
#include <boost/property_map/property_map.hpp>
#include <faultloom/base/error.hpp>
#include <limits>
#include <set>

namespace faultloom::circuit {
namespace {

/// Squares of later neighbours, summed over the nodes. The largest shipped vehicle has some thousands; what
/// joins hundreds of terminals to each other crosswise is no harness, and each network would take seconds.
constexpr std::size_t most_work = 1000000;

using Adjacency = std::vector<std::set<std::int32_t>>;

Adjacency adjacency(std::int32_t node_count,
                    std::span<const std::pair<std::int32_t, std::int32_t>> edges) {
  Adjacency neighbours(static_cast<std::size_t>(node_count));
  for (const auto& [a, b] : edges) {
    if (a < 0 || b < 0 || a == b) continue;
    neighbours[static_cast<std::size_t>(a)].insert(b);
    neighbours[static_cast<std::size_t>(b)].insert(a);
  }
  return neighbours;
}

/// Joins a node's neighbours to each other and removes the node.
std::vector<std::int32_t> remove_node(Adjacency& graph, std::int32_t node) {
  auto& star = graph[static_cast<std::size_t>(node)];
  std::vector<std::int32_t> neighbours(star.begin(), star.end());
  for (const auto a : neighbours) {
    graph[static_cast<std::size_t>(a)].erase(node);
    for (const auto b : neighbours)
      if (a != b) graph[static_cast<std::size_t>(a)].insert(b);
  }
  star.clear();
  return neighbours;
}

Ordering finish(std::vector<std::int32_t> order, Adjacency graph) {
  Ordering result;
  std::vector<std::int32_t> rank(order.size());
  for (std::size_t k = 0; k < order.size(); ++k)
    rank[static_cast<std::size_t>(order[k])] = static_cast<std::int32_t>(k);
  for (const auto node : order) {
    auto neighbours = remove_node(graph, node);
    for (auto& n : neighbours) n = rank[static_cast<std::size_t>(n)];
    std::sort(neighbours.begin(), neighbours.end());
    result.later.push_back(std::move(neighbours));
  }
  std::vector<double> length(order.size());
  std::vector<double> work(order.size());
  for (std::size_t k = order.size(); k-- > 0;) {
    const auto d = static_cast<double>(result.later[k].size());
    const auto up =
        result.later[k].empty() ? order.size() : static_cast<std::size_t>(result.later[k].front());
    length[k] = 1 + (up < order.size() ? length[up] : 0);
    work[k] = 6 + 4 * d + d * d + (up < order.size() ? work[up] : 0);
    result.mean_path_length += length[k] / static_cast<double>(order.size());
    result.mean_path_work += work[k] / static_cast<double>(order.size());
  }
  result.order = std::move(order);
  return result;
}

/// Minimum degree where a tall subtree counts against a node: `height_weight` trades fill for depth.
std::vector<std::int32_t> shallow_order(Adjacency graph, double height_weight) {
  const auto n = graph.size();
  std::vector<double> height(n, 0);
  std::vector<bool> gone(n, false);
  std::vector<std::int32_t> order;
  std::size_t work = 0;
  while (order.size() < n) {
    std::size_t best = n;
    double best_score = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < n; ++i) {
      if (gone[i]) continue;
      const double score = static_cast<double>(graph[i].size()) + height_weight * height[i];
      if (score < best_score) {
        best_score = score;
        best = i;
      }
    }
    work += graph[best].size() * graph[best].size();
    if (work > most_work)
      throw Error(Code::limit,
                  fmt::format("The wiring is meshed too densely: {} of its {} terminals are joined "
                              "crosswise; leave out what carries no current of interest",
                              n - order.size(), n),
                  "/wires");
    gone[best] = true;
    order.push_back(static_cast<std::int32_t>(best));
    for (const auto next : remove_node(graph, static_cast<std::int32_t>(best))) {
      auto& h = height[static_cast<std::size_t>(next)];
      h = std::max(h, height[best] + 1);
    }
  }
  return order;
}

std::vector<std::int32_t> multiple_minimum_degree(const Adjacency& graph) {
  using Graph = boost::adjacency_list<boost::vecS, boost::vecS, boost::directedS>;
  // Looking for the next degree, Boost 1.74 may read one list beyond that of the highest: nodes joined to
  // nothing make room for it.
  constexpr std::size_t spare = 2;
  const auto n = graph.size() + spare;
  Graph g(n);
  for (std::size_t i = 0; i < graph.size(); ++i)
    for (const auto j : graph[i]) boost::add_edge(i, static_cast<std::size_t>(j), g);
  std::vector<int> inverse_perm(n, 0);
  std::vector<int> perm(n, 0);
  std::vector<int> degree(n, 0);
  std::vector<int> supernode_sizes(n, 1);
  const auto id = boost::get(boost::vertex_index, g);
  const auto map = [&](std::vector<int>& values) {
    return boost::make_iterator_property_map(values.begin(), id);
  };
  boost::minimum_degree_ordering(g, map(degree), inverse_perm.data(), perm.data(),
                                 map(supernode_sizes), 0, id);
  std::erase_if(inverse_perm,
                [&](int node) { return static_cast<std::size_t>(node) >= graph.size(); });
  return {inverse_perm.begin(), inverse_perm.end()};
}

}  // namespace

Ordering choose_order(std::int32_t node_count,
                      std::span<const std::pair<std::int32_t, std::int32_t>> edges) {
  const auto graph = adjacency(node_count, edges);
  std::vector<Ordering> trials;
  for (const double weight : {0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5})
    trials.push_back(finish(shallow_order(graph, weight), graph));
  if (node_count > 1) trials.push_back(finish(multiple_minimum_degree(graph), graph));
  return *std::min_element(trials.begin(), trials.end(), [](const Ordering& a, const Ordering& b) {
    return a.mean_path_work < b.mean_path_work;
  });
}

}  // namespace faultloom::circuit
