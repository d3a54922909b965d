#include <faultloom/documents/kinds.hpp>

#include "small_documents.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <string>

namespace faultloom::documents {
namespace {

using small::at;
using small::kinds_problems;

Problem only(std::string_view operations) {
  const auto problems = kinds_problems(operations);
  EXPECT_EQ(problems.size(), 1U) << operations;
  for (const auto& problem : problems) EXPECT_EQ(problem.message.find('\n'), std::string::npos);
  return problems.empty() ? Problem{} : problems.front();
}

TEST(Kinds, ReadsTheSmallCatalog) {
  const auto catalog = read_kinds(small::kinds);
  EXPECT_EQ(catalog.kinds().size(), 13U);
  EXPECT_EQ(catalog.find("contractor"), nullptr);
  const auto* contactor = catalog.find("contactor");
  ASSERT_NE(contactor, nullptr);
  EXPECT_EQ(contactor->terminals.size(), 6U);
  EXPECT_DOUBLE_EQ(contactor->parameters.at("pick_up_volt").value, 32);
  const auto* aux = contactor->element("aux");
  ASSERT_NE(aux, nullptr);
  EXPECT_EQ(aux->closed_when.type, Clause::Type::negate);
  EXPECT_EQ(aux->closed_when.parts.front().element, "main");
  EXPECT_EQ(contactor->element("mian"), nullptr);
}

TEST(Kinds, TheShippedKindsAreSound) { EXPECT_FALSE(default_kinds().kinds().empty()); }

TEST(Kinds, InheritsMembersKeyByKey) {
  const auto catalog = read_kinds(small::kinds);
  const auto* heavy = catalog.find("heavy_load");
  ASSERT_NE(heavy, nullptr);
  EXPECT_EQ(heavy->title, "Heavy load");
  EXPECT_DOUBLE_EQ(heavy->parameters.at("winding_ohm").value, 2);
  EXPECT_DOUBLE_EQ(heavy->parameters.at("worn_ohm").value, 900);
  EXPECT_DOUBLE_EQ(heavy->repair.minutes, 40);
  EXPECT_DOUBLE_EQ(heavy->repair.price_usd, 400);
  EXPECT_EQ(heavy->modes.size(), 2U);
  EXPECT_EQ(heavy->elements.front().pointer, "/kinds/load/elements/winding");
}

TEST(Kinds, NamesTheLoopOfBasedOn) {
  const auto problem = only(R"({"op":"add","path":"/kinds/load/based_on","value":"switch"},
    {"op":"add","path":"/kinds/switch/based_on","value":"heavy_load"})");
  EXPECT_EQ(problem.code, Code::loop);
  EXPECT_EQ(problem.pointer, "/kinds/heavy_load/based_on");
  EXPECT_EQ(problem.message,
            "Kinds are based on each other in a loop: heavy_load -> load -> switch -> heavy_load; "
            "take one "
            "'based_on' away");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/based_on","value":"load"})").code, Code::loop);
}

TEST(Kinds, NamesAMissingBase) {
  const auto problem = only(R"({"op":"add","path":"/kinds/heavy_load/based_on","value":"laod"})");
  EXPECT_EQ(problem.code, Code::reference);
  EXPECT_NE(problem.message.find("did you mean 'load'?"), std::string::npos);
}

TEST(Kinds, LimitsTheNumberOfAncestors) {
  std::string operations;
  for (int i = 0; i < 40; ++i)
    operations += R"({"op":"add","path":"/kinds/k)" + std::to_string(i) +
                  R"(","value":{"title":"K","based_on":")" +
                  (i == 0 ? "load" : "k" + std::to_string(i - 1)) + "\"}},";
  operations.pop_back();
  EXPECT_EQ(kinds_problems(operations).front().code, Code::limit);
}

