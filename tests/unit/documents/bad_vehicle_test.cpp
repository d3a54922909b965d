#include "small_documents.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace faultloom::documents {
namespace {

using small::at;
using small::vehicle_problems;

Problem only(std::string_view operations) {
  const auto problems = vehicle_problems(operations);
  EXPECT_EQ(problems.size(), 1U) << operations;
  for (const auto& problem : problems) EXPECT_EQ(problem.message.find('\n'), std::string::npos);
  return problems.empty() ? Problem{} : problems.front();
}

void expect(std::string_view operations, Code code, std::string_view pointer,
            std::string_view part) {
  const auto problem = only(operations);
  EXPECT_EQ(name_of(problem.code), name_of(code)) << operations;
  EXPECT_EQ(problem.pointer, pointer);
  EXPECT_NE(problem.message.find(part), std::string::npos) << problem.message;
}

TEST(BadVehicle, UnknownKeys) {
  expect(
      R"({"op":"add","path":"/parts/K1/zoen","value":"seat"},{"op":"remove","path":"/parts/K1/zone"})",
      Code::schema, "/parts/K1/zoen", "did you mean 'zone'?");
  expect(R"({"op":"add","path":"/colour","value":"green"})", Code::schema, "/colour",
         "Unknown key 'colour'");
  EXPECT_TRUE(vehicle_problems(R"({"op":"add","path":"/x-colour","value":"green"})").empty());
}

TEST(BadVehicle, WrongUnits) {
  expect(R"({"op":"move","from":"/wires/W2/length_metre","path":"/wires/W2/length_mm"})",
         Code::value, "/wires/W2/length_mm", "'length_metre'");
  expect(R"({"op":"move","from":"/leakage_ohm","path":"/leakage_megohm"})", Code::value,
         "/leakage_megohm", "'leakage_ohm'");
  expect(R"({"op":"move","from":"/zones/seat/open_minutes","path":"/zones/seat/open_seconds"})",
         Code::value, "/zones/seat/open_seconds", "'open_minutes'");
}

TEST(BadVehicle, NegativeValues) {
  expect(R"({"op":"replace","path":"/wires/W2/length_metre","value":-1.2})", Code::value,
         "/wires/W2/length_metre", "Value -1.2 is out of range; it must be");
  expect(R"({"op":"replace","path":"/wires/W1/area_mm2","value":0})", Code::value,
         "/wires/W1/area_mm2", "above 0");
  expect(R"({"op":"replace","path":"/leakage_ohm","value":-1})", Code::value, "/leakage_ohm",
         "at least 1e-09");
  expect(R"({"op":"replace","path":"/parts/K1/parameters/coil_ohm","value":-150})", Code::value,
         "/parts/K1/parameters/coil_ohm", "a resistance must be at least 1e-09 ohm");
  expect(R"({"op":"replace","path":"/zones/seat/open_minutes","value":-1})", Code::value,
         "/zones/seat/open_minutes", "at least 0");
}

// With 1e-300 ohm in the main fuse, every voltage behind it was 0; with 5e-324, no number.
TEST(BadVehicle, ResistancesWithoutAReciprocal) {
  for (const char* tiny : {"5e-324", "1e-300", "9e-10"}) {
    const auto set = [&](const char* path) {
      return fmt::format(R"({{"op":"add","path":"{}","value":{}}})", path, tiny);
    };
    for (const char* path : {"/leakage_ohm", "/parts/S1/leakage_ohm"})
      expect(set(path), Code::value, path, "it must be at least 1e-09");
    for (const char* path : {"/parts/K1/parameters/coil_ohm", "/parts/M1/parameters/winding_ohm"})
      expect(R"({"op":"add","path":"/parts/M1/parameters","value":{}},)" + set(path), Code::value,
             path, "a resistance must be at least 1e-09 ohm");
  }
  EXPECT_TRUE(
      vehicle_problems(R"({"op":"add","path":"/parts/K1/parameters/coil_ohm","value":1e-9})")
          .empty());
}

TEST(BadVehicle, WrongTypes) {
  expect(R"({"op":"replace","path":"/wires/W2/length_metre","value":"1.2"})", Code::schema,
         "/wires/W2/length_metre", "Expected a number, found '1.2'");
  expect(R"({"op":"replace","path":"/parts","value":[]})", Code::schema, "/parts",
         "Expected an object, found a list");
  expect(R"({"op":"replace","path":"/wires/W2/length_metre","value":null})", Code::schema,
         "/wires/W2/length_metre", "found null");
}

TEST(BadVehicle, MissingKeys) {
  expect(R"({"op":"remove","path":"/datum"})", Code::schema, "", "'datum'");
  expect(R"({"op":"remove","path":"/wires/W2/from"})", Code::schema, "/wires/W2", "'from'");
  expect(R"({"op":"remove","path":"/wires/W2/gauge_awg"})", Code::schema, "/wires/W2", "gauge_awg");
}

TEST(BadVehicle, MissingReferences) {
  expect(
      R"({"op":"replace","path":"/parts/K1/kind","value":"contractor"},{"op":"remove","path":"/wires"},
            {"op":"add","path":"/wires","value":{}},{"op":"remove","path":"/isolation"})",
      Code::reference, "/parts/K1/kind", "did you mean 'contactor'?");
  expect(R"({"op":"replace","path":"/wires/W5/to","value":"K1.coil_fed"})", Code::reference,
         "/wires/W5/to", "did you mean 'K1.coil_feed'?");
  expect(R"({"op":"replace","path":"/wires/W5/loom","value":"L9"})", Code::reference,
         "/wires/W5/loom", "loom 'L9'");
  expect(R"({"op":"replace","path":"/wires/W5/zone","value":"trunk"})", Code::reference,
         "/wires/W5/zone", "zone 'trunk'");
  expect(R"({"op":"replace","path":"/looms/L1/zones/1","value":"dahs"})", Code::reference,
         "/looms/L1/zones/1", "'dash'");
  expect(R"({"op":"replace","path":"/connectors/X1/zone","value":"nose"})", Code::reference,
         "/connectors/X1/zone", "'nose'");
  expect(R"({"op":"replace","path":"/datum","value":"BAT1.minus"})", Code::reference, "/datum",
         "BAT1.minus");
  expect(R"({"op":"add","path":"/run_state/brake","value":"on"})", Code::reference,
         "/run_state/brake", "control 'brake'");
  expect(R"({"op":"replace","path":"/run_state/key","value":"onn"})", Code::reference,
         "/run_state/key", "'on'");
  expect(R"({"op":"replace","path":"/controls/key/rest","value":"of"})", Code::reference,
         "/controls/key/rest", "'off'");
  expect(R"({"op":"replace","path":"/parts/S1/operated_when","value":{"kye":["on"]}})",
         Code::reference, "/parts/S1/operated_when/kye", "did you mean 'key'?");
  expect(R"({"op":"replace","path":"/parts/S1/operated_when/key/1","value":"strat"})",
         Code::reference, "/parts/S1/operated_when/key/1", "did you mean 'start'?");
  expect(R"({"op":"replace","path":"/isolation/lift/0","value":"W1"})", Code::schema,
         "/isolation/lift/0", "WIRE:from");
  expect(R"({"op":"replace","path":"/isolation/lift/0","value":"W77:to"})", Code::reference,
         "/isolation/lift/0", "W77:to");
  expect(R"({"op":"add","path":"/parts/K1/probe","value":{"coil":false}})", Code::reference,
         "/parts/K1/probe/coil", "'coil'");
  expect(R"({"op":"add","path":"/parts/K1/parameters/coli_ohm","value":3})", Code::reference,
         "/parts/K1/parameters/coli_ohm", "did you mean 'coil_ohm'?");
  expect(R"({"op":"add","path":"/parts/K1/parameters/coil_kohm","value":3})", Code::reference,
         "/parts/K1/parameters/coil_kohm", "did you mean 'coil_ohm'?");
}

