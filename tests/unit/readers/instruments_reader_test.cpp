#include <faultloom/documents/cautions_reader.hpp>
#include <faultloom/documents/instruments_reader.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

namespace faultloom {
namespace {

using documents::read_instruments;
using readings::Instrument;

const std::string senses = R"("senses":{"hear":{"missed":0.05,"false":0.02,"wrong_state":0.01},
  "see":{"missed":0.04,"false":0.01,"wrong_state":0.01},"feel":{"missed":0.1,"false":0.03,"wrong_state":0.01}})";
const std::string errors =
    R"("errors":{"no_contact":0.02,"wrong_neighbour":0.01,"wrong_state":0.03,"gross":0.005})";

std::string document(const std::string& instruments, const std::string& use = senses) {
  return R"({"format":"faultloom.instruments","version":"1.0",
    "model_tolerance":{"relative":0.03,"volt":0.06,"ohm_relative":0.2,"ampere_relative":0.1,"insulation":0.5},
    "repeat_correlation":0.4,)" +
         use + R"(,"instruments":{)" + instruments + "}}";
}

std::string instrument(const std::string& id, const std::string& members) {
  return '"' + id + R"(":{"title":"T","minutes":0.7,"cautions":["live_probing"],)" + errors + ',' +
         members + '}';
}

std::vector<Problem> problems_of(const std::string& text) {
  try {
    (void)read_instruments(text);
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

const std::string volt_members =
    R"("type":"voltmeter","resistance_ohm":1e7,"noise_relative":0.005,"noise_volt":0.02,"resolution_volt":0.01,"full_scale_volt":600)";
const std::string lamp_members =
    R"("type":"lamp","rated_volt":48,"rated_watt":10,"current_exponent":0.55,"light_exponent":3.4,"bright_from":0.5,"dark_below":0.01,"judgement_sigma":0.25,"misjudged":0.02)";

TEST(InstrumentsReader, KeysWithUnitsBecomeMembers) {
  const auto set = read_instruments(document(
      instrument("meter", volt_members) + ',' + instrument("lamp", lamp_members) + ',' +
      instrument(
          "ohmmeter",
          R"("type":"ohmmeter","test_ampere":0.0005,"noise_relative":0.01,"noise_ohm":0.3,"resolution_ohm":0.1,"full_scale_ohm":2e7)") +
      ',' + instrument("beeper", R"("type":"beeper","beeps_below_ohm":40,"misjudged":0.01)") + ',' +
      instrument(
          "clamp",
          R"("type":"clamp","noise_relative":0.02,"noise_ampere":0.05,"resolution_ampere":0.1,"full_scale_ampere":400)")));
  ASSERT_EQ(set.instruments.size(), 5U);
  const auto& meter = set.instruments.at(static_cast<std::size_t>(set.find("meter")));
  EXPECT_EQ(meter.type, Instrument::Type::voltmeter);
  EXPECT_EQ(meter.resistance_ohm, 1e7);
  EXPECT_EQ(meter.noise_absolute, 0.02);
  EXPECT_EQ(meter.resolution, 0.01);
  EXPECT_EQ(meter.full_scale, 600);
  EXPECT_EQ(meter.minutes, 0.7);
  EXPECT_EQ(meter.cautions, (std::vector<std::string>{"live_probing"}));
  EXPECT_DOUBLE_EQ(meter.errors.sum(), 0.065);
  const auto& lamp = set.instruments.at(static_cast<std::size_t>(set.find("lamp")));
  EXPECT_EQ(lamp.bright_from, 0.5);
  EXPECT_EQ(lamp.judgement_sigma, 0.25);
  EXPECT_EQ(set.instruments.at(static_cast<std::size_t>(set.find("ohmmeter"))).noise_absolute, 0.3);
  EXPECT_EQ(set.instruments.at(static_cast<std::size_t>(set.find("beeper"))).beeps_below_ohm, 40);
  EXPECT_EQ(set.instruments.at(static_cast<std::size_t>(set.find("clamp"))).full_scale, 400);
  EXPECT_EQ(set.hear.missed, 0.05);
  EXPECT_EQ(set.hear.imagined, 0.02);
  EXPECT_EQ(set.feel.missed, 0.1);
  EXPECT_EQ(set.tolerance.relative, 0.03);
  EXPECT_EQ(set.tolerance.ampere_relative, 0.1);
  EXPECT_EQ(set.tolerance.insulation, 0.5);
  EXPECT_EQ(set.repeat_correlation, 0.4);
}

bool has(const std::vector<Problem>& problems, Code code, const std::string& pointer) {
  return std::any_of(problems.begin(), problems.end(),
                     [&](const Problem& p) { return p.code == code && p.pointer == pointer; });
}

TEST(InstrumentsReader, KeysOfAnotherTypeAreRefused) {
  const auto problems =
      problems_of(document(instrument("lamp", lamp_members + R"(,"resistance_ohm":100)")));
  EXPECT_TRUE(has(problems, Code::schema, "/instruments/lamp/resistance_ohm") ||
              has(problems, Code::schema, "/instruments/lamp"));
}

TEST(InstrumentsReader, MissingNumbersAreNamed) {
  const auto problems = problems_of(document(instrument("beeper", R"("type":"beeper")")));
  ASSERT_FALSE(problems.empty());
  EXPECT_EQ(problems[0].code, Code::schema);
  EXPECT_NE(problems[0].message.find("beeps_below_ohm"), std::string::npos) << problems[0].message;
}

TEST(InstrumentsReader, NumbersMustGoTogether) {
  auto lamp = lamp_members;
  lamp.replace(lamp.find("0.5,\"dark_below\":0.01"), 21, "0.1,\"dark_below\":0.2");
  auto meter = volt_members;
  meter.replace(meter.find("600"), 3, "0.001");
  auto text = document(instrument("lamp", lamp) + ',' + instrument("meter", meter));
  text.replace(text.find("\"no_contact\":0.02"), 17, "\"no_contact\":0.97");
  const auto problems = problems_of(text);
  EXPECT_TRUE(has(problems, Code::value, "/instruments/lamp/dark_below"));
  EXPECT_TRUE(has(problems, Code::value, "/instruments/lamp/errors"));
  EXPECT_TRUE(has(problems, Code::value, "/instruments/meter"));
  EXPECT_EQ(problems.size(), 3U);
}

TEST(InstrumentsReader, SensesMustBeBetterThanGuessing) {
  auto bad = senses;
  bad.replace(bad.find("\"missed\":0.05"), 13, "\"missed\":0.60");
  EXPECT_TRUE(has(problems_of(document(instrument("meter", volt_members), bad)), Code::value,
                  "/senses/hear/missed"));
}

TEST(CautionsReader, ReadsWordsAndTexts) {
  const auto cautions = documents::read_cautions(
      R"({"format":"faultloom.cautions","version":"1.0","cautions":{"live_probing":{"signal_word":"WARNING","text":"Keep one hand away."}}})");
  ASSERT_EQ(cautions.size(), 1U);
  EXPECT_EQ(cautions.at("live_probing").signal_word, "WARNING");
  EXPECT_EQ(cautions.at("live_probing").text, "Keep one hand away.");
}

}  // namespace
}  // namespace faultloom
