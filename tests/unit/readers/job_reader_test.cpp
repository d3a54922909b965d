#include <faultloom/documents/job_reader.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace faultloom {
namespace {

using documents::Job;
using documents::read_job;
using readings::Entry;
using readings::Outcome;

std::string job_with(const std::string& entries, const std::string& more = "") {
  return R"({"format":"faultloom.job","version":"1.0","id":"J1","vehicle":"small-cart","title":"Cart 3",)" +
         more + R"("entries":[)" + entries + "]}";
}

Job read(const std::string& entries, const std::string& more = "") {
  return read_job(job_with(entries, more), test::small_cart(), test::bench_instruments());
}

std::vector<Problem> problems_of(const std::string& entries, const std::string& more = "") {
  try {
    (void)read(entries, more);
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

/// A reading whose members after the type are `members`.
std::string reading(const std::string& members) {
  return R"({"id":"e1","type":"reading",)" + members + "}";
}

/// The only problem of a job with this entry.
Problem problem_of(const std::string& entry) {
  const auto problems = problems_of(entry);
  EXPECT_EQ(problems.size(), 1U) << entry;
  return problems.empty() ? Problem{} : problems.front();
}

TEST(JobReader, HeadAndMeans) {
  const auto job = read(
      "", R"("complaint":"dead","exposure_hours":120,"environment":"wet","labour_usd_per_hour":95,
    "opened_zones":["dash","seat"],"instruments":["lamp","meter"],)");
  EXPECT_EQ(job.id, "J1");
  EXPECT_EQ(job.title, "Cart 3");
  EXPECT_EQ(job.vehicle_id, "small-cart");
  EXPECT_EQ(job.complaint, "dead");
  EXPECT_EQ(job.exposure.hours, 120);
  EXPECT_EQ(job.exposure.environment, "wet");
  EXPECT_EQ(job.labour_usd_per_hour, 95);
  EXPECT_EQ(job.opened_zones, (std::vector<vehicle::Index>{0, 1}));
  EXPECT_EQ(job.instruments, (std::vector<std::string>{"lamp", "meter"}));
  EXPECT_TRUE(job.entries.empty());
}

TEST(JobReader, OneEntryOfEachSort) {
  const auto cart = test::small_cart();
  const auto job = read(
      R"({"id":"a","type":"reading","instrument":"meter","red":"K1.coil_feed","black":"BAT1.negative","state":{"key":"on","pedal":"pressed"},"volts":48.2},
         {"id":"b","type":"reading","instrument":"lamp","red":"K1.coil_feed","black":"K1.coil_return","state":{"key":"on"},"lifted":["W4:to"],"outcome":"dim"},
         {"id":"c","type":"reading","instrument":"ohmmeter","red":"X1-1.plug","black":"X1-1.socket","state":{},"isolated":true,"ohms":0.2},
         {"id":"d","type":"reading","instrument":"clamp","wire":"W4","state":{"key":"on","pedal":"pressed"},"amps":0.41},
         {"id":"e","type":"sign","part":"K1","sign":"click","state":{"key":"on","pedal":"pressed"},"outcome":"no"},
         {"id":"f","type":"look","component":"W2:to","outcome":"clean"})");
  ASSERT_EQ(job.entries.size(), 6U);
  const auto& meter = job.entries[0];
  EXPECT_EQ(meter.type, Entry::Type::reading);
  EXPECT_EQ(meter.outcome, Outcome::number);
  EXPECT_EQ(meter.number, 48.2);
  EXPECT_EQ(meter.instrument, 0);
  EXPECT_EQ(meter.red, cart.terminal("K1.coil_feed"));
  EXPECT_EQ(meter.black, cart.datum);
  EXPECT_EQ(meter.state, cart.run_state);
  EXPECT_EQ(job.entries[1].outcome, Outcome::dim);
  EXPECT_EQ(job.entries[1].lifted_elements,
            (std::vector<vehicle::Index>{test::element(cart, "W4")}));
  EXPECT_EQ(job.entries[2].lifted_elements,
            (std::vector<vehicle::Index>{test::element(cart, "W1"), test::element(cart, "W5")}));
  EXPECT_EQ(job.entries[3].element, test::element(cart, "W4"));
  EXPECT_EQ(job.entries[3].red, vehicle::none);
  EXPECT_EQ(job.entries[4].type, Entry::Type::sign);
  EXPECT_EQ(job.entries[4].sign, 0);
  EXPECT_EQ(job.entries[5].type, Entry::Type::look);
  EXPECT_EQ(job.entries[5].component, cart.component("W2:to"));
  EXPECT_EQ(job.entry_texts,
            (std::vector<std::string>{
                "48.2 V at K1.coil_feed against BAT1.negative, key on, pedal pressed",
                "filament lamp: dim between K1.coil_feed and K1.coil_return, key on, W4 lifted",
                "0.2 ohm between X1-1.plug and X1-1.socket, all at rest, pack isolated",
                "0.41 A in W4, key on, pedal pressed",
                "contactor click (K1): no, key on, pedal pressed", "look at W2:to: clean"}));
}

TEST(JobReader, WithdrawnEntriesAreGone) {
  const std::string looks = R"({"id":"a","type":"look","component":"W1","outcome":"clean"},
                               {"id":"b","type":"look","component":"W2","outcome":"damage"})";
  const auto job = read(looks, R"("withdrawn":["a"],)");
  ASSERT_EQ(job.entries.size(), 1U);
  EXPECT_EQ(job.entries[0].id, "b");
  EXPECT_EQ(job.entry_texts, (std::vector<std::string>{"look at W2: damage"}));
  const auto problems = problems_of(looks, R"("withdrawn":["c"],)");
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0].code, Code::reference);
  EXPECT_EQ(problems[0].pointer, "/withdrawn/0");
}

