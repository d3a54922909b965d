#include <faultloom/documents/job_reader.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
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
                "filament lamp dim between K1.coil_feed and K1.coil_return, key on, W4 lifted",
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
            ""}));
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

}  // namespace
}  // namespace faultloom
