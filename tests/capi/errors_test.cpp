// What a caller learns when an input is wrong.
#include "support.hpp"

#include <cstdint>
#include <set>

namespace {

using capi_test::expect_consistent;
using capi_test::Reply;
using capi_test::reply_of;

class Errors : public capi_test::WithModel {
 protected:
  static Reply solve(const std::string& situation) {
    return reply_of([&](auto** out, auto** error) {
      return faultloom_solve(model(), situation.data(), situation.size(), out, error);
    });
  }
  static Reply rank(const std::string& job) {
    return reply_of([&](auto** out, auto** error) {
      return faultloom_rank(model(), job.data(), job.size(), nullptr, 0, nullptr, nullptr, out,
                            error);
    });
  }
};

TEST_F(Errors, NotJson) {
  const Reply reply = solve("{\"state\":");
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_SYNTAX);
}

TEST_F(Errors, UnknownMember) {
  const Reply reply = solve("{\"states\":{}}");
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_SCHEMA);
  EXPECT_EQ(reply.pointer, "/states");
}

TEST_F(Errors, EveryProblemIsListedWithItsPlace) {
  const Reply reply =
      solve(R"({"state":{"no_such_control":"on"},"modes":["W1/open","NOPE/open"]})");
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_REFERENCE);
  std::set<std::string> pointers;
  for (const auto& problem : reply.details) pointers.insert(problem["pointer"].get<std::string>());
  EXPECT_EQ(pointers, (std::set<std::string>{"/state/no_such_control", "/modes/1"}));
}

TEST_F(Errors, WrongKindOfDocument) {
  const Reply reply = rank(capi_test::small_vehicle());
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_SCHEMA);
}

TEST_F(Errors, UnknownNameInAJob) {
  auto job = nlohmann::json::parse(capi_test::small_job());
  job["entries"][0]["part"] = "NOPE";
  const Reply reply = rank(job.dump());
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_REFERENCE);
  EXPECT_EQ(reply.pointer.rfind("/entries/0", 0), 0U) << reply.pointer;
}

TEST_F(Errors, UnknownOption) {
  const std::string job = capi_test::small_job();
  const std::string options = R"({"tops":3})";
  for (const auto ask : {&faultloom_rank, &faultloom_next_step, &faultloom_plan,
                         &faultloom_plan_card, &faultloom_explain, &faultloom_ambiguity}) {
    const Reply reply = reply_of([&](auto** out, auto** error) {
      return ask(model(), job.data(), job.size(), options.data(), options.size(), nullptr, nullptr,
                 out, error);
    });
    expect_consistent(reply);
    EXPECT_EQ(reply.status, FAULTLOOM_E_SCHEMA);
    EXPECT_EQ(reply.pointer, "/tops");
  }
}

TEST_F(Errors, EveryProblemOfTheOptionsOfAPlan) {
  const std::string job = capi_test::small_job();
  const std::string options =
      R"({"instruments":["rod"],"alternatives":-1,"depth":0,"residual":1.5,"max_steps":0})";
  for (const auto ask : {&faultloom_plan, &faultloom_plan_card}) {
    const Reply reply = reply_of([&](auto** out, auto** error) {
      return ask(model(), job.data(), job.size(), options.data(), options.size(), nullptr, nullptr,
                 out, error);
    });
    expect_consistent(reply);
    std::set<std::string> pointers;
    for (const auto& problem : reply.details)
      pointers.insert(problem["pointer"].get<std::string>());
    EXPECT_EQ(pointers, (std::set<std::string>{"/instruments/0", "/alternatives", "/depth",
                                               "/residual", "/max_steps"}));
  }
}

TEST_F(Errors, EveryProblemOfTheOptionsForWhatCanBeToldApart) {
  const std::string job = capi_test::small_job();
  const std::string options =
      R"({"instruments":["meter","rod"],"closed_zones":["attic"],"looks":1,"lifting":"no","top":-1})";
  const auto expect_all = [](const Reply& reply) {
    expect_consistent(reply);
    std::set<std::string> pointers;
    for (const auto& problem : reply.details)
      pointers.insert(problem["pointer"].get<std::string>());
    EXPECT_EQ(pointers, (std::set<std::string>{"/instruments/1", "/closed_zones/0", "/looks",
                                               "/lifting", "/top"}));
  };
  expect_all(reply_of([&](auto** out, auto** error) {
    return faultloom_ambiguity(model(), job.data(), job.size(), options.data(), options.size(),
                               nullptr, nullptr, out, error);
  }));
  expect_all(reply_of([&](auto** out, auto** error) {
    return faultloom_testability(model(), options.data(), options.size(), nullptr, nullptr, out,
                                 error);
  }));
  const Reply empty = reply_of([&](auto** out, auto** error) {
    return faultloom_testability(model(), "", 0, nullptr, nullptr, out, error);
  });
  expect_consistent(empty);
  EXPECT_EQ(empty.status, FAULTLOOM_E_ARGUMENT);
}