TEST(JobReader, UnknownNamesComeTogetherWithSuggestions) {
  const auto problems = problems_of(
      reading(
          R"("instrument":"metre","red":"K1.coil_fed","black":"BAT1.minus","state":{"key":"onn"},"volts":1)") +
          R"(,{"id":"e1","type":"sign","part":"K1","sign":"clack","state":{},"outcome":"yes"})",
      R"("opened_zones":["seet"],"instruments":["lamps"],)");
  const std::vector<Problem> expected{
      {Code::reference, "There is no instrument 'lamps'; did you mean 'lamp'?", "/instruments/0"},
      {Code::reference, "There is no zone 'seet'; did you mean 'seat'?", "/opened_zones/0"},
      {Code::reference, "Control 'key' has no position 'onn'; it has off, on",
       "/entries/0/state/key"},
      {Code::reference, "There is no instrument 'metre'; did you mean 'meter'?",
       "/entries/0/instrument"},
      {Code::reference, "There is no terminal 'K1.coil_fed'; did you mean 'K1.coil_feed'?",
       "/entries/0/red"},
      {Code::reference, "There is no terminal 'BAT1.minus'; there is BAT1.positive, BAT1.negative",
       "/entries/0/black"},
      {Code::reference, "K1 has no sign 'clack'; it has click", "/entries/1/sign"},
      {Code::duplicate, "Two entries have the id 'e1'; give each its own", "/entries/1/id"}};
  ASSERT_EQ(problems.size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i)
    EXPECT_EQ(problems[i], expected[i]) << problems[i].message;
}

TEST(JobReader, AnotherVehiclesJobIsRefused) {
  auto cart = test::small_cart();
  cart.id = "other";
  try {
    (void)read_job(job_with(""), cart, test::bench_instruments());
    FAIL();
  } catch (const Error& error) {
    EXPECT_EQ(error.problems().at(0).pointer, "/vehicle");
    EXPECT_EQ(error.code(), Code::reference);
  }
}

