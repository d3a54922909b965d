// The checker of the reference cases must fail when it should: it is given answers that are wrong.
#include <support/case_check.hpp>

#include <gtest/gtest.h>
#include <limits>

namespace {

using case_check::json;

std::size_t failures(const char* answer, const char* expect) {
  return case_check::failures(json::parse(answer), json::parse(expect)).size();
}

constexpr const char* answer = R"({"a":{"b/c":[1.5,"x"]},"empty":[]})";

TEST(CaseCheck, MetExpectations) {
  EXPECT_EQ(failures(answer, R"([{"pointer":"/a/b~1c/0","near":1.4,"tolerance":0.11},
                                {"pointer":"/a/b~1c/0","at_least":1.5,"at_most":1.5},
                                {"pointer":"/a/b~1c/1","equals":"x"},
                                {"pointer":"/empty","equals":[]}])"),
            0U);
}

TEST(CaseCheck, EachMissIsFound) {
  EXPECT_EQ(failures(answer, R"([{"pointer":"/a/b~1c/0","near":1.4,"tolerance":0.09},
                                {"pointer":"/a/b~1c/0","at_least":1.6},
                                {"pointer":"/a/b~1c/0","at_most":1.4},
                                {"pointer":"/a/b~1c/1","equals":"y"},
                                {"pointer":"/a/b~1c/1","at_least":0},
                                {"pointer":"/empty/0","equals":1},
                                {"pointer":"/nowhere","equals":null}])"),
            7U);
}

TEST(CaseCheck, ExpectationsThatCheckNothingFail) {
  EXPECT_EQ(failures(answer, R"([{"pointer":"/a"}, {"pointer":"/a/b~1c/0","tolerance":1},
                                {"pointer":"/a/b~1c/0","nearly":1.5}])"),
            3U);
}

TEST(CaseCheck, NotANumberIsNearNothing) {
  const json bad = {{"x", std::numeric_limits<double>::quiet_NaN()}};
  const auto expect =
      json::parse(R"([{"pointer":"/x","near":0,"tolerance":1e9}, {"pointer":"/x","at_least":0},
                                      {"pointer":"/x","at_most":0}])");
  EXPECT_EQ(case_check::failures(bad, expect).size(), 3U);
}

TEST(CaseCheck, VoltsGoByTerminal) {
  EXPECT_EQ(case_check::volts_answer({"A.x", "B.y"}, {1, 2})["volts"]["B.y"], 2);
  EXPECT_THROW((void)case_check::volts_answer({"A.x"}, {1, 2}), std::exception);
}

}  // namespace