TEST(Kinds, ChecksTerminals) {
  const auto problem =
      only(R"({"op":"replace","path":"/kinds/load/elements/winding/between/1","value":"c"})");
  EXPECT_EQ(problem.code, Code::reference);
  EXPECT_EQ(problem.pointer, "/kinds/load/elements/winding/between/1");
  EXPECT_EQ(
      only(R"({"op":"replace","path":"/kinds/load/elements/winding/between/1","value":"a"})").code,
      Code::value);
}

TEST(Kinds, ChecksParameters) {
  auto problem = only(
      R"({"op":"replace","path":"/kinds/switch/elements/contact/closed_ohm","value":"contact_hm"})");
  EXPECT_EQ(problem.code, Code::reference);
  EXPECT_EQ(problem.pointer, "/kinds/switch/elements/contact/closed_ohm");
  EXPECT_NE(problem.message.find("did you mean 'contact_ohm'?"), std::string::npos);
  problem = only(
      R"({"op":"replace","path":"/kinds/pack/elements/cells/emf_volt","value":"internal_ohm"})");
  EXPECT_EQ(problem.code, Code::value);
  EXPECT_EQ(problem.message,
            "'emf_volt' needs a parameter that ends in _volt, but names 'internal_ohm'");
  problem =
      only(R"({"op":"replace","path":"/kinds/switch/parameters/contact_ohm/value","value":-1})");
  EXPECT_EQ(problem.code, Code::value);
}

TEST(Kinds, ResistancesHaveAReciprocal) {
  for (const char* tiny : {"5e-324", "1e-300", "9e-10", "0"}) {
    const auto set = [&](const char* path) {
      return fmt::format(R"({{"op":"replace","path":"{}","value":{}}})", path, tiny);
    };
    for (const char* path :
         {"/kinds/load/elements/winding/resistance_ohm", "/kinds/pack/elements/cells/internal_ohm",
          "/kinds/contactor/elements/aux/closed_ohm", "/kinds/contactor/elements/spark/on_ohm",
          "/kinds/control_termination/modes/replaced/changes/joint/resistance_ohm"})
      EXPECT_EQ(only(set(path)).pointer, path);
    // Where it is used, since a parameter may also be a voltage.
    const auto problem = only(set("/kinds/pack/parameters/internal_ohm/value"));
    EXPECT_EQ(problem.pointer, "/kinds/pack/elements/cells/internal_ohm");
    EXPECT_NE(problem.message.find("a resistance must be at least 1e-09 ohm"), std::string::npos);
  }
}

TEST(Kinds, ParametersEndInTheirUnit) {
  for (const char* name : {"coil", "coil_kohm", "coil_henry"}) {
    const auto problem = only(R"({"op":"add","path":"/kinds/load/parameters/)" + std::string(name) +
                              R"(","value":{"value":1}})");
    EXPECT_EQ(problem.code, Code::value);
    EXPECT_EQ(problem.pointer, "/kinds/load/parameters/" + std::string(name));
  }
}

TEST(Kinds, ChecksConditions) {
  EXPECT_EQ(
      only(
          R"({"op":"replace","path":"/kinds/contactor/elements/aux/closed_when","value":{"closed":"coil"}})")
          .message,
      "'coil' is a resistor; only a contact can stand here");
  EXPECT_EQ(
      only(
          R"({"op":"replace","path":"/kinds/sensor/elements/driver/closed_when","value":{"signal":"driver"}})")
          .code,
      Code::value);
  EXPECT_EQ(
      only(R"({"op":"replace","path":"/kinds/load/signs/turns/when/amps","value":"windings"})")
          .pointer,
      "/kinds/load/signs/turns/when/amps");
  const auto problem = only(
      R"({"op":"replace","path":"/kinds/sensor/elements/driver/closed_when/all/0","value":{"volts":["sense","comon"],
        "rises_to_volt":5,"falls_to_volt":3}})");
  EXPECT_EQ(problem.pointer, "/kinds/sensor/elements/driver/closed_when/all/0/volts/1");
}

