// Learning, calibration and sensitivity through the C interface: the answers are those of the library, and
// what is wrong with a history comes back with its place.
#include "support.hpp"

#include <string>

namespace {

using capi_test::expect_consistent;
using capi_test::Reply;
using capi_test::reply_of;

class Learning : public capi_test::WithModel {
 protected:
  static nlohmann::json history() {
    auto job = nlohmann::json::parse(capi_test::small_job());
    job["closing"] = {{"verdict", "repaired"}, {"by", "word"}};
    job["confirmed"] = {"F1"};
    return {{"format", "faultloom.history"},
            {"version", "1.0"},
            {"seen", "all"},
            {"jobs", {job}},
            {"running", {{{"vehicle", "mulch-tug"}, {"hours", 4000}}}}};
  }

  static Reply learn(const std::string& history, const faultloom_model* const* models,
                     size_t count) {
    return reply_of([&](auto** out, auto** error) {
      return faultloom_learn_rates(models, count, history.data(), history.size(), nullptr, 0,
                                   nullptr, nullptr, out, error);
    });
  }
};

constexpr char few[] = R"({"budget_sets":500})";
constexpr size_t few_size = sizeof few - 1;

TEST_F(Learning, NewRatesBuildAModel) {
  const faultloom_model* models[] = {model()};
  const Reply reply = learn(history().dump(), models, 1);
  expect_consistent(reply);
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  const auto learned = nlohmann::json::parse(reply.text);
  EXPECT_EQ(learned["format"], "faultloom.learning");
  EXPECT_EQ(learned["history"]["confirmed"], 1);
  const auto rates = learned["rates"].dump();
  const auto vehicle = capi_test::small_vehicle();
  faultloom_model* built = nullptr;
  EXPECT_EQ(faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, rates.data(),
                                      rates.size(), nullptr, 0, nullptr, 0, nullptr, nullptr,
                                      &built, nullptr),
            FAULTLOOM_OK);
  const capi_test::ModelOwner owner(built);
  // A model with other rates can't be asked together with the first.
  const faultloom_model* mixed[] = {model(), built};
  EXPECT_EQ(learn(history().dump(), mixed, 2).status, FAULTLOOM_E_ARGUMENT);
  // But they can be compared.
  const faultloom_model* others[] = {built};
  const auto text = history().dump();
  const Reply compared = reply_of([&](auto** out, auto** error) {
    return faultloom_calibration(models, 1, others, 1, text.data(), text.size(), few, few_size,
                                 nullptr, nullptr, out, error);
  });
  expect_consistent(compared);
  ASSERT_EQ(compared.status, FAULTLOOM_OK) << compared.message;
  const auto scores = nlohmann::json::parse(compared.text);
  EXPECT_EQ(scores["jobs"], 1);
  EXPECT_GT(scores["log_loss_difference"]["mean"].get<double>(), 0)
      << "the history is what the second rates were learned from";
}

TEST_F(Learning, ProblemsCarryTheirPlace) {
  auto bad = history();
  bad["jobs"][0]["confirmed"] = {"F1", "nothing/like_it"};
  bad["jobs"][0]["entries"][0]["part"] = "H77";
  const faultloom_model* models[] = {model()};
  const Reply reply = learn(bad.dump(), models, 1);
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_REFERENCE);
  EXPECT_EQ(reply.details.size(), 2U);
  EXPECT_EQ(reply.pointer, "/jobs/0/entries/0/part");
  EXPECT_EQ(learn("{", models, 1).status, FAULTLOOM_E_SYNTAX);
  EXPECT_EQ(learn("{}", models, 1).status, FAULTLOOM_E_SCHEMA);
  EXPECT_EQ(learn(bad.dump(), models, 0).status, FAULTLOOM_E_ARGUMENT);
}

TEST_F(Learning, SensitivityOfAJob) {
  const auto job = capi_test::small_job();
  const Reply reply = reply_of([&](auto** out, auto** error) {
    return faultloom_sensitivity(model(), job.data(), job.size(), few, few_size, nullptr, nullptr,
                                 out, error);
  });
  expect_consistent(reply);
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  const auto found = nlohmann::json::parse(reply.text);
  EXPECT_FALSE(found["rates"].empty());
  EXPECT_EQ(found["components"][0]["component"], found["leader"]);
}

int32_t stop_at_once(double, void*) { return 1; }

TEST_F(Learning, CanBeStopped) {
  const auto text = history().dump();
  const faultloom_model* models[] = {model()};
  faultloom_text* out = nullptr;
  EXPECT_EQ(faultloom_learn_rates(models, 1, text.data(), text.size(), nullptr, 0, stop_at_once,
                                  nullptr, &out, nullptr),
            FAULTLOOM_E_CANCELLED);
  EXPECT_EQ(out, nullptr);
}

}  // namespace
