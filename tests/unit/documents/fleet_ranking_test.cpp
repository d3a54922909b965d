#include "unit/fleet/drawn_jobs.hpp"

#include <faultloom/documents/fleet_ranking.hpp>
#include <faultloom/documents/job_shape.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text_list.hpp>

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <random>
#include <string>

// The answer about many jobs, and the short cuts on the way to it: a list cut into its elements, a look at a job
// instead of the schema.
namespace faultloom::test {
namespace {

using documents::elements_of;
using documents::is_plain_job;
using nlohmann::json;

documents::Model small_model() {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/vehicles/mulch-tug.json",
                     std::ios::binary);
  const std::string vehicle{std::istreambuf_iterator<char>(file), {}};
  documents::ModelSources sources;
  sources.vehicle = vehicle;
  return documents::Model(sources);
}

std::vector<std::string> drawn_texts(const documents::Model& model, std::size_t count) {
  DrawnJobs jobs(model, 99);
  std::vector<std::string> texts;
  for (std::size_t i = 0; i < count; ++i)
    texts.push_back(jobs.draw(7, i % 3 == 0 ? 700 : 0).dump());
  return texts;
}

json rows_of(const documents::Model& model, const std::vector<std::string>& texts,
             const char* options) {
  const std::vector<std::string_view> views(texts.begin(), texts.end());
  return json::parse(documents::rank_jobs_json(model, views, options))["jobs"];
}

TEST(FleetRanking, RowsDoNotDependOnTheirCompany) {
  const auto model = small_model();
  const auto texts = drawn_texts(model, 9);
  const auto* options = R"({"full":false})";
  const auto whole = rows_of(model, texts, options);
  ASSERT_EQ(whole.size(), texts.size());
  for (std::size_t from = 0; from < texts.size(); from += 4) {
    const std::vector<std::string> chunk(
        texts.begin() + static_cast<std::ptrdiff_t>(from),
        texts.begin() + static_cast<std::ptrdiff_t>(std::min(from + 4, texts.size())));
    const auto rows = rows_of(small_model(), chunk, options);
    for (std::size_t i = 0; i < rows.size(); ++i) {
      auto row = rows[i];
      EXPECT_EQ(row["index"], i);
      row["index"] = from + i;
      EXPECT_EQ(row, whole[from + i]);
    }
  }
  for (const auto& row : whole) {
    EXPECT_EQ(row["status"], "screened");
    EXPECT_EQ(row["job"], "It does not run");
    EXPECT_EQ(row["suspects"].size(), 10U);
  }
}

TEST(FleetRanking, WhatTheTablesLeaveOpenIsRanked) {
  const auto model = small_model();
  auto texts = drawn_texts(model, 2);
  auto repaired = json::parse(texts[0]);
  repaired["entries"].push_back({{"id", "r1"}, {"type", "repair"}, {"component", "K1"}});
  texts.push_back(repaired.dump());
  const auto strict =
      rows_of(model, texts, R"({"screen_bound":0,"budget_sets":300,"most_suspects":2})");
  for (const auto& row : strict) EXPECT_EQ(row["status"], "ranked");
  EXPECT_EQ(strict[0]["suspects"].size(), 2U);
  const auto loose = rows_of(model, texts, R"({"screen_bound":1,"budget_sets":300})");
  EXPECT_EQ(loose[0]["status"], "screened");
  EXPECT_EQ(loose[2]["status"], "ranked");
  const auto quick = rows_of(model, texts, R"({"full":false})");
  EXPECT_EQ(quick[2]["status"], "screened");
  EXPECT_EQ(quick[2]["bound"], 1.0) << "nothing is promised of what the tables do not cover";
}

TEST(FleetRanking, ProblemsStayWithTheirJob) {
  const auto model = small_model();
  auto texts = drawn_texts(model, 1);
  auto unknown = json::parse(texts[0]);
  unknown["environment"] = "under_water";
  texts.push_back(unknown.dump());
  texts.emplace_back("{\"format\":");
  auto misspelled = json::parse(texts[0]);
  misspelled["entries"][0]["outcom"] = "no";
  texts.push_back(misspelled.dump());
  const auto rows = rows_of(model, texts, R"({"full":false})");
  EXPECT_EQ(rows[0]["status"], "screened");
  EXPECT_EQ(rows[1]["problems"][0]["code"], "reference");
  EXPECT_EQ(rows[2]["problems"][0]["code"], "syntax");
  EXPECT_EQ(rows[3]["problems"][0]["pointer"], "/entries/0/outcom");
  for (std::size_t i = 1; i < rows.size(); ++i) {
    EXPECT_EQ(rows[i]["status"], "failed");
    EXPECT_FALSE(rows[i].contains("bound"));
  }
}

TEST(JobShape, APlainJobFollowsTheSchema) {
  const auto model = small_model();
  std::mt19937_64 engine(5);
  const auto pick = [&](std::size_t count) {
    return std::uniform_int_distribution<std::size_t>(0, count - 1)(engine);
  };
  const std::vector<json> values{nullptr,
                                 true,
                                 -1,
                                 0.5,
                                 "",
                                 "x-1",
                                 "K1.coil",
                                 "no",
                                 "1.0",
                                 json::array(),
                                 json::object(),
                                 {{"key", "on"}},
                                 1e13,
                                 "\xC3\xA9"};
  const std::vector<std::string> keys{"id",    "type",           "volts",   "ohms",   "outcome",
                                      "red",   "wire",           "part",    "tries",  "cue",
                                      "state", "x-note",         "note",    "visit",  "vehicle",
                                      "title", "exposure_hours", "entries", "closing"};
  std::size_t plain = 0;
  std::size_t others = 0;
  for (const auto& text : drawn_texts(model, 6)) {
    EXPECT_TRUE(is_plain_job(json::parse(text)));
    for (int i = 0; i < 60; ++i) {
      auto job = json::parse(text);
      auto& place = pick(3) == 0 ? job : job["entries"][pick(job["entries"].size())];
      const auto& key = keys[pick(keys.size())];
      if (pick(3) == 0) {
        place.erase(key);
      } else {
        place[key] = values[pick(values.size())];
      }
      if (!is_plain_job(job)) {
        ++others;
        continue;
      }
      ++plain;
      std::vector<Problem> problems;
      documents::check_schema(job, "job", problems);
      EXPECT_TRUE(problems.empty()) << job.dump() << '\n' << problems.front().message;
    }
  }
  EXPECT_GT(plain, 40U);
  EXPECT_GT(others, 100U);
}

TEST(TextList, CutsArraysWithoutLookingInside) {
  const auto count = [](std::string_view text) { return elements_of(text).size(); };
  EXPECT_EQ(count("[]"), 0U);
  EXPECT_EQ(count(" [\n] "), 0U);
  EXPECT_EQ(count("\xEF\xBB\xBF[1]"), 1U);
  const auto list = elements_of(R"([ {"a":[1,2],"b":"]},{"} , "x\"]," ,, broken : ] )");
  ASSERT_EQ(list.size(), 4U);
  EXPECT_EQ(list[0], R"({"a":[1,2],"b":"]},{"})");
  EXPECT_EQ(list[1], R"("x\"],")");
  EXPECT_EQ(list[2], "");
  EXPECT_EQ(list[3], "broken :");
  for (const auto* text : {"", "{}", "[", "[1", "[\"]", "[{]", "[}]", "[] 1", "1]"})
    EXPECT_THROW(static_cast<void>(elements_of(text)), Error) << text;
}

}  // namespace
}  // namespace faultloom::test