TEST_F(Errors, WhatStandsAgainstAClosing) {
  const std::string job = capi_test::small_job();
  const auto close = [&](const std::string& closing) {
    return reply_of([&](auto** out, auto** error) {
      return faultloom_close_job(model(), job.data(), job.size(), closing.data(), closing.size(),
                                 nullptr, nullptr, out, error);
    });
  };
  const Reply bad = close(R"({"verdict":"mended","by":"luck","note":7,"who":"me"})");
  expect_consistent(bad);
  std::set<std::string> pointers;
  for (const auto& problem : bad.details) pointers.insert(problem["pointer"].get<std::string>());
  EXPECT_EQ(pointers, (std::set<std::string>{"/verdict", "/by", "/note", "/who"}));

  const Reply refused = close(R"({"verdict":"repaired"})");
  expect_consistent(refused);
  EXPECT_EQ(refused.status, FAULTLOOM_E_NOT_VERIFIED);
  EXPECT_GT(refused.details.size(), 1U);  // no repair, and nothing proved

  const Reply closed = close(R"({"verdict":"not_repaired","by":"word","note":"parts on order"})");
  EXPECT_EQ(closed.status, FAULTLOOM_OK);
}

TEST_F(Errors, ABudgetOfSetsOutOfRange) {
  const std::string job = capi_test::small_job();
  for (const std::string value : {"-1", "1000000001", "2.5", "18446744073709551615", "\"many\""}) {
    SCOPED_TRACE(value);
    const std::string options = "{\"budget_sets\":" + value + "}";
    for (const auto ask : {&faultloom_rank, &faultloom_explain}) {
      const Reply reply = reply_of([&](auto** out, auto** error) {
        return ask(model(), job.data(), job.size(), options.data(), options.size(), nullptr,
                   nullptr, out, error);
      });
      expect_consistent(reply);
      EXPECT_EQ(reply.status, FAULTLOOM_E_VALUE);
      EXPECT_EQ(reply.pointer, "/budget_sets");
    }
  }
}

TEST_F(Errors, BytesThatAreNotUtf8) {
  expect_consistent(solve("{\"modes\":[\"\xff\xfe\"]}"));
  expect_consistent(reply_of([&](auto** out, auto** error) {
    return faultloom_vehicle_from_run_list("wire,\xff\n", 7, "CART", 4, out, error);
  }));
  expect_consistent(reply_of([&](auto** out, auto** error) {
    return faultloom_vehicle_from_run_list("wire\n", 5, "\xff", 1, out, error);
  }));
}

TEST_F(Errors, AnIdOfAJobThatIsNotUtf8) {
  faultloom_job* job = nullptr;
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_job_new(model(), "a\x94", 2, &job, &error), FAULTLOOM_E_SCHEMA);
  const capi_test::ErrorOwner owner(error);
  EXPECT_STREQ(faultloom_error_pointer(error), "/id");
  EXPECT_EQ(job, nullptr);
}

TEST_F(Errors, MessagesStayOnOneLine) {
  faultloom_job* job = nullptr;
  ASSERT_EQ(faultloom_job_new(model(), "j", 1, &job, nullptr), FAULTLOOM_OK);
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_job_withdraw(job, "a\nb", 3, &error), FAULTLOOM_E_REFERENCE);
  const capi_test::ErrorOwner owner(error);
  EXPECT_STREQ(faultloom_error_message(error), "There is no entry 'a?b'");
  faultloom_job_free(job);
}

TEST_F(Errors, MessagesStayShortWhateverTheyQuote) {
  faultloom_job* job = nullptr;
  ASSERT_EQ(faultloom_job_new(model(), "j", 1, &job, nullptr), FAULTLOOM_OK);
  const std::string id = std::string(39, 'a') + "\u00E9" + std::string(1000000, 'b');
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_job_withdraw(job, id.data(), id.size(), &error), FAULTLOOM_E_REFERENCE);
  const capi_test::ErrorOwner owner(error);
  EXPECT_EQ(faultloom_error_message(error), "There is no entry '" + std::string(39, 'a') + "...'");
  faultloom_job_free(job);
}

TEST_F(Errors, NulInsideAText) {
  const std::string situation("{\0}", 3);
  const Reply reply = solve(situation);
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_SYNTAX);
}