TEST(Kinds, ThresholdsMustNotCross) {
  const auto problem = only(
      R"({"op":"replace","path":"/kinds/contactor/parameters/drop_out_volt/value","value":40})");
  EXPECT_EQ(problem.code, Code::value);
  EXPECT_EQ(problem.pointer, "/kinds/contactor/elements/main/closed_when/falls_to_volt");
}

TEST(Kinds, NamesTheLoopOfContacts) {
  const auto problem = only(
      R"({"op":"replace","path":"/kinds/contactor/elements/main/closed_when","value":{"any":[{"closed":"aux"}]}},
        {"op":"remove","path":"/kinds/contactor/modes/weak"})");
  EXPECT_EQ(problem.code, Code::loop);
  EXPECT_NE(problem.message.find("aux -> main -> aux"), std::string::npos);
}

TEST(Kinds, ChecksWhatModesChange) {
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/load/modes/open/changes/winding/stuck","value":"open"})")
          .message,
      "'stuck' does not suit 'winding', a resistor; it needs a contact");
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/load/modes/open/changes/windig","value":{"open":true}})")
          .message,
      "Kind 'load' has no element 'windig'; did you mean 'winding'?");
  EXPECT_EQ(
      only(
          R"({"op":"add","path":"/kinds/switch/modes/stuck_open/changes/contact/threshold_factor","value":2})")
          .pointer,
      "/kinds/switch/modes/stuck_open/changes/contact/threshold_factor");
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/load/modes/worn/changes/winding/emf_volt","value":2})")
          .code,
      Code::value);
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/load/modes/worn/changes/winding/reversed","value":true})")
          .code,
      Code::value);
}

TEST(Kinds, ReportsEverythingAtOnceAndInheritedTroubleOnce) {
  const auto problems = kinds_problems(
      R"({"op":"replace","path":"/kinds/load/modes/worn/changes/winding/add_ohm","value":"worm_ohm"},
         {"op":"replace","path":"/kinds/fuse/elements/link/between/0","value":"inn"},
         {"op":"replace","path":"/kinds/pack/elements/cells/internal_ohm","value":"nothing_ohm"})");
  EXPECT_EQ(at(problems, "/kinds/load/modes/worn/changes/winding/add_ohm").code, Code::reference);
  EXPECT_EQ(at(problems, "/kinds/fuse/elements/link/between/0").code, Code::reference);
  EXPECT_EQ(at(problems, "/kinds/pack/elements/cells/internal_ohm").code, Code::reference);
}

