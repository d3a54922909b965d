// Many jobs at once through the C interface: a row for each, what is wrong with one stands in its place.
#include "support.hpp"

#include <string>

namespace {

using capi_test::expect_consistent;
using capi_test::Reply;
using capi_test::reply_of;

class Fleet : public capi_test::WithModel {
 protected:
  static Reply rank(const std::string& jobs, const std::string& options = "{}") {
    return reply_of([&](auto** out, auto** error) {
      return faultloom_model_rank_jobs(model(), jobs.data(), jobs.size(), options.data(),
                                       options.size(), nullptr, nullptr, out, error);
    });
  }

  /// Rows of an answer that has to be there.
  static nlohmann::json rows(const std::string& jobs, const std::string& options = "{}") {
    const Reply reply = rank(jobs, options);
    expect_consistent(reply);
    EXPECT_EQ(reply.status, FAULTLOOM_OK) << reply.message;
    auto answer = nlohmann::json::parse(reply.text);
    EXPECT_EQ(answer["format"], "faultloom.fleet-ranking");
    EXPECT_EQ(answer["vehicle"], "mulch-tug");
    return answer["jobs"];
  }
};

TEST_F(Fleet, ABadJobDoesNotStopTheOthers) {
  const auto good = capi_test::small_job();
  auto wrong = nlohmann::json::parse(good);
  wrong["entries"][0]["part"] = "H77";
  const auto list =
      rows("[" + good + ", {\"format\": nonsense}, " + wrong.dump() + "," + good + "]");
  ASSERT_EQ(list.size(), 4U);
  for (size_t i = 0; i < list.size(); ++i) EXPECT_EQ(list[i]["index"], i);
  EXPECT_EQ(list[1]["status"], "failed");
  EXPECT_EQ(list[1]["problems"][0]["code"], "syntax");
  EXPECT_EQ(list[2]["status"], "failed");
  EXPECT_EQ(list[2]["problems"][0]["code"], "reference");
  EXPECT_EQ(list[2]["problems"][0]["pointer"], "/entries/0/part");
  EXPECT_NE(list[0]["status"], "failed");
  EXPECT_FALSE(list[0]["suspects"].empty());
  auto last = list[3];
  last["index"] = 0;
  EXPECT_EQ(last, list[0]) << "the same job, the same answer";
}

TEST_F(Fleet, LikeAJobAloneIfAskedFor) {
  const auto job = capi_test::small_job();
  const auto list = rows("[" + job + "]", R"({"screen":false,"most_suspects":3})");
  EXPECT_EQ(list[0]["status"], "ranked");
  ASSERT_EQ(list[0]["components"].size(), 3U);
  const Reply alone = reply_of([&](auto** out, auto** error) {
    return faultloom_rank(model(), job.data(), job.size(), nullptr, 0, nullptr, nullptr, out,
                          error);
  });
  ASSERT_EQ(alone.status, FAULTLOOM_OK);
  const auto ranking = nlohmann::json::parse(alone.text);
  EXPECT_EQ(list[0]["bound"], ranking["bound"]);
  EXPECT_EQ(list[0]["components"][0]["probability"], ranking["components"][0]["probability"]);
}

TEST_F(Fleet, WhatIsWrongWithTheListOrTheOptions) {
  EXPECT_TRUE(rows(" [ ] ").empty());
  for (const auto* text : {"", "{}", "[", "[{]", "[\"]", "[] []", "[{}"})
    EXPECT_EQ(rank(text).status, FAULTLOOM_E_SYNTAX) << text;
  EXPECT_EQ(rank("[]", R"({"most_suspects":-1})").status, FAULTLOOM_E_VALUE);
  EXPECT_EQ(rank("[]", R"({"fast":true})").status, FAULTLOOM_E_SCHEMA);
  const auto list = rows("[1,,null]");
  ASSERT_EQ(list.size(), 3U);
  for (const auto& row : list) EXPECT_EQ(row["status"], "failed");
}

}  // namespace
