#include <faultloom/documents/learning.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/learning/sensitivity.hpp>

#include "unit/belief/bench.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::string data(const std::string& path) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/" + path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

Model model_with(const std::string& rates = "") {
  const auto vehicle = data("vehicles/mulch-tug.json");
  ModelSources sources;
  sources.vehicle = vehicle;
  sources.rates = rates;
  return Model(sources);
}

const Model& tug() {
  static const Model model = model_with();
  return model;
}

/// A list of JSON, which one JSON in braces would not be for every compiler.
json history_of(const std::vector<json>& jobs, double running_hours = 0) {
  json history{{"format", "faultloom.history"},
               {"version", "1.0"},
               {"title", "Fernhollow 2025"},
               {"seen", "all"},
               {"jobs", json(jobs)}};
  if (running_hours > 0)
    history["running"] = {{{"vehicle", "mulch-tug"}, {"hours", running_hours}}};
  return history;
}

json confirmed_job(const std::string& id, const std::string& mode, double hours = 300) {
  return {{"id", id},
          {"vehicle", "mulch-tug"},
          {"exposure_hours", hours},
          {"closing", {{"verdict", "repaired"}, {"by", "verification"}}},
          {"confirmed", {mode}}};
}

json learn(const json& history, const std::string& options = "") {
  const Model* models[] = {&tug()};
  return json::parse(learn_rates(models, history.dump(), options));
}

