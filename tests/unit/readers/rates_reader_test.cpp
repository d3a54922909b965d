#include <faultloom/documents/rates_reader.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

namespace faultloom {
namespace {

using documents::read_rates;

std::string rates_with(const std::string& shares) {
  return R"({"format":"faultloom.rates","version":"1.0","exposure_hours":300,"not_in_model":0.05,
    "environments":{"dry":1,"outdoor":2.5},
    "kinds":{"contactor":{"gamma_shape":2.5,"gamma_rate_million_hours":0.5,"modes":{)" +
         shares + R"(},"source":"common practice, no source"}}})";
}

std::vector<Problem> problems_of(const std::string& text) {
  try {
    (void)read_rates(text);
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

TEST(RatesReader, ReadsEveryNumber) {
  const auto rates = read_rates(rates_with(R"("coil_open":0.6,"welded":0.4)"));
  EXPECT_EQ(rates.exposure_hours, 300);
  EXPECT_EQ(rates.not_in_model, 0.05);
  EXPECT_EQ(rates.environments.at("outdoor"), 2.5);
  const auto& kind = rates.kinds.at("contactor");
  EXPECT_DOUBLE_EQ(kind.mean(), 5);
  EXPECT_EQ(kind.mode_shares.at("welded"), 0.4);
  EXPECT_EQ(kind.source, "common practice, no source");
}

TEST(RatesReader, SharesMustSumToOne) {
  EXPECT_TRUE(problems_of(rates_with(R"("a":0.5,"b":0.5000009)")).empty());
  const auto problems = problems_of(rates_with(R"("a":0.5,"b":0.500002)"));
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0],
            (Problem{Code::value, "The shares of kind 'contactor' sum to 1.000002 instead of 1",
                     "/kinds/contactor/modes"}));
}

TEST(RatesReader, RatesOfUnknownKindsAndModesAreNamed) {
  const auto rates = read_rates(rates_with(R"("coil_opn":0.6,"welded":0.4)"));
  documents::PartKind kind;
  kind.modes.resize(2);
  kind.modes[0].id = "coil_open";
  kind.modes[1].id = "welded";
  std::vector<Problem> problems;
  documents::check_rates(rates, documents::KindCatalog({{"contactor", kind}}), problems);
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0].pointer, "/kinds/contactor/modes/coil_opn");
  EXPECT_EQ(problems[0].message,
            "Kind 'contactor' has no mode 'coil_opn'; did you mean 'coil_open'?");
  problems.clear();
  documents::check_rates(rates, documents::KindCatalog(), problems);
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0].pointer, "/kinds/contactor");
}

/// Rates with more members behind the kinds.
std::string rates_and(const std::string& more) {
  auto text = rates_with(R"("coil_open":1)");
  text.pop_back();
  return text + "," + more + "}";
}

constexpr const char* whole_event =
    R"("events":{"pinch":{"title":"Loom pinched","on":"loom","gamma_shape":2,
  "gamma_rate_million_hours":4,"expected_hits":5,"modes":{"open":0.75,"touches":0.25},"source":"test"},
  "water":{"title":"Water","on":"connector","gamma_shape":1,"gamma_rate_million_hours":4,
  "modes":{"corroded":1},"source":"test"}})";

