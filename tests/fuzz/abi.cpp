// Bytes become a sequence of calls of the C interface. Handles of pools, NULL and handles of another kind go
// in, with documents that are right, changed or of another sort; what comes out must fit together.
#include "abi.hpp"

#include "harness.hpp"
#include "mutate.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>

namespace fuzz {

using nlohmann::json;

extern "C" int32_t watch(double share, void* user) {
  auto& watcher = *static_cast<Watcher*>(user);
  require(share >= 0 && share <= 1, "a share beyond 0..1", std::to_string(share));
  watcher.share = share;
  if (watcher.model != nullptr) {
    size_t count = 0;
    require(faultloom_mode_count(watcher.model, &count, nullptr) == FAULTLOOM_OK && count > 0,
            "no call from within a watcher");
  }
  if (watcher.polls_left == 0) {
    watcher.stopped = true;
    return 1;
  }
  --watcher.polls_left;
  return 0;
}

namespace {

constexpr std::size_t most_calls = 40;

Owner<faultloom_model> build_small() {
  const auto& vehicle = small_vehicle();
  const auto& kinds = small_kinds();
  const auto& rates = small_rates();
  const auto& cautions = small_cautions();
  faultloom_model* model = nullptr;
  require(
      faultloom_model_from_json(vehicle.data(), vehicle.size(), kinds.data(), kinds.size(),
                                rates.data(), rates.size(), nullptr, 0, cautions.data(),
                                cautions.size(), nullptr, nullptr, &model, nullptr) == FAULTLOOM_OK,
      "the small cart can't be built");
  return Owner<faultloom_model>(model);
}

}  // namespace

const faultloom_model* shared_model() {
  static const auto model = build_small();
  return model.get();
}

Bench::Bench(std::string_view input)
    : input_(reinterpret_cast<const std::uint8_t*>(input.data()), input.size()) {}

void Bench::run() {
  const std::vector<void (Bench::*)()> calls = {
      &Bench::library,        &Bench::documents,       &Bench::build_model, &Bench::about_model,
      &Bench::circuit,        &Bench::arrays,          &Bench::question,    &Bench::more_questions,
      &Bench::learning,       &Bench::new_job,         &Bench::change_job,  &Bench::change_job,
      &Bench::close_job,      &Bench::look_at_job,     &Bench::new_journal, &Bench::change_journal,
      &Bench::change_journal, &Bench::look_at_journal, &Bench::tamper,      &Bench::wrong_handle,
      &Bench::release};
  for (std::size_t i = 0; i < most_calls && input_.remaining_bytes() > 0; ++i) {
    watcher_ = {};
    if (input_.ConsumeIntegralInRange(0, 3) == 0)
      watcher_.polls_left = input_.ConsumeIntegralInRange(0, 200);
    if (input_.ConsumeIntegralInRange(0, 3) == 0) watcher_.model = shared_model();
    (this->*calls[input_.ConsumeIntegralInRange<std::size_t>(0, calls.size() - 1)])();
  }
}

std::string Bench::good(Sort sort) {
  const auto from = [&](const std::vector<std::string>& texts) {
    return texts[input_.ConsumeIntegralInRange<std::size_t>(0, texts.size() - 1)];
  };
  switch (sort) {
    case Sort::vehicle:
      return small_vehicle();
    case Sort::kinds:
      return small_kinds();
    case Sort::rates:
      return small_rates();
    case Sort::instruments:
      return data_text("instruments.json");
    case Sort::cautions:
      return small_cautions();
    case Sort::job:
      return from(small_jobs());
    case Sort::history:
      return small_history();
    case Sort::situation:
      return from(small_situations());
    case Sort::options:
      return from(small_options());
    case Sort::closing:
      return from(small_closings());
    case Sort::entry:
      return from(small_entries());
    case Sort::members:
      return json::parse(from(small_changes())).value("set", json::object()).dump();
    case Sort::change:
      return from(small_changes());
    case Sort::csv:
      return "wire,from,to,gauge_awg,length_metre\nW1,A.x,B.negative,16,1\n";
    case Sort::id:
      return from({"n1", "e1", "own", "job-2", "no id", "n99"});
    case Sort::journal:
      return tests_text("journals/version-1.journal");
  }
  return {};
}

Argument Bench::text(Sort sort) {
  Argument argument;
  switch (input_.ConsumeIntegralInRange(0, 15)) {
    case 0:
      return argument;
    case 1:
      argument.pretend(input_.ConsumeIntegralInRange<std::size_t>(0, 9));
      return argument;
    case 2:
      argument = Argument("");
      return argument;
    case 3:
      argument = Argument(good(sort));
      argument.pretend(std::numeric_limits<std::size_t>::max() -
                       input_.ConsumeIntegral<std::uint8_t>());
      return argument;
    case 4:
      return Argument(good(
          static_cast<Sort>(input_.ConsumeIntegralInRange(0, static_cast<int>(Sort::journal)))));
    case 5:
      return Argument(input_.ConsumeRandomLengthString(64));
    case 6:
    case 7:
    case 8: {
      const auto seed = input_.ConsumeIntegral<std::uint32_t>();
      const auto original = good(sort);
      const auto changed =
          sort == Sort::journal ? mutate_journal(original, seed) : mutate_json(original, seed);
      return Argument(changed.empty() ? original : changed);
    }
    default:
      return Argument(good(sort));
  }
}

const faultloom_model* Bench::model() {
  if (models_.empty() || input_.ConsumeBool()) return shared_model();
  return pick(models_);
}

std::string Bench::path() {
  switch (input_.ConsumeIntegralInRange(0, 9)) {
    case 0:
      return "";
    case 1:
      return scratch_.path("no/such/folder");
    case 2:
      return scratch_.path("");
    case 3:
      return scratch_.path(std::string("with\0nul", 8));
    default:
      return scratch_.path(input_.ConsumeBool() ? "one.journal" : "two.journal");
  }
}

void Bench::check_error(faultloom_status status, const faultloom_error* error, const char* name) {
  require(std::string_view(faultloom_status_name(status)) != "unknown", "an unknown status", name);
  require(status != FAULTLOOM_E_INTERNAL, name, faultloom_error_message(error));
  require((status == FAULTLOOM_OK) == (error == nullptr), "a status without its error", name);
  require(faultloom_error_code(error) == status, "an error of another status", name);
  require(status != FAULTLOOM_E_CANCELLED || watcher_.stopped, "stopped, but nobody asked", name);
  check_pointer(faultloom_error_pointer(error));
  const auto details = json::parse(faultloom_error_details(error));
  require(details.is_array() && details.empty() == (error == nullptr), "no list of problems", name);
  if (error == nullptr) return;
  check_message(faultloom_error_message(error));
  require(details[0]["number"] == status && details[0]["pointer"] == faultloom_error_pointer(error),
          "the first problem is another", name);
  for (const auto& problem : details) {
    check_message(problem["message"].get<std::string>());
    check_pointer(problem["pointer"].get<std::string>());
    require(problem["code"] == faultloom_status_name(problem["number"].get<int>()),
            "a code of another number", name);
  }
}

namespace {

void call_at_random(std::string_view input) { Bench(input).run(); }

/// Bytes that mean something different at every place; the fuzzer learns what.
std::vector<Seed> sequences() {
  std::vector<std::string> texts;
  std::uint32_t state = 1;
  for (int seed = 0; seed < 24; ++seed) {
    std::string text;
    for (int i = 0; i < 40 + 30 * seed; ++i) {
      state = state * 1664525U + 1013904223U;
      text += static_cast<char>(state >> 24U);
    }
    texts.push_back(text);
  }
  return numbered(texts);
}

}  // namespace

std::vector<Harness> abi_harnesses() {
  return {{"abi", Shape::bytes, 30, 4096, call_at_random, sequences, "/capi/src/"}};
}

}  // namespace fuzz
