#include <faultloom/documents/rates_reader.hpp>

#include <gtest/gtest.h>

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

}  // namespace
}  // namespace faultloom
