// The firewall with each type of exception. The library hides its own copy of the code, so this one is
// compiled into the test, and errors are freed by the same copy.
#include <guard.hpp>

#include <gtest/gtest.h>
#include <memory>
#include <new>
#include <nlohmann/json.hpp>
#include <stdexcept>

namespace faultloom::capi {
namespace {

struct Release {
  void operator()(faultloom_error* error) const { release(error); }
};
using Owner = std::unique_ptr<faultloom_error, Release>;

template <typename Work>
Owner run(faultloom_status expected, Work work) {
  faultloom_error* error = nullptr;
  EXPECT_EQ(guard(&error, work), expected);
  EXPECT_EQ(guard(nullptr, work), expected) << "without an error to fill";
  return Owner(error);
}

TEST(Guard, SuccessClearsTheError) {
  faultloom_error dummy{{}, FAULTLOOM_E_SYNTAX, "", "", ""};
  faultloom_error* error = &dummy;
  EXPECT_EQ(guard(&error, [] {}), FAULTLOOM_OK);
  EXPECT_EQ(error, nullptr);
}

TEST(Guard, ErrorKeepsAllItsProblems) {
  const auto error = run(FAULTLOOM_E_REFERENCE, [] {
    throw Error({{Code::reference, "No part K9", "/parts"}, {Code::value, "Too hot", "/a~1b"}});
  });
  ASSERT_NE(error, nullptr);
  EXPECT_EQ(error->code, FAULTLOOM_E_REFERENCE);
  EXPECT_STREQ(error->message, "No part K9");
  EXPECT_STREQ(error->pointer, "/parts");
  const auto details = nlohmann::json::parse(error->details);
  ASSERT_EQ(details.size(), 2U);
  EXPECT_EQ(details[1]["code"], "value");
  EXPECT_EQ(details[1]["number"], FAULTLOOM_E_VALUE);
  EXPECT_EQ(details[1]["message"], "Too hot");
  EXPECT_EQ(details[1]["pointer"], "/a~1b");
}

TEST(Guard, ErrorWithoutProblemsIsADefect) {
  const auto error = run(FAULTLOOM_E_INTERNAL, [] { throw Error(std::vector<Problem>{}); });
  ASSERT_NE(error, nullptr);
  EXPECT_EQ(error->code, FAULTLOOM_E_INTERNAL);
  EXPECT_STRNE(error->message, "");
}

TEST(Guard, NoMemoryNeedsNoMemory) {
  const auto error = run(FAULTLOOM_E_MEMORY, [] { throw std::bad_alloc(); });
  EXPECT_EQ(error.get(), &out_of_memory);
  EXPECT_EQ(nlohmann::json::parse(error->details)[0]["number"], FAULTLOOM_E_MEMORY);
  EXPECT_EQ(nlohmann::json::parse(error->details)[0]["code"], name_of(Code::memory));
}

TEST(Guard, OtherExceptionsAreDefects) {
  const auto error = run(FAULTLOOM_E_INTERNAL, [] { throw std::out_of_range("vector::at"); });
  ASSERT_NE(error, nullptr);
  EXPECT_STREQ(error->message, "Unexpected exception: vector::at");
  const auto thrown_number = run(FAULTLOOM_E_INTERNAL, [] { throw 42; });
  ASSERT_NE(thrown_number, nullptr);
  EXPECT_EQ(thrown_number->code, FAULTLOOM_E_INTERNAL);
}

TEST(Guard, TextThatIsNotUtf8StillLeavesAnError) {
  const auto error = run(FAULTLOOM_E_SYNTAX, [] { throw Error(Code::syntax, "Bad byte '\xff'"); });
  ASSERT_NE(error, nullptr);
  EXPECT_EQ(error->code, FAULTLOOM_E_SYNTAX);
  EXPECT_EQ(nlohmann::json::parse(error->details)[0]["number"], error->code);
}

TEST(Guard, ConstantErrorsAreConsistent) {
  for (const auto* fixed : {&out_of_memory, &indescribable}) {
    const auto details = nlohmann::json::parse(fixed->details);
    ASSERT_EQ(details.size(), 1U);
    EXPECT_EQ(details[0]["number"], fixed->code);
    EXPECT_EQ(details[0]["message"], fixed->message);
    EXPECT_EQ(details[0]["code"], name_of(static_cast<Code>(fixed->code)));
  }
}

}  // namespace
}  // namespace faultloom::capi