TEST(JobReader, OhmsNeedAnIsolatedPack) {
  const std::string probes = R"("red":"K1.coil_feed","black":"K1.coil_return","state":{},)";
  for (const auto& result :
       {R"("instrument":"ohmmeter","ohms":115)", R"("instrument":"beeper","outcome":"silent")",
        R"("instrument":"ohmmeter","isolated":false,"outcome":"overload")"}) {
    const auto problem = problem_of(reading(probes + result));
    EXPECT_EQ(problem.code, Code::reading);
    EXPECT_NE(problem.message.find("isolate the pack before reading ohms"), std::string::npos);
    EXPECT_EQ(problem.pointer, "/entries/0");
    EXPECT_TRUE(
        problems_of(reading(probes + R"("instrument":"ohmmeter","isolated":true,"ohms":115)"))
            .empty());
  }
}

struct Misfit {
  const char* members;
  const char* pointer;
};

class InstrumentMisfit : public testing::TestWithParam<Misfit> {};

TEST_P(InstrumentMisfit, IsAReadingProblem) {
  const auto problem = problem_of(reading(GetParam().members));
  EXPECT_EQ(problem.code, Code::reading) << problem.message;
  EXPECT_EQ(problem.pointer, std::string("/entries/0") + GetParam().pointer);
}

#define PROBES R"("red":"K1.coil_feed","black":"K1.coil_return","state":{},)"
INSTANTIATE_TEST_SUITE_P(
    Each, InstrumentMisfit,
    testing::Values(
        Misfit{PROBES R"("instrument":"lamp","volts":48)", "/volts"},
        Misfit{PROBES R"("instrument":"meter","ohms":48)", "/ohms"},
        Misfit{PROBES R"("instrument":"meter","outcome":"bright")", "/outcome"},
        Misfit{PROBES R"("instrument":"lamp","outcome":"yes")", "/outcome"},
        Misfit{PROBES R"("instrument":"meter","volts":5000)", "/volts"},
        Misfit{PROBES R"("instrument":"ohmmeter","isolated":true,"ohms":3e7)", "/ohms"},
        Misfit{PROBES R"("instrument":"meter","volts":4,"wire":"W1")", "/wire"},
        Misfit{
            R"("instrument":"meter","red":"K1.coil_feed","black":"K1.coil_feed","state":{},"volts":0)",
            "/black"},
        Misfit{
            R"("instrument":"clamp","red":"K1.coil_feed","black":"K1.coil_return","state":{},"amps":1)",
            ""},
        Misfit{PROBES R"("instrument":"meter","volts":4,"tolerance_ohm":1)", "/tolerance_ohm"},
        Misfit{PROBES R"("instrument":"meter","volts":4,"tolerance_volt":1,"tolerance_ampere":1)",
               "/tolerance_ampere"},
        Misfit{PROBES R"("instrument":"lamp","outcome":"dim","tolerance_volt":1)",
               "/tolerance_volt"}));
#undef PROBES

TEST(JobReader, NotSureAndCannotReachFitEverything) {
  for (const auto* word : {"not_sure", "cannot_reach"}) {
    const std::string outcome = std::string(R"("outcome":")") + word + '"';
    const auto job = read(
        R"({"id":"a","type":"reading","instrument":"meter","red":"S1.in","black":"S1.out","state":{},)" +
        outcome + R"(},{"id":"b","type":"reading","instrument":"clamp","wire":"W1","state":{},)" +
        outcome + R"(},{"id":"c","type":"sign","part":"K1","sign":"click","state":{},)" + outcome +
        R"(},{"id":"d","type":"look","component":"X1-1",)" + outcome + "}");
    ASSERT_EQ(job.entries.size(), 4U);
    for (const auto& entry : job.entries) EXPECT_FALSE(entry.informative());
  }
  EXPECT_EQ(problem_of(R"({"id":"d","type":"look","component":"X1-1","outcome":"yes"})").code,
            Code::reading);
}

