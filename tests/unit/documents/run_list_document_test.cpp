#include <faultloom/documents/model.hpp>

#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

constexpr const char* csv =
    "wire,from,to,gauge_awg,area_mm2,length_metre,loom,zone,class\n"
    "W2,F1.out,X1-10.plug,16,,1.2,L1,seat,control\n"
    "W1,BAT1.positive,F1.in,,1.5,0.6,L1,seat,\n"
    "W3,X1-2.socket,BAT1.negative,16,,0.8,,,power\n";

TEST(RunListDocument, FollowsTheVehicleSchema) {
  const auto document = parse_text(vehicle_from_run_list(csv, "cart-7"));
  std::vector<Problem> problems;
  check_schema(document, "vehicle", problems);
  for (const auto& problem : problems)
    ADD_FAILURE() << problem.message << " (" << problem.pointer << ")";
}

TEST(RunListDocument, HoldsWhatTheListSays) {
  const auto document = parse_text(vehicle_from_run_list(csv, "cart-7"));
  EXPECT_EQ(document.at("id"), "cart-7");
  EXPECT_EQ(document.at("datum"), "BAT1.negative");
  EXPECT_EQ(document.at("parts").size(), 2U);
  EXPECT_EQ(document.at("parts").at("F1").at("kind"), "junction");
  EXPECT_EQ(document.at("parts").at("F1").at("zone"), "seat");
  EXPECT_EQ(document.at("connectors").at("X1").at("pins"), nlohmann::json({"2", "10"}));
  EXPECT_EQ(document.at("looms").at("L1").at("zones"), nlohmann::json({"seat"}));
  EXPECT_EQ(document.at("zones").size(), 2U);
  const auto& wires = document.at("wires");
  EXPECT_EQ(wires.at("W2").at("gauge_awg"), 16);
  EXPECT_EQ(wires.at("W1").at("area_mm2"), 1.5);
  EXPECT_EQ(wires.at("W1").at("class"), "control");
  EXPECT_EQ(wires.at("W3").at("class"), "power");
  EXPECT_FALSE(wires.at("W3").contains("loom"));
}

TEST(RunListDocument, ListsWhatIsLeftToFillIn) {
  const auto document = parse_text(vehicle_from_run_list(csv, "cart-7"));
  const auto& points = document.at("x-open-points");
  EXPECT_EQ(points.at(0), "parts/BAT1: kind; the list uses the terminals negative, positive");
  EXPECT_GT(points.size(), 5U);
}

TEST(RunListDocument, RefusesBadInput) {
  EXPECT_THROW(static_cast<void>(vehicle_from_run_list(csv, "7 carts")), Error);
  EXPECT_THROW(
      static_cast<void>(vehicle_from_run_list("wire,from,to,gauge_awg,length_metre\n", "cart")),
      Error);
  EXPECT_THROW(static_cast<void>(vehicle_from_run_list("", "cart")), Error);
  const auto* pins_only = "wire,from,to,gauge_awg,length_metre\nW2,X1-1.plug,X1-2.socket,18,0.3\n";
  EXPECT_THROW(static_cast<void>(vehicle_from_run_list(pins_only, "cart")), Error);
}

TEST(RunListDocument, RefusesMoreThanAVehicleHolds) {
  std::string list = "wire,from,to,gauge_awg,length_metre\n";
  for (int i = 0; i < 257; ++i) list += fmt::format("W{},A.t{},X1-{}.plug,18,0.3\n", i, i, i);
  try {
    static_cast<void>(vehicle_from_run_list(list, "cart"));
    FAIL();
  } catch (const Error& error) {
    ASSERT_EQ(error.problems().size(), 1U);
    EXPECT_EQ(
        error.problems()[0],
        (Problem{Code::limit,
                 "As a vehicle, the list breaks the schema at '/connectors/X1/pins': Too many "
                 "items: 257, the limit is 256",
                 ""}));
  }
}

}  // namespace
}  // namespace faultloom::documents