TEST_F(Errors, ImpossibleSize) {
  const Reply reply = reply_of([&](auto** out, auto** error) {
    return faultloom_solve(model(), "{}", static_cast<size_t>(-1), out, error);
  });
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_ARGUMENT);
  EXPECT_NE(reply.message.find("'situation'"), std::string::npos);
}

TEST_F(Errors, EmptyTextIsNotTheDefault) {
  const Reply situation = solve("");
  expect_consistent(situation);
  EXPECT_EQ(situation.status, FAULTLOOM_E_ARGUMENT);
  EXPECT_NE(situation.message.find("'situation'"), std::string::npos);

  const std::string vehicle = capi_test::small_vehicle();
  faultloom_model* built = nullptr;
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, "", 0, nullptr, 0,
                                      nullptr, 0, nullptr, nullptr, &built, &error),
            FAULTLOOM_E_ARGUMENT);
  const capi_test::ErrorOwner owner(error);
  EXPECT_NE(std::string(faultloom_error_message(error)).find("'rates'"), std::string::npos);
  EXPECT_EQ(built, nullptr);
}

TEST_F(Errors, NullTextWithASize) {
  const Reply reply = reply_of(
      [&](auto** out, auto** error) { return faultloom_solve(model(), nullptr, 3, out, error); });
  expect_consistent(reply);
  EXPECT_EQ(reply.status, FAULTLOOM_E_ARGUMENT);
}

TEST_F(Errors, ErrorsOutliveTheirModel) {
  faultloom_error* error = nullptr;
  {
    const auto model = capi_test::build(capi_test::small_vehicle());
    EXPECT_EQ(faultloom_solve(model.get(), "[]", 2, nullptr, &error), FAULTLOOM_E_ARGUMENT);
  }
  const capi_test::ErrorOwner owner(error);
  EXPECT_STREQ(faultloom_error_message(error), "Argument 'solution' is NULL");
}

TEST(ModelErrors, EveryProblemOfTheVehicle) {
  auto vehicle = nlohmann::json::parse(capi_test::small_vehicle());
  vehicle["nominal_volt"] = "48";
  vehicle["no_such_member"] = 1;
  const std::string text = vehicle.dump();
  faultloom_model* built = nullptr;
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_model_from_json(text.data(), text.size(), nullptr, 0, nullptr, 0, nullptr, 0,
                                      nullptr, 0, nullptr, nullptr, &built, &error),
            FAULTLOOM_E_SCHEMA);
  const capi_test::ErrorOwner owner(error);
  EXPECT_EQ(built, nullptr);
  EXPECT_GE(nlohmann::json::parse(faultloom_error_details(error)).size(), 2U);
}

TEST(ModelErrors, NameTheDocumentAtFault) {
  const std::string vehicle = capi_test::small_vehicle();
  faultloom_model* built = nullptr;
  faultloom_error* error = nullptr;
  EXPECT_EQ(faultloom_model_from_json(vehicle.data(), vehicle.size(), nullptr, 0, "{}", 2, nullptr,
                                      0, nullptr, 0, nullptr, nullptr, &built, &error),
            FAULTLOOM_E_SCHEMA);
  const capi_test::ErrorOwner owner(error);
  EXPECT_NE(std::string(faultloom_error_message(error)).find("rates"), std::string::npos)
      << faultloom_error_message(error);
}

TEST(Status, NamesAndMeanings) {
  EXPECT_STREQ(faultloom_status_name(FAULTLOOM_OK), "ok");
  EXPECT_STREQ(faultloom_status_name(FAULTLOOM_E_NO_STEP), "no_step");
  EXPECT_STREQ(faultloom_status_name(FAULTLOOM_E_NOT_VERIFIED), "not_verified");
  EXPECT_STREQ(faultloom_status_name(-5), "unknown");
  EXPECT_STRNE(faultloom_status_meaning(FAULTLOOM_E_READING), "");
  EXPECT_STRNE(faultloom_status_meaning(12345), "");
}

TEST(Library, SaysWhatItIs) {
  EXPECT_EQ(faultloom_abi_version(), static_cast<uint32_t>(FAULTLOOM_ABI_VERSION));
  const auto info = nlohmann::json::parse(faultloom_build_info());
  EXPECT_EQ(info["version"], faultloom_version());
  EXPECT_EQ(info["abi"], FAULTLOOM_ABI_VERSION);
  EXPECT_TRUE(info["compiler"].is_string());
  EXPECT_TRUE(info["build_type"].is_string());
}

}  // namespace