TEST(JobReader, ALeadGoesAcrossWhatItsTerminalsJoin) {
  const auto cart = test::small_cart();
  const auto with_lead = [](const std::string& lead) {
    return R"({"id":"d","type":"sign","part":"K1","sign":"click","outcome":"yes","lead":)" + lead +
           "}";
  };
  const auto job = read(with_lead(R"(["S1.out","S1.in"])"));
  ASSERT_EQ(job.entries.size(), 1U);
  ASSERT_EQ(job.entries[0].bridged_elements.size(), 1U);
  const auto& element =
      cart.elements[static_cast<std::size_t>(job.entries[0].bridged_elements.front())];
  EXPECT_EQ(cart.terminals[static_cast<std::size_t>(element.a)].name, "S1.in");
  EXPECT_EQ(problem_of(with_lead(R"(["S1.in","K1.coil_return"])")).pointer, "/entries/0/lead");
  EXPECT_EQ(problem_of(with_lead(R"(["S1.inn","S1.out"])")).pointer, "/entries/0/lead/0");
  EXPECT_NE(problem_of(with_lead(R"(["BAT1.positive","BAT1.negative"])")).message.find("shorts"),
            std::string::npos);
}

TEST(JobReader, TolerancesVisitsAndProvocations) {
  const auto cart = test::small_cart();
  const auto job = read(
      R"({"id":"a","type":"reading","instrument":"meter","red":"S1.in","black":"S1.out","state":{},"volts":40,"tolerance_volt":3},
         {"id":"b","type":"reading","instrument":"ohmmeter","red":"S1.in","black":"S1.out","isolated":true,"ohms":0.2,"tolerance_ohm":0.5,"visit":2},
         {"id":"c","type":"reading","instrument":"clamp","wire":"W1","amps":4,"tolerance_ampere":1,"provoked":{"how":"heat","zone":"dash"}},
         {"id":"d","type":"sign","part":"K1","sign":"click","outcome":"yes","visit":1,"provoked":{"how":"wet","zone":"seat"}},
         {"id":"e","type":"look","component":"W1","outcome":"clean","visit":3})");
  ASSERT_EQ(job.entries.size(), 5U);
  EXPECT_EQ(job.entries[0].tolerance, 3);
  EXPECT_EQ(job.entries[0].visit, 0);
  EXPECT_EQ(job.entries[0].provocation, Entry::Provocation::nothing);
  EXPECT_EQ(job.entries[0].provoked_zone, vehicle::none);
  EXPECT_EQ(job.entries[1].tolerance, 0.5);
  EXPECT_EQ(job.entries[1].visit, 2);
  EXPECT_EQ(job.entries[2].tolerance, 1);
  EXPECT_EQ(job.entries[2].provocation, Entry::Provocation::heat);
  EXPECT_EQ(job.entries[2].provoked_zone, cart.zone("dash"));
  EXPECT_EQ(job.entries[3].provocation, Entry::Provocation::wet);
  EXPECT_EQ(job.entries[3].provoked_zone, cart.zone("seat"));
  EXPECT_EQ(job.entries[4].visit, 3);
}

TEST(JobReader, CircumstancesOutOfFormAreNamed) {
  const std::string click = R"({"id":"e1","type":"sign","part":"K1","sign":"click",)";
  const auto one = [&](const std::string& members) { return problem_of(click + members + "}"); };
  auto problem = one(R"("outcome":"no","provoked":{"how":"wiggle","zone":"dashh"})");
  EXPECT_EQ(problem, (Problem{Code::reference, "There is no zone 'dashh'; did you mean 'dash'?",
                              "/entries/0/provoked/zone"}));
  EXPECT_EQ(one(R"("outcome":"no","provoked":{"how":"kick","zone":"dash"})").pointer,
            "/entries/0/provoked/how");
  EXPECT_EQ(one(R"("outcome":"no","provoked":{"how":"wiggle"})").pointer, "/entries/0/provoked");
  EXPECT_EQ(one(R"("outcome":"no","visit":1001)").pointer, "/entries/0/visit");
  EXPECT_EQ(one(R"("outcome":"no","visit":1.5)").pointer, "/entries/0/visit");
  EXPECT_EQ(one(R"("outcome":"no","tolerance_volt":1)").pointer, "/entries/0/tolerance_volt");
  problem = problem_of(reading(
      R"("instrument":"meter","red":"S1.in","black":"S1.out","volts":1,"tolerance_volt":0)"));
  EXPECT_EQ(problem.pointer, "/entries/0/tolerance_volt");
  problem = problem_of(
      R"({"id":"e1","type":"look","component":"W1","outcome":"clean","provoked":{"how":"wet","zone":"dash"}})");
  EXPECT_EQ(problem.pointer, "/entries/0/provoked");
}

