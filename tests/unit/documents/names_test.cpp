#include <faultloom/documents/names.hpp>

#include <gtest/gtest.h>

namespace faultloom::documents {
namespace {

TEST(EditDistance, CountsSingleEdits) {
  EXPECT_EQ(edit_distance("zone", "zone", 2), 0U);
  EXPECT_EQ(edit_distance("zone", "zones", 2), 1U);
  EXPECT_EQ(edit_distance("zone", "znoe", 2), 1U);
  EXPECT_EQ(edit_distance("length", "lenght", 2), 1U);
  EXPECT_EQ(edit_distance("gauge", "guage_", 2), 2U);
  EXPECT_EQ(edit_distance("", "ab", 2), 2U);
  EXPECT_EQ(edit_distance("kind", "zone", 2), 3U);
  EXPECT_EQ(edit_distance("short", "a much longer word", 2), 3U);
}

TEST(ClosestName, TakesTheNearestWithinTwoEdits) {
  const std::vector<std::string> known{"kind", "title", "zone", "probe"};
  EXPECT_EQ(closest_name("knid", known), "kind");
  EXPECT_EQ(closest_name("zones", known), "zone");
  EXPECT_EQ(closest_name("colour", known), "");
  EXPECT_EQ(closest_name("ab", {"cd"}), "");
  EXPECT_EQ(suggestion("titel", known), "; did you mean 'title'?");
  EXPECT_EQ(suggestion("colour", known), "");
}

TEST(UnitOf, KnowsTheUnitsOfDocuments) {
  EXPECT_EQ(unit_of("coil_ohm"), "_ohm");
  EXPECT_EQ(unit_of("area_mm2"), "_mm2");
  EXPECT_EQ(unit_of("length_mm"), "");
  EXPECT_EQ(unit_of("_ohm"), "");
}

}  // namespace
}  // namespace faultloom::documents
