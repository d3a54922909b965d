#include <faultloom/vehicle/harness.hpp>

#include <gtest/gtest.h>

#include <string>
#include <utility>

namespace faultloom::vehicle {
namespace {

/// A vehicle of bare terminals 0..count-1 joined by resistors.
Vehicle graph(int count, const std::vector<std::pair<Index, Index>>& edges, Index datum = 0) {
  Vehicle vehicle;
  vehicle.datum = datum;
  for (int t = 0; t < count; ++t) {
    vehicle.terminals.emplace_back();
    vehicle.terminals.back().name = "T." + std::to_string(t);
  }
  for (const auto& [a, b] : edges) {
    vehicle.elements.emplace_back();
    vehicle.elements.back().a = a;
    vehicle.elements.back().b = b;
  }
  return vehicle;
}

TEST(Harness, NumbersIslandsByTheirLowestTerminal) {
  const auto vehicle = graph(6, {{5, 1}, {2, 4}, {4, 3}});
  EXPECT_EQ(islands(vehicle), (std::vector<Index>{0, 1, 2, 2, 2, 1}));
}

TEST(Harness, FindsWhatIsJoinedToTheDatum) {
  auto vehicle = graph(5, {{0, 1}, {1, 2}, {3, 4}}, 2);
  EXPECT_EQ(joined_to_datum(vehicle), (std::vector<bool>{true, true, true, false, false}));
  vehicle.datum = none;
  EXPECT_EQ(joined_to_datum(vehicle), std::vector<bool>(5, false));
}

TEST(Harness, BlocksAreLoopsAndBridges) {
  // A triangle 0-1-2, a bridge 2-3, and two parallel elements 3-4.
  const auto vehicle = graph(5, {{0, 1}, {1, 2}, {2, 0}, {2, 3}, {3, 4}, {3, 4}});
  EXPECT_EQ(blocks(vehicle), (std::vector<Index>{0, 0, 0, 1, 2, 2}));
}

TEST(Harness, SectionsRunBetweenBranchPoints) {
  // 0 is the datum; 0-1-2-3 in a row, then 3-4-0 and 3-5-0 side by side.
  const auto vehicle = graph(6, {{1, 2}, {0, 1}, {2, 3}, {3, 4}, {4, 0}, {5, 3}, {0, 5}});
  const auto found = sections(vehicle);
  ASSERT_EQ(found.size(), 3U);
  EXPECT_EQ(found[0].elements, (std::vector<Index>{1, 0, 2}));
  EXPECT_EQ(found[0].from, 0);
  EXPECT_EQ(found[0].to, 3);
  EXPECT_EQ(found[1].elements, (std::vector<Index>{3, 4}));
  EXPECT_EQ(found[2].elements, (std::vector<Index>{6, 5}));
  EXPECT_EQ(section_of_elements(vehicle, found), (std::vector<Index>{0, 0, 0, 1, 1, 2, 2}));
}

TEST(Harness, TheDatumEndsASection) {
  const auto vehicle = graph(3, {{0, 1}, {1, 2}, {2, 0}}, 1);
  const auto found = sections(vehicle);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].elements.size(), 3U);
  EXPECT_EQ(found[0].from, 1);
  EXPECT_EQ(found[0].to, 1);
}

TEST(Harness, RingsAndEmptyVehiclesEnd) {
  const auto ring = graph(3, {{0, 1}, {1, 2}, {2, 0}}, none);
  ASSERT_EQ(sections(ring).size(), 1U);
  EXPECT_EQ(sections(ring)[0].elements.size(), 3U);
  const Vehicle empty;
  EXPECT_TRUE(islands(empty).empty());
  EXPECT_TRUE(blocks(empty).empty());
  EXPECT_TRUE(sections(empty).empty());
  EXPECT_TRUE(joined_to_datum(empty).empty());
}

TEST(Harness, LongChainsNeedNoDeepStack) {
  constexpr int length = 200'000;
  std::vector<std::pair<Index, Index>> edges;
  for (int t = 1; t < length; ++t) edges.emplace_back(t - 1, t);
  const auto vehicle = graph(length, edges);
  EXPECT_EQ(islands(vehicle).back(), 0);
  EXPECT_EQ(blocks(vehicle).back(), length - 2);
  EXPECT_EQ(sections(vehicle).size(), 1U);
}

TEST(Harness, DormantElementsAreLeftOut) {
  auto vehicle = graph(4, {{0, 1}, {1, 2}, {2, 0}, {2, 3}});
  vehicle.elements[2].dormant = true;
  vehicle.elements[3].dormant = true;
  EXPECT_EQ(islands(vehicle), (std::vector<Index>{0, 0, 0, 1}));
  EXPECT_EQ(blocks(vehicle), (std::vector<Index>{0, 1, none, none}));
  const auto found = sections(vehicle);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].elements, (std::vector<Index>{0, 1}));
  EXPECT_EQ(section_of_elements(vehicle, found), (std::vector<Index>{0, 0, none, none}));
}

}  // namespace
}  // namespace faultloom::vehicle