// Tried until it failed: what showed then, the sign that told when, and the tries before.
TEST(JobReader, ASignTellsTheMoment) {
  const auto job = read(
      R"({"id":"a","type":"reading","instrument":"meter","red":"S1.in","black":"S1.out","state":{"key":"on"},"volts":40,"visit":2,
          "when":{"part":"K1","sign":"click","outcome":"no","after":2}},
         {"id":"b","type":"look","component":"W1","outcome":"clean"})");
  ASSERT_EQ(job.entries.size(), 5U);
  EXPECT_EQ(job.entries[0].type, Entry::Type::reading);
  EXPECT_EQ(job.entries[0].number, 40);
  EXPECT_EQ(job.entries[0].moment, "a");
  for (std::size_t i = 1; i < 4; ++i) {
    const auto& e = job.entries[i];
    EXPECT_EQ(e.id, "a#" + std::to_string(i + 1));
    EXPECT_EQ(e.type, Entry::Type::sign);
    EXPECT_NE(e.sign, vehicle::none);
    EXPECT_EQ(e.state, job.entries[0].state);
    EXPECT_EQ(e.visit, 2);
    EXPECT_EQ(e.outcome, i == 1 ? Outcome::no : Outcome::yes);
    EXPECT_EQ(e.moment, i == 1 ? "a" : "");
  }
  EXPECT_EQ(job.entries[4].id, "b");
}

TEST(JobReader, MomentsOutOfFormAreNamed) {
  const auto when = [&](const std::string& given, const std::string& more = "") {
    return problem_of(reading(R"("instrument":"meter","red":"S1.in","black":"S1.out","volts":1,)" +
                              more + R"("when":)" + given));
  };
  EXPECT_EQ(when(R"({"part":"K9","sign":"click","outcome":"no"})").pointer, "/entries/0/when/part");
  EXPECT_EQ(when(R"({"part":"K1","sign":"clack","outcome":"no"})").pointer, "/entries/0/when/sign");
  EXPECT_EQ(when(R"({"part":"K1","sign":"click"})").pointer, "/entries/0/when");
  EXPECT_EQ(when(R"({"part":"K1","sign":"click","outcome":"perhaps"})").pointer,
            "/entries/0/when/outcome");
  EXPECT_EQ(when(R"({"part":"K1","sign":"click","outcome":"no","after":-1})").pointer,
            "/entries/0/when/after");
  auto problem = problem_of(
      R"({"id":"e1","type":"sign","part":"K1","sign":"click","outcome":"no","when":{"part":"K1","sign":"click","outcome":"no"}})");
  EXPECT_EQ(problem.pointer, "/entries/0/when/sign");
  EXPECT_NE(problem.message.find("name another one"), std::string::npos);
  problem = problem_of(
      R"({"id":"e1","type":"sign","part":"K1","sign":"click","tries":{"no":2},"when":{"part":"K1","sign":"click","outcome":"no"}})");
  EXPECT_EQ(problem.pointer, "/entries/0/when");
  problem = problem_of(
      R"({"id":"e1","type":"reading","instrument":"ohmmeter","red":"S1.in","black":"S1.out","isolated":true,"ohms":2,"when":{"part":"K1","sign":"click","outcome":"no"}})");
  EXPECT_EQ(problem.pointer, "/entries/0/when");
  problem = problem_of(
      R"({"id":"e1","type":"look","component":"W1","outcome":"clean","when":{"part":"K1","sign":"click","outcome":"no"}})");
  EXPECT_EQ(problem.pointer, "/entries/0/when");
}

const std::string tried =
    R"({"id":"e7","type":"sign","part":"K1","sign":"click","state":{"key":"on"},"visit":4,"tries":)";

