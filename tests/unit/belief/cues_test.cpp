#include <faultloom/belief/cues.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace faultloom::belief {
namespace {

using readings::Entry;
using readings::Outcome;

Entry said(const std::string& cue, Outcome outcome) {
  Entry entry;
  entry.type = Entry::Type::cue;
  entry.cue = cue;
  entry.outcome = outcome;
  return entry;
}

/// Three cues about the small cart: contactors fit the first, switches the second, packs all of them.
class CueTest : public testing::Test {
 protected:
  CueTest() {
    rates.cue_weight = 1;
    rates.cue_limit_deciban = 30;
    rates.cues["jolt"] = {"Died with a jolt", {{"contactor", 0.6}, {"pack", 0.4}}, 0.2, ""};
    rates.cues["wet"] = {"Died when wet", {{"switch", 0.3}, {"pack", 0.5}}, 0.1, ""};
    rates.cues["slope"] = {"Died on a slope", {{"pack", 0.9}}, 0.3, ""};
  }

  [[nodiscard]] Cues cues(const std::vector<Entry>& entries) const {
    return {cart, rates, entries};
  }
  [[nodiscard]] double factor(const Cues& cues, std::string_view id) const {
    return cues.factor(cart.component(id));
  }

  vehicle::Vehicle cart = test::small_cart();
  rates::Rates rates;
};

TEST_F(CueTest, NothingSaidChangesNothing) {
  const std::vector<double> priors(cart.components.size(), 0.01);
  for (const auto& none : {Cues(), cues({}), cues({said("jolt", Outcome::not_sure)})}) {
    EXPECT_TRUE(none.empty());
    EXPECT_EQ(none.factor(0), 1);
    EXPECT_EQ(none.other(), 1);
    EXPECT_EQ(none.ceiling(), 1);
    EXPECT_EQ(none.marginal(priors), 1);
  }
}

TEST_F(CueTest, AnswersAreRatiosAgainstAnythingElse) {
  const auto yes = cues({said("jolt", Outcome::yes)});
  EXPECT_FALSE(yes.empty());
  EXPECT_NEAR(factor(yes, "K1"), 3, 1e-12);
  EXPECT_NEAR(factor(yes, "BAT1"), 2, 1e-12);
  EXPECT_EQ(factor(yes, "S1"), 1) << "a kind that the cue does not name";
  EXPECT_EQ(yes.other(), 1);
  EXPECT_NEAR(yes.ceiling(), 3, 1e-12);
  const auto no = cues({said("jolt", Outcome::no)});
  EXPECT_NEAR(factor(no, "K1"), 0.5, 1e-12);
  EXPECT_EQ(no.ceiling(), 1);
  const auto both = cues({said("jolt", Outcome::yes), said("wet", Outcome::no)});
  EXPECT_NEAR(factor(both, "BAT1"), 2 * 0.5 / 0.9, 1e-12);
}

TEST_F(CueTest, TheWeightIsAnExponent) {
  rates.cue_weight = 0.6;
  const auto both = cues({said("jolt", Outcome::yes), said("slope", Outcome::yes)});
  EXPECT_NEAR(factor(both, "K1"), std::pow(3, 0.6), 1e-12);
  EXPECT_NEAR(factor(both, "BAT1"), std::pow(2 * 3, 0.6), 1e-12);
  rates.cue_weight = 0;
  EXPECT_EQ(factor(cues({said("jolt", Outcome::yes)}), "K1"), 1);
}

TEST_F(CueTest, AllTogetherStayWithinTheLimit) {
  rates.cue_limit_deciban = 10;
  const std::vector all{said("jolt", Outcome::yes), said("wet", Outcome::yes),
                        said("slope", Outcome::yes)};
  EXPECT_NEAR(factor(cues(all), "BAT1"), 10, 1e-12) << "2 * 5 * 3 is more than ten to one";
  EXPECT_NEAR(factor(cues(all), "K1"), 3, 1e-12);
  EXPECT_NEAR(cues(all).ceiling(), 10, 1e-12);
  rates.cue_limit_deciban = 3;
  EXPECT_NEAR(factor(cues(all), "BAT1"), std::pow(10, 0.3), 1e-12);
  EXPECT_NEAR(factor(cues({said("slope", Outcome::no)}), "BAT1"), std::pow(10, -0.3), 1e-12)
      << "against as well as for";
}

TEST_F(CueTest, NoAnswerIsCertain) {
  rates.cues["sure"] = {"", {{"contactor", 1.0}, {"pack", 0.0}}, 0.0, ""};
  EXPECT_NEAR(factor(cues({said("sure", Outcome::yes)}), "K1"), 99, 1e-9);
  EXPECT_NEAR(factor(cues({said("sure", Outcome::no)}), "K1"), 1.0 / 99, 1e-12);
  EXPECT_NEAR(factor(cues({said("sure", Outcome::yes)}), "BAT1"), 1, 1e-12);
}

TEST_F(CueTest, TheSameAgainAddsNothingAndContradictionsCancel) {
  const auto jolt = said("jolt", Outcome::yes);
  EXPECT_EQ(factor(cues({jolt, jolt, jolt}), "K1"), factor(cues({jolt}), "K1"));
  const auto doubtful = cues({jolt, jolt, said("jolt", Outcome::no), said("wet", Outcome::yes)});
  EXPECT_EQ(factor(doubtful, "K1"), 1);
  EXPECT_EQ(factor(doubtful, "S1"), factor(cues({said("wet", Outcome::yes)}), "S1"));
  EXPECT_TRUE(cues({jolt, said("jolt", Outcome::no)}).empty());
}

TEST_F(CueTest, OrderLeavesTheSameBits) {
  std::vector entries{said("jolt", Outcome::yes), said("slope", Outcome::no),
                      said("wet", Outcome::yes)};
  const auto by_cue = [](const Entry& a, const Entry& b) { return a.cue < b.cue; };
  const std::vector<double> priors(cart.components.size(), 0.013);
  const auto first = cues(entries);
  std::sort(entries.begin(), entries.end(), by_cue);
  do {
    const auto now = cues(entries);
    for (std::size_t c = 0; c < cart.components.size(); ++c)
      EXPECT_EQ(now.factor(static_cast<Index>(c)), first.factor(static_cast<Index>(c)));
    EXPECT_EQ(now.marginal(priors), first.marginal(priors));
  } while (std::next_permutation(entries.begin(), entries.end(), by_cue));
}

TEST_F(CueTest, WithoutAnEntryIsAsIfItHadNeverBeen) {
  Entry look;
  look.type = Entry::Type::look;
  look.component = 0;
  look.outcome = Outcome::damage;
  const std::vector entries{look, said("jolt", Outcome::yes), said("jolt", Outcome::no),
                            said("wet", Outcome::yes)};
  const auto all = cues(entries);
  const auto rest = all.without(2);
  const auto fresh = cues({entries[1], entries[3]});
  for (std::size_t c = 0; c < cart.components.size(); ++c)
    EXPECT_EQ(rest.factor(static_cast<Index>(c)), fresh.factor(static_cast<Index>(c)));
  EXPECT_EQ(rest.ceiling(), fresh.ceiling());
  EXPECT_EQ(factor(all.without(0), "BAT1"), factor(all, "BAT1")) << "a look is no cue";
  EXPECT_EQ(factor(all.without(3), "BAT1"), 1);
  EXPECT_TRUE(all.without(3).empty()) << "the jolt stays contradicted";
}

TEST_F(CueTest, MarginalOfIndependentComponents) {
  const auto jolt = cues({said("jolt", Outcome::yes)});
  std::vector<double> priors(cart.components.size(), 0);
  const auto prior = [&](std::string_view id) -> double& {
    return priors[static_cast<std::size_t>(cart.component(id))];
  };
  prior("K1") = 0.1;
  EXPECT_NEAR(jolt.marginal(priors), 0.9 + 0.1 * 3, 1e-12);
  prior("BAT1") = 0.2;
  EXPECT_NEAR(jolt.marginal(priors), (0.9 + 0.1 * 3) * (0.8 + 0.2 * 2), 1e-12);
}

TEST_F(CueTest, UnknownCuesArePassedOver) {
  EXPECT_TRUE(cues({said("never_heard", Outcome::yes)}).empty());
}

}  // namespace
}  // namespace faultloom::belief