TEST(RatesReader, ReadsPerVisitEventsAndCues) {
  const auto rates = read_rates(rates_and(std::string(whole_event) + R"(,
    "per_visit":{"left_wrong":0.01},"cue_weight":0.5,"cue_limit_deciban":8,
    "cues":{"recent_work":{"title":"Worked on","kinds":{"contactor":0.1,"earlier_work":0.9},
      "otherwise":0.2,"source":"test"}})"));
  EXPECT_EQ(rates.per_visit.at("left_wrong"), 0.01);
  const auto& pinch = rates.events.at("pinch");
  EXPECT_EQ(pinch.title, "Loom pinched");
  EXPECT_EQ(pinch.on, rates::Event::On::loom);
  EXPECT_EQ(pinch.mean(), 0.5);
  EXPECT_EQ(pinch.expected_hits, 5);
  EXPECT_EQ(pinch.mode_shares.at("touches"), 0.25);
  EXPECT_EQ(rates.events.at("water").on, rates::Event::On::connector);
  EXPECT_EQ(rates.events.at("water").expected_hits, 3);
  const auto& cue = rates.cues.at("recent_work");
  EXPECT_EQ(cue.kinds.at("earlier_work"), 0.9);
  EXPECT_EQ(cue.otherwise, 0.2);
  EXPECT_EQ(cue.source, "test");
  EXPECT_EQ(rates.cue_weight, 0.5);
  EXPECT_EQ(rates.cue_limit_deciban, 8);
  EXPECT_EQ(read_rates(rates_with(R"("a":1)")).cue_weight, 0.6);
}

TEST(RatesReader, ReadsHowFaultsComeAndGo) {
  const auto how = read_rates(rates_and(R"("intermittence":{"persistence":0.5,"wiggle":0.4,"heat":0,
      "wet":1,"source":"test"})"))
                       .intermittence;
  EXPECT_EQ(how.persistence, 0.5);
  EXPECT_EQ(how.wiggle, 0.4);
  EXPECT_EQ(how.heat, 0);
  EXPECT_EQ(how.wet, 1);
  EXPECT_EQ(how.source, "test");
  const auto usual = read_rates(rates_and(R"("intermittence":{"heat":0.3,"source":"test"})"));
  EXPECT_EQ(usual.intermittence.heat, 0.3);
  EXPECT_EQ(usual.intermittence.wiggle, rates::Intermittence{}.wiggle);
}

TEST(RatesReader, ChancesOfFaultsThatComeAndGoAreChecked) {
  const auto problems = problems_of(
      rates_and(R"("intermittence":{"persistence":1.5,"wiggle":-0.1,"heat":0.5,"cold":0.1})"));
  std::vector<std::string> places;
  for (const auto& problem : problems) places.push_back(problem.pointer);
  for (const auto* place :
       {"/intermittence", "/intermittence/persistence", "/intermittence/wiggle"})
    EXPECT_NE(std::find(places.begin(), places.end(), place), places.end()) << place;
}

TEST(RatesReader, BadEventsCuesAndPerVisitAreNamed) {
  const auto problems = problems_of(rates_and(
      R"("events":{"pinch":{"title":"P","on":"roof","gamma_shape":0,"gamma_rate_million_hours":4,
      "modes":{"open":1},"source":"test"}},"per_visit":{"left_wrong":0.7},
      "cues":{"wet":{"title":"Wet","kinds":{"contactor":1.2},"otherwise":0.2,"source":"test"}})"));
  ASSERT_EQ(problems.size(), 4U);
  const auto shares = problems_of(rates_and(
      R"("events":{"pinch":{"title":"P","on":"loom","gamma_shape":1,"gamma_rate_million_hours":4,
      "modes":{"open":0.5},"source":"test"}})"));
  ASSERT_EQ(shares.size(), 1U);
  EXPECT_EQ(shares[0], (Problem{Code::value, "The shares of event 'pinch' sum to 0.5 instead of 1",
                                "/events/pinch/modes"}));
}

TEST(RatesReader, UnknownNamesInEventsCuesAndPerVisitAreNamed) {
  documents::PartKind contactor;
  contactor.modes.resize(2);
  contactor.modes[0].id = "coil_open";
  contactor.modes[1].id = "wrong_coil";
  contactor.modes[1].per_visit = "wrong_coil";
  documents::PartKind wire;
  wire.modes.resize(1);
  wire.modes[0].id = "open";
  documents::PartKind pin = wire;
  pin.modes[0].id = "corroded";
  pin.terminals = {"plug", "socket"};
  const documents::KindCatalog catalog(
      {{"connector_contact", pin}, {"contactor", contactor}, {"control_wire", wire}});
  std::vector<Problem> problems;
  documents::check_rates(read_rates(rates_and(std::string(whole_event) + R"(,
        "per_visit":{"left_wrong":0.01,"swapped":0.01,"wrong_coil":0.1,"wrong_coli":0.1},
        "cues":{"wet":{"title":"Wet","kinds":{"setting":0.5,"contacter":0.5},"otherwise":0.2,
          "source":"test"}})")),
                         catalog, problems);
  ASSERT_EQ(problems.size(), 3U);
  EXPECT_EQ(problems[0].pointer, "/per_visit/wrong_coli");
  EXPECT_EQ(problems[0].message,
            "No mode takes its probability from 'wrong_coli'; did you mean 'wrong_coil'?");
  EXPECT_EQ(problems[1].pointer, "/events/pinch/modes/touches");
  EXPECT_EQ(problems[2].pointer, "/cues/wet/kinds/contacter");
}

TEST(RatesReader, EarlierWorkHasNoShare) {
  documents::PartKind kind;
  kind.modes.resize(1);
  kind.modes[0].id = "welded";
  kind.modes[0].per_visit = "welded";
  std::vector<Problem> problems;
  documents::check_rates(read_rates(rates_with(R"("welded":1)")),
                         documents::KindCatalog({{"contactor", kind}}), problems);
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0].code, Code::value);
  EXPECT_EQ(problems[0].pointer, "/kinds/contactor/modes/welded");
}

}  // namespace
}  // namespace faultloom
