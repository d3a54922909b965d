// Every call that can be stopped, stopped wherever it asks. On a cart small enough that this takes no time;
// progress_test.cpp does it at a few places of a real vehicle.
//
// BAT1 + --W1-- F1 (fuse) --W2-- S1 (key) --W3-- H1 (lamp) --W4-- BAT1 -
#include "support.hpp"

#include <functional>
#include <memory>
#include <set>
#include <string>
#include <vector>

namespace {

using capi_test::ErrorOwner;
using capi_test::ModelOwner;

const std::string cart = R"({
  "format": "faultloom.vehicle", "version": "1.0", "id": "lamp-cart", "title": "A lamp",
  "nominal_volt": 12, "datum": "BAT1.negative", "run_state": {"key": "on"},
  "isolation": {"lift": ["W1:from"], "caution": "pack_isolated"},
  "controls": {"key": {"title": "Key", "positions": ["off", "on"], "rest": "off", "order": 1}},
  "zones": {"bay": {"title": "Battery bay", "open_minutes": 2, "close_minutes": 1}},
  "parts": {
    "BAT1": {"kind": "battery_block_12", "title": "Battery", "zone": "bay"},
    "F1": {"kind": "fuse", "title": "Fuse", "zone": "bay"},
    "S1": {"kind": "key_switch", "title": "Key switch", "zone": "bay",
           "operated_when": {"key": ["on"]}},
    "H1": {"kind": "dash_lamp", "title": "Lamp", "zone": "bay", "parameters": {"lamp_ohm": 600}}},
  "wires": {
    "W1": {"from": "BAT1.positive", "to": "F1.in", "gauge_awg": 16, "length_metre": 0.4,
           "zone": "bay"},
    "W2": {"from": "F1.out", "to": "S1.in", "gauge_awg": 16, "length_metre": 1, "zone": "bay"},
    "W3": {"from": "S1.out", "to": "H1.plus", "gauge_awg": 16, "length_metre": 1, "zone": "bay"},
    "W4": {"from": "H1.minus", "to": "BAT1.negative", "gauge_awg": 16, "length_metre": 1,
           "zone": "bay"}}})";

const std::string job = R"({
  "format": "faultloom.job", "version": "1.0", "id": "dark", "vehicle": "lamp-cart",
  "entries": [
    {"id": "e1", "type": "sign", "part": "H1", "sign": "lit", "state": {"key": "on"},
     "outcome": "no"},
    {"id": "e2", "type": "reading", "instrument": "meter", "red": "S1.in",
     "black": "BAT1.negative", "state": {"key": "on"}, "volts": 12.4},
    {"id": "e3", "type": "repair", "component": "W3"}]})";

/// Counts how often it is asked, and says stop the time with number `stop_at`, counted from 0.
struct Watcher {
  size_t stop_at = static_cast<size_t>(-1);
  size_t asked = 0;

  static int32_t watch(double, void* user) {
    auto& self = *static_cast<Watcher*>(user);
    return self.asked++ == self.stop_at ? 1 : 0;
  }
};

/// Status, and the answer as text if there is one.
struct Outcome {
  faultloom_status status;
  faultloom_status code;
  std::string answer;
};

struct LongCall {
  const char* name;
  std::function<faultloom_status(const faultloom_model*, Watcher&, std::string&, faultloom_error**)>
      ask;

  [[nodiscard]] Outcome run(const faultloom_model* model, Watcher& watcher) const {
    Outcome outcome{};
    faultloom_error* error = nullptr;
    outcome.status = ask(model, watcher, outcome.answer, &error);
    const ErrorOwner owner(error);
    outcome.code = faultloom_error_code(error);
    return outcome;
  }
};

/// Runs `call(faultloom_text**)` and keeps its text.
template <typename Call>
faultloom_status text_of(std::string& answer, Call&& call) {
  faultloom_text* text = nullptr;
  const faultloom_status status = call(&text);
  EXPECT_EQ(text != nullptr, status == FAULTLOOM_OK);
  answer.assign(faultloom_text_data(text), faultloom_text_size(text));
  faultloom_text_free(text);
  return status;
}