TEST(JobReader, EachTryIsAnEntry) {
  const auto job = read(tried + R"({"no":3,"yes":2,"chatters":1}},
      {"id":"e8","type":"look","component":"W1","outcome":"clean"})");
  ASSERT_EQ(job.entries.size(), 7U);
  std::vector<std::string> ids;
  std::vector<Outcome> outcomes;
  for (const auto& entry : job.entries) ids.push_back(entry.id);
  for (const auto& entry : job.entries) outcomes.push_back(entry.outcome);
  EXPECT_EQ(ids, (std::vector<std::string>{"e7", "e7#2", "e7#3", "e7#4", "e7#5", "e7#6", "e8"}));
  EXPECT_EQ(outcomes, (std::vector<Outcome>{Outcome::yes, Outcome::yes, Outcome::no, Outcome::no,
                                            Outcome::no, Outcome::chatters, Outcome::clean}));
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_EQ(job.entries[i].state, (vehicle::ControlState{0, 1}));
    EXPECT_EQ(job.entries[i].visit, 4);
  }
  ASSERT_EQ(job.entry_texts.size(), job.entries.size());
  EXPECT_EQ(job.entry_texts[5], "contactor click (K1): chatters, key on, visit 4");
  EXPECT_EQ(job.entry_texts[6], "look at W1: clean");
}

TEST(JobReader, TriesAreWithdrawnTogether) {
  const auto look = R"(,{"id":"e8","type":"look","component":"W1","outcome":"clean"})";
  const auto job = read(tried + R"({"no":3,"yes":2}})" + look, R"("withdrawn":["e7"],)");
  ASSERT_EQ(job.entries.size(), 1U);
  EXPECT_EQ(job.entries[0].id, "e8");
  EXPECT_EQ(job.entry_texts, (std::vector<std::string>{"look at W1: clean"}));
}

TEST(JobReader, TriesThatCannotBe) {
  for (const auto* none_at_all : {"{}", R"({"yes":0,"no":0})"}) {
    const auto problem = problem_of(tried + none_at_all + "}");
    EXPECT_EQ(problem, (Problem{Code::value, "'tries' counts nothing; give at least one try",
                                "/entries/0/tries"}));
  }
  EXPECT_EQ(problem_of(tried + R"({"yes":1001}})").pointer, "/entries/0/tries/yes");
  EXPECT_EQ(problem_of(tried + R"({"yes":-1}})").pointer, "/entries/0/tries/yes");
  EXPECT_EQ(problem_of(tried + R"({"maybe":1}})").pointer, "/entries/0/tries/maybe");
  EXPECT_EQ(problem_of(tried + R"({"yes":1},"outcome":"no"})").pointer, "/entries/0");
  EXPECT_EQ(problem_of(R"({"id":"e7","type":"sign","part":"K1","sign":"click"})").message,
            "Give exactly one of the keys 'outcome', 'tries'");
}

TEST(JobReader, TriesMakeNoMoreEntriesThanAJobMayHave) {
  std::string entries;
  for (int i = 0; i < 6; ++i)
    entries += (i > 0 ? "," : "") + std::string(R"({"id":"t)") + std::to_string(i) +
               R"(","type":"sign","part":"K1","sign":"click","tries":{"yes":1000,"no":1000}})";
  const auto problems = problems_of(entries, R"("withdrawn":["t5"],)");
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems[0],
            (Problem{Code::limit, "The tries make more than 10000 entries; leave some out",
                     "/entries/5"}));
}