TEST(BadVehicle, APartMustSayWhenItIsOperated) {
  expect(R"({"op":"remove","path":"/parts/S1/operated_when"})", Code::reference, "/parts/S1",
         "'operated_when'");
}

TEST(BadVehicle, DuplicateIds) {
  expect(
      R"({"op":"add","path":"/wires/K1","value":{"from":"BAT1.positive","to":"S1.in","gauge_awg":16,
            "length_metre":1,"zone":"seat","class":"control"}})",
      Code::duplicate, "/wires/K1", "/parts/K1");
  expect(R"({"op":"add","path":"/parts/X1-2","value":{"kind":"load","title":"Fan","zone":"seat"}})",
         Code::duplicate, "/connectors/X1/pins/1", "/parts/X1-2");
  expect(R"({"op":"replace","path":"/connectors/X1/pins","value":["1","2","1"]})", Code::duplicate,
         "/connectors/X1/pins/2", "");
  expect(R"({"op":"replace","path":"/controls/pedal/positions","value":["up","down","up"]})",
         Code::duplicate, "/controls/pedal/positions/2", "");
}

TEST(BadVehicle, WiresThatJoinNothing) {
  expect(R"({"op":"replace","path":"/wires/W5/to","value":"X1-2.plug"})", Code::value,
         "/wires/W5/to", "Both ends");
}

