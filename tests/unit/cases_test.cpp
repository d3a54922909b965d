// The reference cases through the C++ interface.
#include <support/case_check.hpp>

#include <gtest/gtest.h>
#include <faultloom/documents/model.hpp>

namespace {

using case_check::Case;
using faultloom::documents::Model;

nlohmann::json answer_of(const Case& test) {
  faultloom::documents::ModelSources sources;
  sources.vehicle = test.vehicle;
  const Model model(sources);
  if (test.call == "volts")
    return case_check::volts_answer(model.terminal_names(), model.terminal_volts(test.input));
  if (test.call == "solve") return nlohmann::json::parse(model.solve_json(test.input));
  return nlohmann::json::parse(test.call == "rank" ? model.rank_json(test.input, test.options)
                                                   : model.next_json(test.input, test.options));
}

class ModelCases : public ::testing::TestWithParam<std::string> {};

TEST_P(ModelCases, Hold) {
  const Case test = case_check::read_case(std::string(FAULTLOOM_TESTS_DIR "/cases/") + GetParam(),
                                          FAULTLOOM_DATA_DIR);
  SCOPED_TRACE(test.source);
  for (const auto& failure : case_check::failures(answer_of(test), test.expect))
    ADD_FAILURE() << failure;
}

std::string name_of(const ::testing::TestParamInfo<std::string>& info) {
  return case_check::test_name(info.param);
}

GTEST_ALLOW_UNINSTANTIATED_PARAMETERIZED_TEST(ModelCases);
INSTANTIATE_TEST_SUITE_P(Reference, ModelCases,
                         ::testing::ValuesIn(case_check::names(FAULTLOOM_TESTS_DIR "/cases")),
                         name_of);

}  // namespace