LongCall question(const char* name, decltype(&faultloom_rank) ask, const std::string& options) {
  return {name, [ask, options](auto* model, Watcher& watcher, std::string& answer, auto** error) {
            return text_of(answer, [&](auto** out) {
              return ask(model, job.data(), job.size(), options.data(), options.size(),
                         &Watcher::watch, &watcher, out, error);
            });
          }};
}

faultloom_status build(const faultloom_model*, Watcher& watcher, std::string& answer,
                       faultloom_error** error) {
  faultloom_model* built = nullptr;
  const auto status =
      faultloom_model_from_json(cart.data(), cart.size(), nullptr, 0, nullptr, 0, nullptr, 0,
                                nullptr, 0, &Watcher::watch, &watcher, &built, error);
  const ModelOwner owner(built);
  EXPECT_EQ(built != nullptr, status == FAULTLOOM_OK);
  if (built == nullptr) return status;
  return text_of(answer, [&](auto** out) { return faultloom_model_summary(built, out, error); });
}

faultloom_status posteriors(const faultloom_model* model, Watcher& watcher, std::string& answer,
                            faultloom_error** error) {
  size_t count = 0;
  EXPECT_EQ(faultloom_mode_count(model, &count, nullptr), FAULTLOOM_OK);
  std::vector<double> values(count, -1);
  const auto status =
      faultloom_mode_posteriors(model, job.data(), job.size(), &Watcher::watch, &watcher,
                                values.data(), values.size(), &count, error);
  for (const double value : values) {
    EXPECT_TRUE(status == FAULTLOOM_OK || value == -1) << "a stopped call wrote something";
    answer += std::to_string(value) + ' ';
  }
  return status;
}

faultloom_status close_handle(const faultloom_model* model, Watcher& watcher, std::string& answer,
                              faultloom_error** error) {
  faultloom_job* open = nullptr;
  EXPECT_EQ(faultloom_job_from_json(model, job.data(), job.size(), &open, nullptr), FAULTLOOM_OK);
  const std::unique_ptr<faultloom_job, decltype(&faultloom_job_free)> owner(open,
                                                                            &faultloom_job_free);
  const std::string closing = R"({"verdict":"not_repaired"})";
  const auto status =
      faultloom_job_close(open, closing.data(), closing.size(), &Watcher::watch, &watcher, error);
  std::string document;
  EXPECT_EQ(text_of(document, [&](auto** out) { return faultloom_job_json(open, out, nullptr); }),
            FAULTLOOM_OK);
  EXPECT_EQ(document.find("closing") != std::string::npos, status == FAULTLOOM_OK);
  answer = document;
  return status;
}

/// One closed job of the cart and the hours it ran.
std::string history() {
  auto closed = nlohmann::json::parse(job);
  closed["closing"] = {{"verdict", "repaired"}, {"by", "word"}};
  closed["confirmed"] = {"W3"};
  closed["exposure_hours"] = 500;
  return nlohmann::json{{"format", "faultloom.history"},
                        {"version", "1.0"},
                        {"seen", "all"},
                        {"jobs", {closed}},
                        {"running", {{{"vehicle", "lamp-cart"}, {"hours", 4000}}}}}
      .dump();
}

faultloom_status learn(const faultloom_model* model, Watcher& watcher, std::string& answer,
                       faultloom_error** error) {
  const std::string past = history();
  return text_of(answer, [&](auto** out) {
    return faultloom_learn_rates(&model, 1, past.data(), past.size(), nullptr, 0, &Watcher::watch,
                                 &watcher, out, error);
  });
}

faultloom_status calibrate(const faultloom_model* model, Watcher& watcher, std::string& answer,
                           faultloom_error** error) {
  const std::string past = history();
  return text_of(answer, [&](auto** out) {
    return faultloom_calibration(&model, 1, nullptr, 0, past.data(), past.size(), nullptr, 0,
                                 &Watcher::watch, &watcher, out, error);
  });
}

/// Two jobs at once, one of them like a job alone.
faultloom_status fleet(const faultloom_model* model, Watcher& watcher, std::string& answer,
                       faultloom_error** error) {
  auto repaired = nlohmann::json::parse(job);
  repaired["entries"].push_back({{"id", "r1"}, {"type", "repair"}, {"component", "W3"}});
  const std::string jobs = "[" + job + "," + repaired.dump() + "]";
  return text_of(answer, [&](auto** out) {
    return faultloom_model_rank_jobs(model, jobs.data(), jobs.size(), nullptr, 0, &Watcher::watch,
                                     &watcher, out, error);
  });
}