std::vector<Problem> problems_of(const std::string& history) {
  const Model* models[] = {&tug()};
  try {
    static_cast<void>(learn_rates(models, history));
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

json row(const json& rows, const std::string& key, const std::string& value) {
  for (const auto& item : rows)
    if (item[key] == value) return item;
  return {};
}

TEST(Learning, ConfirmedJobsMoveTheirKindAndLittleElse) {
  std::vector<json> jobs;
  for (int i = 0; i < 12; ++i)
    jobs.push_back(confirmed_job("j" + std::to_string(i), "K1/coil_open"));
  const auto learned = learn(history_of(jobs, 2000));
  const auto change = row(learned["changes"], "kind", "contactor");
  const auto plain = row(learned["changes"], "kind", "contactor_plain");
  const auto& moved = change.is_null() ? plain : change;
  EXPECT_GT(moved["factor"].get<double>(), 5) << "12 coils in 5,600 hours are many";
  EXPECT_NEAR(moved["failures"].get<double>(), 12, 1e-4);
  const auto coil = row(moved["modes"], "mode", "coil_open");
  EXPECT_GT(coil["after"].get<double>(), coil["before"].get<double>());
  const auto fuse = row(learned["changes"], "kind", "fuse");
  ASSERT_FALSE(fuse.is_null());
  EXPECT_NEAR(fuse["factor"].get<double>(), 1, 0.2);
  EXPECT_TRUE(learned["settled"].get<bool>());
  EXPECT_EQ(learned["history"]["confirmed"], 12);
}

TEST(Learning, TheNewDocumentIsARatesDocument) {
  const auto learned = learn(history_of({confirmed_job("j1", "K1/coil_open")}, 5000));
  const auto text = learned["rates"].dump();
  EXPECT_TRUE(check_document(text).empty()) << problems_json(check_document(text));
  const auto again = model_with(text);
  EXPECT_NE(again.mode_priors(""), tug().mode_priors(""));
  // What the history does not speak of is as it was.
  const auto before = json::parse(data("rates.json"));
  for (const auto* key : {"cues", "events", "intermittence", "repair", "not_in_model"})
    EXPECT_EQ(learned["rates"][key], before[key]) << key;
  EXPECT_EQ(learned["rates"]["kinds"]["heavy_selector"]["gamma_shape"],
            before["kinds"]["heavy_selector"]["gamma_shape"])
      << "this vehicle has none";
}

TEST(Learning, WithoutAnythingNewNothingMoves) {
  const auto learned = learn(history_of({}));
  EXPECT_TRUE(learned["changes"].empty());
  EXPECT_EQ(learned["rates"]["kinds"], json::parse(data("rates.json"))["kinds"]);
  EXPECT_FALSE(learned["cannot_say"].empty());
}

TEST(Learning, RunningHoursLowerRates) {
  const auto learned = learn(history_of({}, 200000));
  for (const auto& change : learned["changes"])
    EXPECT_LT(change["factor"].get<double>(), 1.0) << change["kind"];
}

TEST(Learning, AWeighedJobCountsAsOneAtMost) {
  auto job = json::parse(data("jobs/compost-yard-dead-tug.json"));
  ASSERT_EQ(job["vehicle"], "mulch-tug");
  job["closing"] = {{"verdict", "not_repaired"}, {"by", "word"}};
  if (!job.contains("exposure_hours")) job["exposure_hours"] = 400;
  const auto learned = learn(history_of({job}), R"({"budget_sets":1000})");
  EXPECT_EQ(learned["history"]["weighed"], 1);
  double failures = 0;
  double certain = 0;
  for (const auto& change : learned["changes"]) {
    failures += change["failures"].get<double>();
    certain += change["certain_failures"].get<double>();
  }
  for (const auto& item : learned["per_visit"]) failures += item["found"].get<double>();
  EXPECT_GT(failures, 0.5);
  EXPECT_LT(failures, 1.6);
  EXPECT_LE(certain, failures);
}

TEST(Learning, EveryProblemOfAHistoryIsNamed) {
  auto history = history_of({confirmed_job("a", "K1/coil_opn"), confirmed_job("a", "Q7")});
  history["jobs"][1]["environment"] = "moon";
  history["jobs"].push_back({{"id", "c"},
                             {"vehicle", "mulch-tugg"},
                             {"exposure_hours", 5},
                             {"closing", {{"verdict", "repaired"}, {"by", "word"}}}});
  auto broken = confirmed_job("d", "K1/coil_open");
  broken["entries"] = {{{"id", "e1"}, {"type", "look"}, {"component", "ZZ"}, {"outcome", "clean"}}};
  history["jobs"].push_back(broken);
  history["running"] = {{{"vehicle", "nobody"}, {"hours", 3}}};
  std::vector<std::string> pointers;
  for (const auto& problem : problems_of(history.dump())) {
    pointers.push_back(problem.pointer);
    EXPECT_EQ(problem.message.find('\n'), std::string::npos);
  }
  for (const auto* expected :
       {"/jobs/0/confirmed/0", "/jobs/1/id", "/jobs/1/environment", "/jobs/1/confirmed/0",
        "/jobs/2/vehicle", "/jobs/3/entries/0/component", "/running/0/vehicle"})
    EXPECT_EQ(std::count(pointers.begin(), pointers.end(), expected), 1) << expected;
  EXPECT_EQ(pointers.size(), 7U);
}

TEST(Learning, TheFormIsCheckedFirst) {
  auto history = history_of({confirmed_job("a", "K1/coil_open")});
  history["jobs"][0].erase("exposure_hours");
  history["jobs"][0]["confirmd"] = 1;
  const auto problems = problems_of(history.dump());
  ASSERT_EQ(problems.size(), 2U);
  for (const auto& problem : problems) EXPECT_EQ(problem.code, Code::schema);
  history = history_of({});
  EXPECT_TRUE(check_document(history.dump()).empty());
  auto entry = confirmed_job("b", "K1/coil_open");
  entry["entries"] = {{{"id", "e1"}, {"type", "guess"}}};
  history = history_of({entry});
  const auto found = check_document(history.dump());
  ASSERT_FALSE(found.empty());
  EXPECT_EQ(found[0].pointer.substr(0, 17), "/jobs/0/entries/0");
  history = history_of({}, 10);
  history["seen"] = "only_broken";
  EXPECT_EQ(problems_of(history.dump()).at(0).pointer, "/running");
}

TEST(Learning, ModelsMustFit) {
  const auto history = history_of({}).dump();
  const Model* twice[] = {&tug(), &tug()};
  EXPECT_THROW((void)learn_rates(twice, history), Error);
  EXPECT_THROW((void)learn_rates({}, history), Error);
}

TEST(Learning, SameBytesAndStopped) {
  const auto history = history_of({confirmed_job("j1", "K1/coil_open")}, 900).dump();
  const Model* models[] = {&tug()};
  EXPECT_EQ(learn_rates(models, history), learn_rates(models, history));
  try {
    (void)learn_rates(models, history, "", [](double) { return false; });
    FAIL();
  } catch (const Error& error) {
    EXPECT_EQ(error.code(), Code::cancelled);
  }
}

json job_without_title() {
  auto job = json::parse(data("jobs/compost-yard-dead-tug.json"));
  job["closing"] = {{"verdict", "repaired"}, {"by", "word"}};
  if (!job.contains("exposure_hours")) job["exposure_hours"] = 400;
  return job;
}

TEST(Calibration, BetterRatesLoseLess) {
  // Two documents on the same job: in one the kind that was at fault fails ten times as often.
  auto job = job_without_title();
  const auto ranking = json::parse(tug().rank_json(job.dump(), R"({"budget_sets":1000})"));
  const auto id = ranking["components"][1]["id"].get<std::string>();
  const auto& vehicle = tug().parts().vehicle;
  const auto kind = vehicle.components[static_cast<std::size_t>(vehicle.component(id))].kind;
  job["confirmed"] = {id};
  auto rates = json::parse(data("rates.json"));
  rates["kinds"][kind]["gamma_shape"] = 10 * rates["kinds"][kind]["gamma_shape"].get<double>();
  const auto better = model_with(rates.dump());
  const Model* models[] = {&tug()};
  const Model* others[] = {&better};
  const auto history = history_of({job}).dump();
  const auto found =
      json::parse(calibration(models, others, history, R"({"bins":5,"budget_sets":1000})"));
  EXPECT_EQ(found["jobs"], 1);
  EXPECT_GT(found["log_loss_difference"]["mean"].get<double>(), 0) << "kind " << kind;
  EXPECT_NEAR(
      found["log_loss_difference"]["mean"].get<double>(),
      found["log_loss"]["mean"].get<double>() - found["against"]["log_loss"]["mean"].get<double>(),
      1e-9);
  EXPECT_GE(found["diagram"].size(), 1U);
  EXPECT_THROW(
      (void)calibration(models, {}, history_of({confirmed_job("a", "K1/coil_open")}).dump()), Error)
      << "nothing was predicted from no entries";
}

TEST(Sensitivity, DerivativesAgreeWithRankingsUnderOtherRates) {
  const auto job = data("jobs/compost-yard-dead-tug.json");
  const std::string options = R"({"budget_sets":2000,"top":5})";
  const auto found = json::parse(sensitivity(tug(), job, options));
  ASSERT_EQ(found["components"].size(), 5U);
  const auto& first = found["components"][0];
  // The rate with most to say about the leader, made a tenth higher and lower in the document itself.
  json most;
  for (const auto& item : first["by_rate"])
    if (item["rate"].get<std::string>().find(':') == std::string::npos &&
        (most.is_null() ||
         std::abs(item["derivative"].get<double>()) > std::abs(most["derivative"].get<double>())))
      most = item;
  ASSERT_FALSE(most.is_null());
  const auto chance = [&](double factor) {
    auto rates = json::parse(data("rates.json"));
    auto& shape = rates["kinds"][most["rate"].get<std::string>()]["gamma_shape"];
    shape = shape.get<double>() * factor;
    const auto other = model_with(rates.dump());
    return row(json::parse(other.rank_json(job, options))["components"], "id",
               first["component"])["probability"]
        .get<double>();
  };
  const double slope = (chance(1.1) - chance(1 / 1.1)) / (2 * std::log(1.1));
  EXPECT_NEAR(most["derivative"].get<double>(), slope, 0.03 * std::abs(slope) + 1e-4);
  for (const auto& rate : found["rates"]) EXPECT_GE(rate["value_of_knowing_usd"].get<double>(), 0);
}

TEST(Sensitivity, TheLeaderChangesWhereItSays) {
  const auto job = data("jobs/compost-yard-dead-tug.json");
  const auto found = json::parse(sensitivity(tug(), job, R"({"budget_sets":2000})"));
  int limits = 0;
  for (const auto& rate : found["rates"]) {
    if (!rate["leader_changes_below"].is_null()) {
      ++limits;
      EXPECT_LT(rate["leader_changes_below"].get<double>(), 1.0 + 1e-9);
    }
    if (!rate["leader_changes_above"].is_null()) {
      ++limits;
      EXPECT_GT(rate["leader_changes_above"].get<double>(), 1.0 - 1e-9);
    }
  }
  EXPECT_GT(limits, 0)
      << "a hundred times as many failures of something else must change the leader";
}

}  // namespace
}  // namespace faultloom::documents

namespace faultloom::learning {
namespace {

TEST(Noticed, WhatStopsTheVehicleIsNoticed) {
  const test::Bench bench("mulch-tug");
  const auto noticed = noticed_modes(bench.space(), bench.instruments(), 0.2);
  const auto& vehicle = bench.vehicle();
  std::size_t stopping = 0;
  for (std::size_t m = 0; m < noticed.size(); ++m) {
    EXPECT_GE(noticed[m], 0.2 - 1e-12);
    EXPECT_LE(noticed[m], 1 + 1e-12);
    if (noticed[m] > 0.99) ++stopping;
  }
  EXPECT_GT(stopping, noticed.size() / 10);
  const auto coil = bench.modes({"K1/coil_open"}).front();
  EXPECT_EQ(noticed[static_cast<std::size_t>(coil)], 1);
  for (std::size_t m = 0; m < noticed.size(); ++m) {
    const auto& component =
        vehicle.components[static_cast<std::size_t>(vehicle.modes[m].component)];
    if (component.kind == "tail_lamp" || component.kind == "hour_meter") {
      EXPECT_NEAR(noticed[m], 0.2, 1e-12) << component.id;
    }
  }
}

}  // namespace
}  // namespace faultloom::learning
