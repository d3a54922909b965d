// The reference cases through the C interface.
#include "support.hpp"

#include <support/case_check.hpp>
#include <vector>

namespace {

using capi_test::Reply;
using capi_test::reply_of;
using case_check::Case;

nlohmann::json parsed(const Reply& reply) {
  if (reply.status != FAULTLOOM_OK)
    throw std::runtime_error(reply.message + " at '" + reply.pointer + "'");
  return nlohmann::json::parse(reply.text);
}

nlohmann::json volts(const faultloom_model* model, const std::string& situation) {
  size_t count = 0;
  EXPECT_EQ(faultloom_terminal_count(model, &count, nullptr), FAULTLOOM_OK);
  std::vector<std::string> names;
  for (size_t i = 0; i < count; ++i) {
    const char* name = nullptr;
    EXPECT_EQ(faultloom_terminal_name(model, i, &name, nullptr), FAULTLOOM_OK);
    names.emplace_back(name);
  }
  std::vector<double> values(count);
  faultloom_error* error = nullptr;
  const auto status = faultloom_terminal_volts(model, situation.data(), situation.size(),
                                               values.data(), values.size(), &count, &error);
  const capi_test::ErrorOwner owner(error);
  EXPECT_EQ(status, FAULTLOOM_OK) << faultloom_error_message(error);
  return case_check::volts_answer(names, values);
}

nlohmann::json answer_of(const Case& test) {
  const auto model = capi_test::build(test.vehicle);
  if (test.call == "volts") return volts(model.get(), test.input);
  if (test.call == "solve")
    return parsed(reply_of([&](auto** out, auto** error) {
      return faultloom_solve(model.get(), test.input.data(), test.input.size(), out, error);
    }));
  const auto ask = test.call == "rank" ? &faultloom_rank : &faultloom_next_step;
  const char* options = test.options.empty() ? nullptr : test.options.data();
  return parsed(reply_of([&](auto** out, auto** error) {
    return ask(model.get(), test.input.data(), test.input.size(), options, test.options.size(),
               nullptr, nullptr, out, error);
  }));
}

class CapiCases : public ::testing::TestWithParam<std::string> {};

TEST_P(CapiCases, Hold) {
  const Case test = case_check::read_case(std::string(FAULTLOOM_TESTS_DIR "/cases/") + GetParam(),
                                          FAULTLOOM_DATA_DIR);
  SCOPED_TRACE(test.source);
  for (const auto& failure : case_check::failures(answer_of(test), test.expect))
    ADD_FAILURE() << failure;
}

std::string name_of(const ::testing::TestParamInfo<std::string>& info) {
  return case_check::test_name(info.param);
}

GTEST_ALLOW_UNINSTANTIATED_PARAMETERIZED_TEST(CapiCases);
INSTANTIATE_TEST_SUITE_P(Reference, CapiCases,
                         ::testing::ValuesIn(case_check::names(FAULTLOOM_TESTS_DIR "/cases")),
                         name_of);

}  // namespace