std::vector<LongCall> long_calls() {
  return {
      {"model_from_json", build},
      {"mode_posteriors", posteriors},
      {"job_close", close_handle},
      {"learn_rates", learn},
      {"calibration", calibrate},
      {"model_rank_jobs", fleet},
      {"model_lint",
       [](auto* model, Watcher& watcher, std::string& answer, auto** error) {
         return text_of(answer, [&](auto** out) {
           return faultloom_model_lint(model, &Watcher::watch, &watcher, out, error);
         });
       }},
      {"verification",
       [](auto* model, Watcher& watcher, std::string& answer, auto** error) {
         return text_of(answer, [&](auto** out) {
           return faultloom_verification(model, job.data(), job.size(), &Watcher::watch, &watcher,
                                         out, error);
         });
       }},
      {"testability",
       [](auto* model, Watcher& watcher, std::string& answer, auto** error) {
         return text_of(answer, [&](auto** out) {
           return faultloom_testability(model, nullptr, 0, &Watcher::watch, &watcher, out, error);
         });
       }},
      question("rank", &faultloom_rank, "{}"),
      question("next_step", &faultloom_next_step, "{}"),
      question("plan", &faultloom_plan, R"({"depth":2})"),
      question("plan_card", &faultloom_plan_card, R"({"depth":1})"),
      question("sensitivity", &faultloom_sensitivity, "{}"),
      question("explain", &faultloom_explain, "{}"),
      question("ambiguity", &faultloom_ambiguity, R"({"looks":true,"lifting":true})"),
      question("close_job", &faultloom_close_job, R"({"verdict":"not_repaired"})"),
  };
}

/// At most `most` (2 or more) of so many places, the first and the last among them.
std::set<size_t> spread(size_t places, size_t most) {
  std::set<size_t> chosen;
  for (size_t i = 0; i < most; ++i) chosen.insert(i * (places - 1) / (most - 1));
  return chosen;
}

void stop_at(const LongCall& call, size_t most_places) {
  SCOPED_TRACE(call.name);
  const auto model = capi_test::build(cart);
  Watcher patient;
  const Outcome whole = call.run(model.get(), patient);
  ASSERT_EQ(whole.status, FAULTLOOM_OK);
  ASSERT_FALSE(whole.answer.empty());
  ASSERT_GT(patient.asked, 0U);
  for (const size_t stop : spread(patient.asked, most_places)) {
    SCOPED_TRACE(stop);
    // What a model remembers from earlier questions may lead around a place, so each has a new one.
    const auto fresh = capi_test::build(cart);
    Watcher watcher;
    watcher.stop_at = stop;
    const Outcome stopped = call.run(fresh.get(), watcher);
    EXPECT_EQ(stopped.status, FAULTLOOM_E_CANCELLED);
    EXPECT_EQ(stopped.code, FAULTLOOM_E_CANCELLED);
    EXPECT_EQ(watcher.asked, stop + 1) << "asked again after it said stop";
    Watcher next;
    const Outcome after = call.run(fresh.get(), next);
    EXPECT_EQ(after.status, FAULTLOOM_OK);
    EXPECT_EQ(after.answer, whole.answer) << "the stopped call left something behind";
  }
}

TEST(Cancel, TheCountOfPiecesInUseSeesTheLibrary) {
  const long before = capi_test::pieces_in_use();
  auto model = capi_test::build(cart);
  EXPECT_GT(capi_test::pieces_in_use(), before + 100);
  model.reset();
  EXPECT_EQ(capi_test::pieces_in_use(), before);
}

TEST(Cancel, AtEveryPlaceOfEveryLongCall) {
  for (const LongCall& call : long_calls()) {
    stop_at(call, 2);  // what is made once and kept, by the test too, is there after this
    const long before = capi_test::pieces_in_use();
    stop_at(call, 50);
    EXPECT_EQ(capi_test::pieces_in_use(), before) << call.name << " leaks when it is stopped";
  }
}

}  // namespace
