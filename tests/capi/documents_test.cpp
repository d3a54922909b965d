// Documents checked and made without a model, and the text answers of a model.
#include "support.hpp"

#include <thread>
#include <vector>

namespace {

using capi_test::expect_consistent;
using capi_test::Reply;
using capi_test::reply_of;

Reply check(const std::string& document) {
  return reply_of([&](auto** out, auto** error) {
    return faultloom_check_document(document.data(), document.size(), nullptr, 0, out, error);
  });
}

Reply run_list(const std::string& csv, const std::string& id) {
  return reply_of([&](auto** out, auto** error) {
    return faultloom_vehicle_from_run_list(csv.data(), csv.size(), id.data(), id.size(), out,
                                           error);
  });
}

TEST(CheckDocument, FindingsAreAnAnswer) {
  for (const std::string& bad :
       {std::string(), std::string("{"), std::string("[]"), std::string("{}")}) {
    const Reply reply = check(bad);
    expect_consistent(reply);
    ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
    const auto problems = nlohmann::json::parse(reply.text);
    ASSERT_TRUE(problems.is_array());
    ASSERT_FALSE(problems.empty()) << bad;
    EXPECT_EQ(problems[0]["code"], faultloom_status_name(problems[0]["number"].get<int>()));
  }
}

TEST(CheckDocument, ShippedVehicleIsFine) {
  const Reply reply = check(capi_test::small_vehicle());
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  EXPECT_EQ(nlohmann::json::parse(reply.text), nlohmann::json::array()) << reply.text;
}

TEST(RunList, BecomesASkeleton) {
  const Reply reply = run_list(capi_test::data("jobs/garden_run_list.csv"), "GARDEN");
  expect_consistent(reply);
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  const auto vehicle = nlohmann::json::parse(reply.text);
  EXPECT_EQ(vehicle["format"], "faultloom.vehicle");
  EXPECT_EQ(vehicle["id"], "GARDEN");
  EXPECT_FALSE(vehicle["wires"].empty());
}

TEST(RunList, EveryBadRowIsNamed) {
  const Reply reply = run_list(
      "wire,from,to,gauge_awg,length_metre\n"
      "W1,A.x,B.y,16,long\n"
      "W2,A.x,B.y,16,1\n"
      "W3,A.x,,16,1\n",
      "CART");
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_VALUE);
  EXPECT_EQ(reply.details.size(), 2U);
}

TEST(RunList, VehicleIdIsAnArgument) {
  const Reply reply = run_list(capi_test::data("jobs/garden_run_list.csv"), "no id");
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_ARGUMENT);
}

class Answers : public capi_test::WithModel {};

TEST_F(Answers, HaveTheirFormat) {
  const std::string job = capi_test::small_job();
  const auto format = [](const Reply& reply) {
    expect_consistent(reply);
    return reply.status == FAULTLOOM_OK
               ? nlohmann::json::parse(reply.text).at("format").get<std::string>()
               : reply.message;
  };
  const auto ask = [&](decltype(&faultloom_rank) question) {
    return format(reply_of([&](auto** out, auto** error) {
      return question(model(), job.data(), job.size(), nullptr, 0, nullptr, nullptr, out, error);
    }));
  };
  EXPECT_EQ(ask(&faultloom_rank), "faultloom.ranking");
  EXPECT_EQ(ask(&faultloom_next_step), "faultloom.step");
  EXPECT_EQ(ask(&faultloom_plan), "faultloom.plan");
  EXPECT_EQ(ask(&faultloom_explain), "faultloom.explanation");
  EXPECT_EQ(
      format(reply_of([](auto** o, auto** e) { return faultloom_model_summary(model(), o, e); })),
      "faultloom.summary");
  EXPECT_EQ(format(reply_of(
                [](auto** o, auto** e) { return faultloom_solve(model(), nullptr, 0, o, e); })),
            "faultloom.solution");
}

TEST_F(Answers, TheCardOfAPlanIsADrawing) {
  const std::string job = capi_test::small_job();
  const Reply reply = reply_of([&](auto** out, auto** error) {
    return faultloom_plan_card(model(), job.data(), job.size(), nullptr, 0, nullptr, nullptr, out,
                               error);
  });
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  EXPECT_EQ(reply.text.rfind("<?xml", 0), 0U);
  EXPECT_NE(reply.text.find("<g id=\"step-1\">"), std::string::npos);
  EXPECT_EQ(reply.text.substr(reply.text.size() - 7), "</svg>\n");
}

TEST_F(Answers, LintIsAList) {
  const Reply reply = reply_of(
      [](auto** o, auto** e) { return faultloom_model_lint(model(), nullptr, nullptr, o, e); });
  expect_consistent(reply);
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  EXPECT_TRUE(nlohmann::json::parse(reply.text).is_array());
}

TEST_F(Answers, SpiceDeckEnds) {
  const Reply reply =
      reply_of([](auto** o, auto** e) { return faultloom_spice_deck(model(), nullptr, 0, o, e); });
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  EXPECT_NE(reply.text.find(".end"), std::string::npos);
}

TEST_F(Answers, OptionsLimitTheList) {
  const std::string job = capi_test::small_job();
  const std::string options = R"({"top":2})";
  const Reply reply = reply_of([&](auto** out, auto** error) {
    return faultloom_rank(model(), job.data(), job.size(), options.data(), options.size(), nullptr,
                          nullptr, out, error);
  });
  ASSERT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
  EXPECT_EQ(nlohmann::json::parse(reply.text)["components"].size(), 2U);
}

TEST_F(Answers, TextsOutliveTheirModel) {
  faultloom_text* text = nullptr;
  {
    const auto model = capi_test::build(capi_test::small_vehicle());
    ASSERT_EQ(faultloom_model_summary(model.get(), &text, nullptr), FAULTLOOM_OK);
  }
  const capi_test::TextOwner owner(text);
  EXPECT_TRUE(nlohmann::json::accept(faultloom_text_data(text)));
}

TEST_F(Answers, AreTheSameFromManyThreads) {
  const std::string job = capi_test::small_job();
  const auto rank = [&] {
    return reply_of([&](auto** out, auto** error) {
             return faultloom_rank(model(), job.data(), job.size(), nullptr, 0, nullptr, nullptr,
                                   out, error);
           })
        .text;
  };
  const std::string expected = rank();
  ASSERT_FALSE(expected.empty());
  std::vector<std::string> answers(4);
  std::vector<std::thread> threads;
  for (std::string& answer : answers) threads.emplace_back([&] { answer = rank(); });
  for (std::thread& thread : threads) thread.join();
  for (const std::string& answer : answers) EXPECT_EQ(answer, expected);
}

}  // namespace