TEST(JobReader, CuesComeFromTheRates) {
  std::map<std::string, rates::Cue, std::less<>> cues;
  cues["one_direction_dead"].title = "Only one direction dead";
  const std::string asked =
      R"({"id":"a","type":"cue","cue":"one_direction_dead","outcome":"yes"},
         {"id":"b","type":"cue","cue":"one_direction_dead","outcome":"not_sure","visit":1})";
  const auto cart = test::small_cart();
  const auto set = test::bench_instruments();
  const auto job = read_job(job_with(asked), cart, set, &cues);
  ASSERT_EQ(job.entries.size(), 2U);
  EXPECT_EQ(job.entries[0].type, Entry::Type::cue);
  EXPECT_EQ(job.entries[0].cue, "one_direction_dead");
  EXPECT_EQ(job.entries[0].outcome, Outcome::yes);
  EXPECT_FALSE(job.entries[1].informative());
  EXPECT_EQ(job.entry_texts,
            (std::vector<std::string>{"driver: only one direction dead: yes",
                                      "driver: only one direction dead: not sure, visit 1"}));
  EXPECT_EQ(read(asked, R"("withdrawn":["b"],)").entry_texts,
            (std::vector<std::string>{"driver: one direction dead: yes"}))
      << "without rates any id will do";
  const auto refused = [&](const std::string& entry) {
    try {
      (void)read_job(job_with(entry), cart, set, &cues);
    } catch (const Error& error) {
      return error.problems().at(0);
    }
    return Problem{};
  };
  EXPECT_EQ(refused(R"({"id":"a","type":"cue","cue":"one_direction_ded","outcome":"yes"})"),
            (Problem{Code::reference,
                     "There is no cue 'one_direction_ded'; did you mean 'one_direction_dead'?",
                     "/entries/0/cue"}));
  EXPECT_EQ(refused(R"({"id":"a","type":"cue","cue":"slope","outcome":"yes"})").message,
            "There is no cue 'slope'; there is one_direction_dead");
  EXPECT_EQ(
      refused(R"({"id":"a","type":"cue","cue":"one_direction_dead","outcome":"cannot_reach"})"),
      (Problem{Code::reading,
               "A cue doesn't answer 'cannot_reach'; it answers with yes, no, not_sure",
               "/entries/0/outcome"}));
  EXPECT_EQ(problem_of(R"({"id":"a","type":"cue","cue":"slope","outcome":"yes","state":{}})").code,
            Code::schema);
}

TEST(JobReader, SettingsAreFoundRightOrWrong) {
  auto cart = test::small_cart();
  vehicle::Component key;
  key.id = "key";
  key.type = vehicle::Component::Type::setting;
  cart.components.push_back(key);
  cart.index_names();
  const auto set = test::bench_instruments();
  const auto look = [&](const std::string& component, const std::string& word) {
    return job_with(R"({"id":"a","type":"look","component":")" + component + R"(","outcome":")" +
                    word + R"("})");
  };
  const auto outcome = [&](const std::string& word) {
    const auto job = read_job(look("key", word), cart, set);
    EXPECT_EQ(job.entries.at(0).component, cart.component("key"));
    return job.entries.at(0).outcome;
  };
  EXPECT_EQ(outcome("set_wrong"), Outcome::damage);
  EXPECT_EQ(outcome("damage"), Outcome::damage);
  EXPECT_EQ(outcome("set_right"), Outcome::clean);
  EXPECT_EQ(outcome("clean"), Outcome::clean);
  EXPECT_EQ(outcome("cannot_reach"), Outcome::cannot_reach);
  const auto problem =
      problem_of(R"({"id":"a","type":"look","component":"W1","outcome":"set_wrong"})");
  EXPECT_EQ(problem, (Problem{Code::reading,
                              "A look doesn't answer 'set_wrong'; it answers with damage, clean, "
                              "not_sure, cannot_reach",
                              "/entries/0/outcome"}));
  EXPECT_EQ(
      problem_of(R"({"id":"a","type":"sign","part":"K1","sign":"click","outcome":"set_right"})")
          .code,
      Code::reading);
  EXPECT_EQ(problem_of(R"({"id":"a","type":"look","component":"W99","outcome":"set_wrong"})").code,
            Code::reference)
      << "one problem, not two";
}

// Every component can be looked at, what earlier hands left at a part or connector included.
TEST(JobReader, EarlierWorkIsLookedAt) {
  auto cart = test::small_cart();
  vehicle::Component work;
  work.id = "K1:work";
  work.type = vehicle::Component::Type::earlier_work;
  cart.components.push_back(work);
  cart.index_names();
  const auto set = test::bench_instruments();
  const auto job = read_job(
      job_with(R"({"id":"a","type":"look","component":"K1:work","outcome":"damage"})"), cart, set);
  EXPECT_EQ(job.entries.at(0).component, cart.component("K1:work"));
  EXPECT_EQ(problem_of(R"({"id":"a","type":"look","component":"K1:wrok","outcome":"damage"})").code,
            Code::schema);
}

}  // namespace
}  // namespace faultloom