TEST(Kinds, ReadsSpreadDutyEarlierWorkTouchesAndSwaps) {
  const auto catalog = read_kinds(small::edited(small::kinds, R"(
    {"op":"add","path":"/kinds/load/modes/worn/spread_factor","value":6},
    {"op":"add","path":"/kinds/load/modes/open/duty","value":{"a":1.2,"b":2.2,"source":"test"}},
    {"op":"add","path":"/kinds/load/elements/jumper","value":{"type":"resistor","between":["a","b"],
      "resistance_ohm":0.05,"dormant":true}},
    {"op":"add","path":"/kinds/load/modes/bypassed","value":{"title":"Bridged","cause":"earlier_work",
      "changes":{"jumper":{"shorted_ohm":0.05}},"seen":0.7}},
    {"op":"add","path":"/kinds/load/modes/turned","value":{"title":"Other winding","cause":"earlier_work",
      "per_visit":"wrong_part","changes":{"winding":{"resistance_ohm":300}},"seen":0.7}},
    {"op":"add","path":"/kinds/load/swaps","value":[["a","b"]]},
    {"op":"add","path":"/kinds/load/work_minutes","value":7},
    {"op":"add","path":"/kinds/control_wire/modes/short","value":{"title":"Chafed","touches":"negative",
      "touch_ohm":0.2,"seen":0.3}})"));
  const auto& load = *catalog.find("heavy_load");
  const auto mode = [&](std::string_view id) {
    return *std::find_if(load.modes.begin(), load.modes.end(),
                         [&](const auto& m) { return m.id == id; });
  };
  EXPECT_EQ(mode("worn").spread_factor, 6);
  EXPECT_EQ(mode("worn").duty.a, 0);
  EXPECT_FALSE(mode("worn").earlier_work());
  EXPECT_EQ(mode("open").duty.a, 1.2);
  EXPECT_EQ(mode("open").duty.b, 2.2);
  EXPECT_EQ(mode("open").spread_factor, 1);
  EXPECT_EQ(mode("bypassed").per_visit, "bypassed");
  EXPECT_EQ(mode("turned").per_visit, "wrong_part");
  EXPECT_TRUE(load.element("jumper")->dormant);
  EXPECT_FALSE(load.element("winding")->dormant);
  ASSERT_EQ(load.swaps.size(), 1U);
  EXPECT_EQ(load.swaps[0].b, "b");
  EXPECT_EQ(load.swaps_pointer, "/kinds/load/swaps");
  EXPECT_EQ(load.work_minutes, 7);
  EXPECT_EQ(load.work_price_usd, 2);
  const auto& wire = *catalog.find("power_wire");
  EXPECT_EQ(wire.modes.back().touches, KindMode::Touches::negative);
  EXPECT_EQ(wire.modes.back().touch_ohm.value, 0.2);
}

TEST(Kinds, ChecksSpreadAndDuty) {
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/open/spread_factor","value":3})").pointer,
            "/kinds/load/modes/open/spread_factor");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/worn/spread_factor","value":0.5})").code,
            Code::value);
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/load/modes/worn/duty","value":{"a":0,"b":1}})").pointer,
      "/kinds/load/modes/worn/duty/a");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/worn/duty","value":{"a":1}})").pointer,
            "/kinds/load/modes/worn/duty");
}

TEST(Kinds, ChecksDormantElements) {
  EXPECT_EQ(
      only(R"({"op":"add","path":"/kinds/switch/elements/contact/dormant","value":true})").code,
      Code::schema);
  const auto problem = only(R"({"op":"add","path":"/kinds/load/elements/jumper","value":{
    "type":"resistor","between":["a","b"],"resistance_ohm":1,"dormant":true}},
    {"op":"add","path":"/kinds/load/modes/open/changes/jumper","value":{"add_ohm":3}})");
  EXPECT_EQ(problem.pointer, "/kinds/load/modes/open/changes/jumper");
  EXPECT_EQ(problem.message, "'jumper' is dormant; only 'shorted_ohm' makes it conduct");
}

TEST(Kinds, ChecksSwaps) {
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/swaps","value":[["a","c"]]})").pointer,
            "/kinds/load/swaps/0/1");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/swaps","value":[["a","b"],["b","a"]]})").code,
            Code::duplicate);
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/swaps","value":[["a","a"]]})").pointer,
            "/kinds/load/swaps/0");
}

TEST(Kinds, ChecksWhatTouches) {
  const std::string touching =
      R"("value":{"title":"Short","touches":"negative","touch_ohm":1,"seen":0}})";
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/contactor/modes/short",)" + touching).pointer,
            "/kinds/contactor/modes/short/touches");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/short","value":{"title":"Short",
    "touches":"negative","seen":0}})")
                .message,
            "Key 'touch_ohm' is missing; 'touches' needs it");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/short","value":{"title":"Short",
    "touches":"negative","touch_ohm":"worm_ohm","seen":0}})")
                .pointer,
            "/kinds/load/modes/short/touch_ohm");
  EXPECT_EQ(only(R"({"op":"add","path":"/kinds/load/modes/open/per_visit","value":"open"})").code,
            Code::schema);
  EXPECT_EQ(only(R"({"op":"remove","path":"/kinds/load/modes/open/changes"})").code, Code::schema);
}

}  // namespace
}  // namespace faultloom::documents
