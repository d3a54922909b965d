#include <faultloom/vehicle/harness.hpp>

#include <faultloom/vehicle/harness_graph.hpp>

#include <boost/graph/biconnected_components.hpp>
#include <boost/graph/connected_components.hpp>
#include <boost/property_map/property_map.hpp>

#include <algorithm>
#include <map>
#include <utility>

namespace faultloom::vehicle {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// Numbers groups from 0 in the order in which they appear.
void renumber(std::vector<Index>& groups) {
  std::vector<Index> fresh(groups.size(), none);
  Index next = 0;
  for (auto& group : groups) {
    if (group == none) continue;
    if (fresh[at(group)] == none) fresh[at(group)] = next++;
    group = fresh[at(group)];
  }
}

/// Follows elements in a row.
class Walker {
 public:
  explicit Walker(const Vehicle& vehicle)
      : vehicle_(vehicle),
        touching_(vehicle.terminals.size()),
        used_(vehicle.elements.size(), false) {
    for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
      used_[e] = vehicle.elements[e].dormant;
      if (used_[e]) continue;
      touching_[at(vehicle.elements[e].a)].push_back(static_cast<Index>(e));
      touching_[at(vehicle.elements[e].b)].push_back(static_cast<Index>(e));
    }
  }

  [[nodiscard]] bool used(Index element) const { return used_[at(element)]; }

  Section section_through(Index element) {
    used_[at(element)] = true;
    Section section;
    section.from = vehicle_.elements[at(element)].a;
    const auto before = follow(section.from);
    section.elements.assign(before.rbegin(), before.rend());
    section.elements.push_back(element);
    section.to = vehicle_.elements[at(element)].b;
    const auto after = follow(section.to);
    section.elements.insert(section.elements.end(), after.begin(), after.end());
    return section;
  }

 private:
  /// Elements from a terminal on to the next branch point, which `end` becomes.
  std::vector<Index> follow(Index& end) {
    std::vector<Index> chain;
    while (end != vehicle_.datum && touching_[at(end)].size() == 2) {
      const auto& pair = touching_[at(end)];
      const auto next = used_[at(pair[0])] ? pair[1] : pair[0];
      if (used_[at(next)]) break;
      used_[at(next)] = true;
      chain.push_back(next);
      const auto& element = vehicle_.elements[at(next)];
      end = element.a == end ? element.b : element.a;
    }
    return chain;
  }

  const Vehicle& vehicle_;
  std::vector<std::vector<Index>> touching_;
  std::vector<bool> used_;
};

}  // namespace

std::vector<Index> islands(const Vehicle& vehicle) {
  std::vector<Index> groups(vehicle.terminals.size(), none);
  if (groups.empty()) return groups;
  const auto graph = harness_graph(vehicle);
  boost::connected_components(
      graph, boost::make_iterator_property_map(groups.begin(), get(boost::vertex_index, graph)));
  renumber(groups);
  return groups;
}

std::vector<bool> joined_to_datum(const Vehicle& vehicle) {
  const auto groups = islands(vehicle);
  std::vector<bool> joined(groups.size(), false);
  if (vehicle.datum == none) return joined;
  for (std::size_t t = 0; t < groups.size(); ++t)
    joined[t] = groups[t] == groups[at(vehicle.datum)];
  return joined;
}

std::vector<Index> blocks(const Vehicle& vehicle) {
  std::vector<Index> groups(vehicle.elements.size(), none);
  if (groups.empty()) return groups;
  // The algorithm overlooks a second edge between the same two vertices; such an element is in the
  // block of the first.
  HarnessGraph graph(vehicle.terminals.size());
  std::map<std::pair<Index, Index>, std::size_t> first_between;
  std::vector<std::size_t> first(groups.size());
  for (std::size_t e = 0; e < groups.size(); ++e) {
    first[e] = e;
    if (vehicle.elements[e].dormant) continue;
    const auto [low, high] = std::minmax(vehicle.elements[e].a, vehicle.elements[e].b);
    first[e] = first_between.emplace(std::pair{low, high}, e).first->second;
    if (first[e] == e) boost::add_edge(at(low), at(high), static_cast<Index>(e), graph);
  }
  boost::biconnected_components(
      graph, boost::make_iterator_property_map(groups.begin(), get(boost::edge_index, graph)));
  for (std::size_t e = 0; e < groups.size(); ++e) groups[e] = groups[first[e]];
  renumber(groups);
  return groups;
}

std::vector<Section> sections(const Vehicle& vehicle) {
  Walker walker(vehicle);
  std::vector<Section> result;
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e)
    if (!walker.used(static_cast<Index>(e)))
      result.push_back(walker.section_through(static_cast<Index>(e)));
  return result;
}

std::vector<Index> section_of_elements(const Vehicle& vehicle,
                                       const std::vector<Section>& sections) {
  std::vector<Index> result(vehicle.elements.size(), none);
  for (std::size_t s = 0; s < sections.size(); ++s)
    for (const auto element : sections[s].elements) result[at(element)] = static_cast<Index>(s);
  return result;
}

}  // namespace faultloom::vehicle
