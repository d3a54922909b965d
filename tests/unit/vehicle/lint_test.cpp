#include <faultloom/vehicle/lint.hpp>

#include "../documents/small_documents.hpp"

#include <gtest/gtest.h>

namespace faultloom::vehicle {
namespace {

/// Findings about the small vehicle after a patch.
std::vector<Problem> findings(std::string_view operations = "") {
  return lint(small::read(operations));
}

Problem only(std::string_view operations) {
  const auto found = findings(operations);
  EXPECT_EQ(found.size(), 1U) << operations;
  return found.empty() ? Problem{} : found.front();
}

constexpr const char* tidy = R"({"op":"add","path":"/parts/F1/probe","value":{}},
  {"op":"add","path":"/parts/S2","value":{"kind":"switch","title":"Pedal switch","zone":"dash",
    "operated_when":{"pedal":["down"]}}},
  {"op":"add","path":"/wires/W3/to","value":"S2.in"},
  {"op":"add","path":"/wires/W10","value":{"from":"S2.out","to":"S1.in","gauge_awg":16,"length_metre":0.2,
    "zone":"dash","class":"control"}})";

std::string tidy_and(std::string_view more) { return std::string(tidy) + "," + std::string(more); }

TEST(Lint, IsSilentAboutATidyVehicle) { EXPECT_TRUE(findings(tidy).empty()); }

TEST(Lint, FindsADanglingTerminal) {
  const auto found = only(tidy_and(R"({"op":"remove","path":"/wires/W9"})"));
  EXPECT_EQ(found.code, Code::dangling);
  EXPECT_EQ(found.pointer, "/parts/M1");
  EXPECT_NE(found.message.find("M1.b"), std::string::npos);
}

TEST(Lint, FindsAPinWiredOnOneSide) {
  const auto found = only(tidy_and(R"({"op":"add","path":"/connectors/X1/pins/-","value":"3"},
    {"op":"add","path":"/wires/W11","value":{"from":"BAT1.negative","to":"X1-3.plug","gauge_awg":16,
      "length_metre":1,"zone":"seat","class":"control"}})"));
  EXPECT_EQ(found.code, Code::dangling);
  EXPECT_EQ(found.pointer, "/connectors/X1/pins/2");
  EXPECT_NE(found.message.find("X1-3.socket"), std::string::npos);
}

TEST(Lint, FindsAPartWithoutWires) {
  const auto found = only(tidy_and(
      R"({"op":"add","path":"/parts/M2","value":{"kind":"load","title":"Fan","zone":"seat"}})"));
  EXPECT_EQ(found.code, Code::dangling);
  EXPECT_EQ(found.pointer, "/parts/M2");
}

TEST(Lint, SparePinsAndPolesAreNoFinding) {
  EXPECT_TRUE(
      findings(tidy_and(R"({"op":"add","path":"/connectors/X1/pins/-","value":"3"})")).empty());
}

TEST(Lint, FindsAnIsland) {
  const auto found = only(tidy_and(R"(
    {"op":"add","path":"/parts/M2","value":{"kind":"load","title":"Fan","zone":"seat"}},
    {"op":"add","path":"/parts/M3","value":{"kind":"load","title":"Fan","zone":"seat"}},
    {"op":"add","path":"/wires/W11","value":{"from":"M2.a","to":"M3.a","gauge_awg":16,"length_metre":1,
      "zone":"seat","class":"control"}},
    {"op":"add","path":"/wires/W12","value":{"from":"M2.b","to":"M3.b","gauge_awg":16,"length_metre":1,
      "zone":"seat","class":"control"}})"));
  EXPECT_EQ(found.code, Code::island);
  EXPECT_EQ(found.pointer, "/wires/W11");
  EXPECT_NE(found.message.find("W11, W12"), std::string::npos);
}

TEST(Lint, FindsAnIdleControl) {
  const auto found = findings();
  const auto idle = small::at(found, "/controls/pedal");
  EXPECT_EQ(idle.code, Code::idle_control);
}

TEST(Lint, AControlWhoseEveryPositionCountsIsIdle) {
  const auto found = only(tidy_and(
      R"({"op":"add","path":"/parts/S2/operated_when","value":{"pedal":["up","down"],"key":["on"]}})"));
  EXPECT_EQ(found.code, Code::idle_control);
  EXPECT_EQ(found.pointer, "/controls/pedal");
}

TEST(Lint, FindsATerminalOutOfReach) {
  const auto found =
      only(tidy_and(R"({"op":"add","path":"/parts/K1/probe","value":{"coil_return":false}})"));
  EXPECT_EQ(found.code, Code::unreachable);
  EXPECT_EQ(found.pointer, "/parts/K1/probe/coil_return");
}

TEST(Lint, FindsTwoWiresOnOnePin) {
  const auto found =
      only(tidy_and(R"({"op":"add","path":"/wires/W11","value":{"from":"S1.in","to":"X1-2.plug",
    "gauge_awg":16,"length_metre":1,"zone":"seat","class":"control"}})"));
  EXPECT_EQ(found.code, Code::shared_pin);
  EXPECT_EQ(found.pointer, "/wires/W5/from");
  EXPECT_NE(found.message.find("where W11 already is"), std::string::npos);
}

TEST(Lint, ReportsEverythingAtOnce) {
  const auto found = findings(
      R"({"op":"add","path":"/parts/M2","value":{"kind":"load","title":"Fan","zone":"seat"}},
    {"op":"add","path":"/parts/F1/probe","value":{"out":false}},
    {"op":"add","path":"/wires/W11","value":{"from":"S1.in","to":"X1-2.plug","gauge_awg":16,"length_metre":1,
      "zone":"seat","class":"control"}})");
  ASSERT_EQ(found.size(), 4U);
  EXPECT_EQ(found[0].code, Code::dangling);
  EXPECT_EQ(found[1].code, Code::idle_control);
  EXPECT_EQ(found[2].code, Code::unreachable);
  EXPECT_EQ(found[3].code, Code::shared_pin);
}

TEST(Lint, DormantElementsJoinNothing) {
  auto vehicle = small::read(tidy_and(R"({"op":"remove","path":"/wires/W9"})"));
  Element jumper;
  jumper.name = "M1.jumper";
  jumper.a = vehicle.terminal("M1.b");
  jumper.b = vehicle.datum;
  jumper.ohm = 0.05;
  jumper.dormant = true;
  vehicle.elements.push_back(jumper);
  const auto found = lint(vehicle);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].code, Code::dangling);
}

}  // namespace
}  // namespace faultloom::vehicle