TEST(BadVehicle, ThresholdsThatCrossInAPart) {
  expect(R"({"op":"add","path":"/parts/K1/parameters/pick_up_volt","value":5})", Code::value,
         "/parts/K1/parameters", "falls at 8 but rises at 5");
}

TEST(BadVehicle, EveryProblemAtOnce) {
  const auto structure = vehicle_problems(R"({"op":"add","path":"/colour","value":1},
    {"op":"replace","path":"/wires/W2/length_metre","value":-1},{"op":"remove","path":"/parts/M1/kind"},
    {"op":"replace","path":"/controls/key/order","value":"first"})");
  EXPECT_EQ(structure.size(), 4U);
  const auto meaning = vehicle_problems(R"({"op":"replace","path":"/wires/W5/to","value":"K1.coil"},
    {"op":"replace","path":"/wires/W6/zone","value":"trunk"},{"op":"remove","path":"/parts/S1/operated_when"},
    {"op":"replace","path":"/datum","value":"BAT2.negative"},{"op":"replace","path":"/parts/M1/kind","value":"engine"})");
  EXPECT_EQ(at(meaning, "/wires/W5/to").code, Code::reference);
  EXPECT_EQ(at(meaning, "/wires/W6/zone").code, Code::reference);
  EXPECT_EQ(at(meaning, "/parts/S1").code, Code::reference);
  EXPECT_EQ(at(meaning, "/datum").code, Code::reference);
  EXPECT_EQ(at(meaning, "/parts/M1/kind").code, Code::reference);
}

TEST(BadVehicle, MessagesStayOnOneLine) {
  EXPECT_NE(only(R"({"op":"add","path":"/co\nlour","value":"green"})").message.find("'co?lour'"),
            std::string::npos);
  EXPECT_NE(
      only(R"({"op":"replace","path":"/run_state/key","value":"o\u001bn"})").message.find("'o?n'"),
      std::string::npos);
}

TEST(BadVehicle, TheListOfProblemsIsCapped) {
  std::string operations;
  for (int i = 0; i < 150; ++i)
    operations += R"({"op":"add","path":"/key)" + std::to_string(i) + R"(","value":1},)";
  operations.pop_back();
  const auto problems = vehicle_problems(operations);
  ASSERT_EQ(problems.size(), 101U);
  EXPECT_NE(problems.back().message.find("50 more"), std::string::npos);
}

TEST(BadVehicle, ControlsLeftWrong) {
  expect(R"({"op":"add","path":"/controls/key/left_wrong","value":{"onn":1}})", Code::reference,
         "/controls/key/left_wrong/onn", "did you mean 'on'?");
  expect(R"({"op":"add","path":"/controls/key/left_wrong","value":{"on":0.5,"off":0.4}})",
         Code::value, "/controls/key/left_wrong", "sum to 0.9 instead of 1");
  expect(R"({"op":"add","path":"/controls/key/left_wrong","value":{"on":1.5}})", Code::value,
         "/controls/key/left_wrong/on", "at most 1");
  expect(R"({"op":"add","path":"/controls/key/left_wrong","value":{"on":1}},
            {"op":"add","path":"/parts/key","value":{"kind":"load","title":"Fan","zone":"seat"}})",
         Code::duplicate, "/controls/key", "/parts/key");
}

}  // namespace
}  // namespace faultloom::documents
