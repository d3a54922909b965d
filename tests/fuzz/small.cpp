#include "small.hpp"

#include "unit/documents/small_documents.hpp"

#include <nlohmann/json.hpp>

#include <fstream>
#include <iterator>
#include <stdexcept>

namespace fuzz {
namespace {

using nlohmann::json;

json parsed(const std::string& text) { return json::parse(text); }

json job_head() {
  return {
      {"format", "faultloom.job"}, {"version", "1.0"}, {"id", "job-1"}, {"vehicle", "test-cart"}};
}

std::string make_rates() {
  auto rates = parsed(data_text("rates.json"));
  rates["kinds"] = json::object();
  const auto kinds = parsed(small_kinds());
  for (const auto& [id, kind] : kinds["kinds"].items()) {
    if (!kind.contains("modes")) continue;
    json shares = json::object();
    for (const auto& [mode, value] : kind["modes"].items())
      shares[mode] = 1.0 / static_cast<double>(kind["modes"].size());
    rates["kinds"][id] = {{"class", "switches"},
                          {"gamma_shape", 0.5},
                          {"gamma_rate_million_hours", 0.1},
                          {"modes", shares},
                          {"source", "made up for tests"}};
  }
  rates["events"] = json::object();
  rates["cues"] = {{"wet",
                    {{"title", "It rained"},
                     {"kinds", {{"switch", 0.7}, {"fuse", 0.2}}},
                     {"otherwise", 0.3},
                     {"source", "made up for tests"}}}};
  rates["per_visit"] = json::object();
  return rates.dump();
}

std::string make_cautions() {
  auto cautions = parsed(data_text("cautions.json"));
  for (const char* id : {"pack", "arc"})
    cautions["cautions"][id] = {{"signal_word", "CAUTION"}, {"text", "Mind this."}};
  return cautions.dump();
}

/// A job with so many of small_entries(), from one on.
std::string make_job(std::size_t first, std::size_t count) {
  auto job = job_head();
  job["complaint"] = "No click";
  job["exposure_hours"] = 300;
  job["environment"] = "outdoor";
  job["opened_zones"] = {"seat"};
  job["entries"] = json::array();
  for (std::size_t i = 0; i < count; ++i) {
    auto entry = parsed(small_entries()[first + i]);
    entry["id"] = "n" + std::to_string(i + 1);
    job["entries"].push_back(entry);
  }
  job["withdrawn"] = {"n2"};
  return job.dump();
}

std::string make_history() {
  json jobs = json::array();
  for (const char* mode : {"K1/coil_open", "F1/blown", "W3/open"}) {
    json job = {{"id", "past-" + std::to_string(jobs.size())},
                {"vehicle", "test-cart"},
                {"exposure_hours", 200},
                {"environment", "dry"},
                {"closing", {{"verdict", "repaired"}, {"by", "verification"}}}};
    if (jobs.size() == 1) {
      auto entry = parsed(small_entries().front());
      entry["id"] = "e1";
      job["entries"] = {entry};
    } else {
      job["confirmed"] = {mode};
    }
    jobs.push_back(job);
  }
  auto history = parsed(data_text("histories/fernhollow-two-seasons.json"));
  history["jobs"] = jobs;
  for (auto& time : history["running"]) time["vehicle"] = "test-cart";
  return history.dump();
}

}  // namespace

std::string file_text(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't open " + path);
  return {std::istreambuf_iterator<char>(file), {}};
}

std::string data_text(const std::string& path) {
  return file_text(std::string(FAULTLOOM_DATA_DIR) + "/" + path);
}

std::string tests_text(const std::string& path) {
  return file_text(std::string(FAULTLOOM_TESTS_DIR) + "/" + path);
}

const std::string& small_vehicle() {
  static const std::string text(faultloom::small::vehicle);
  return text;
}

const std::string& small_kinds() {
  static const std::string text(faultloom::small::kinds);
  return text;
}

const std::string& small_rates() {
  static const std::string text = make_rates();
  return text;
}

const std::string& small_cautions() {
  static const std::string text = make_cautions();
  return text;
}

const std::string& small_job() {
  static const std::string text = make_job(0, small_entries().size());
  return text;
}

const std::vector<std::string>& small_jobs() {
  static const std::vector<std::string> texts = [] {
    std::vector<std::string> jobs = {small_job()};
    for (std::size_t first = 0; first + 3 <= small_entries().size(); ++first)
      jobs.push_back(make_job(first, 3));
    return jobs;
  }();
  return texts;
}

const std::string& small_history() {
  static const std::string text = make_history();
  return text;
}

const faultloom::documents::Model& small_model() {
  static const faultloom::documents::Model model(
      {small_vehicle(), small_kinds(), small_rates(), {}, small_cautions()});
  return model;
}

const std::vector<std::string>& small_options() {
  static const std::vector<std::string> texts = {
      R"({"top":5,"bound":0.05,"budget_sets":60})",
      R"({"budget_sets":60,"budget_decisions":40,"alternatives":2,"max_minutes":30,"allow_live":true})",
      R"({"budget_sets":40,"budget_decisions":20,"depth":3,"residual":0.1,"max_steps":6,"closed_zones":["dash"]})",
      R"({"instruments":["meter","beeper"],"looks":true,"lifting":true,"top":3,"allow_live":false})",
      R"({"pool":true,"environments":true,"shares":false,"noticed_otherwise":0.5,"budget_sets":50})",
      R"({"bins":3,"budget_sets":50})",
      R"({"most_suspects":3,"screen":true,"full":true,"screen_bound":0.4,"budget_sets":40})",
      R"({"authorized_usd":50,"comeback_usd":10,"good_part_loss":0.1,"budget_seconds":0.02,"budget_sets":50,"budget_decisions":30})",
      R"({"top":1,"budget_sets":30,"budget_seconds":0.01})",
      "{}"};
  return texts;
}

const std::vector<std::string>& small_entries() {
  static const std::vector<std::string> texts = {
      R"({"type":"reading","instrument":"meter","red":"K1.coil_feed","black":"BAT1.negative","state":{"key":"on"},"volts":0.2})",
      R"({"type":"reading","instrument":"filament_lamp","red":"S1.in","black":"BAT1.negative","outcome":"dim","note":"hot"})",
      R"({"type":"reading","instrument":"ohmmeter","red":"K1.coil_feed","black":"K1.coil_return","isolated":true,"lifted":["W6:to"],"ohms":151.5,"tolerance_ohm":2})",
      R"({"type":"reading","instrument":"beeper","red":"F1.in","black":"F1.out","isolated":true,"outcome":"beep"})",
      R"({"type":"sign","part":"K1","sign":"click","state":{"key":"start"},"outcome":"no","visit":1})",
      R"({"type":"sign","part":"K1","sign":"click","state":{"key":"on"},"tries":{"yes":2,"no":3},"provoked":{"how":"wiggle","zone":"dash"}})",
      R"({"type":"look","component":"W3","outcome":"clean"})",
      R"({"type":"cue","cue":"wet","outcome":"yes"})",
      R"({"type":"repair","component":"F1","action":"replace"})",
      R"({"type":"sign","part":"M1","sign":"turns","state":{"key":"on"},"outcome":"yes","lead":["S1.in","S1.out"]})"};
  return texts;
}

const std::vector<std::string>& small_changes() {
  static const std::vector<std::string> texts = {
      R"({"add":[{"type":"look","component":"W3","outcome":"clean"},{"id":"own","type":"cue","cue":"wet","outcome":"no"}]})",
      R"({"withdraw":["n1"]})",
      R"({"withdraw":["n1","n3"],"set":{"complaint":"Stands still"}})",
      R"({"set":{"opened_zones":["dash"],"instruments":["meter"],"x-own":{"a":[1,2.5]},"title":null}})",
      R"({"set":{"closing":{"verdict":"not_repaired","by":"word","note":"waits for parts"}}})",
      R"({"set":{"closing":null},"add":[{"type":"repair","component":"S1"}]})",
      "{}"};
  return texts;
}

const std::vector<std::string>& small_situations() {
  static const std::vector<std::string> texts = {
      R"({"state":{"key":"on"},"modes":["K1/coil_open"],"lifted":["W6:to"],"isolated":true})",
      R"({"state":{"key":"start","pedal":"down"}})",
      R"({"modes":["F1/blown","W3/open","W3:from/corroded"],"lead":["S1.in","S1.out"]})", "{}"};
  return texts;
}

const std::vector<std::string>& small_closings() {
  static const std::vector<std::string> texts = {
      R"({"verdict":"repaired","by":"verification","note":""})",
      R"({"verdict":"not_repaired","by":"word"})", R"({"verdict":"fixed_itself"})",
      R"({"verdict":"no_fault_found","by":"word","note":"dry again"})"};
  return texts;
}

std::vector<Seed> numbered(const std::vector<std::string>& texts) {
  std::vector<Seed> seeds;
  for (const auto& text : texts) seeds.push_back({std::to_string(seeds.size()), text});
  return seeds;
}

}  // namespace fuzz
