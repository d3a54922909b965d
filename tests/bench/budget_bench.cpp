// How well budgets in seconds are kept: the time a question took over what it was given. Little is known, so
// that none of the questions would end by itself in that time.

#include <benchmark/benchmark.h>

#include <chrono>
#include <nlohmann/json.hpp>
#include <string>

#include "fleet.hpp"

namespace {

using namespace faultloom;

/// A job that says no more than that the dash is on and nothing clicks.
std::string two_signs() {
  auto job = nlohmann::json::parse(bench::eight_readings(1));
  auto entries = nlohmann::json::array();
  for (const auto& entry : job["entries"])
    if (entry["type"] == "sign" && entries.size() < 2) entries.push_back(entry);
  job["entries"] = entries;
  job.erase("withdrawn");
  return job.dump();
}

/// The same two signs on each of 500 visits.
std::string a_thousand_signs() {
  auto job = nlohmann::json::parse(two_signs());
  auto entries = nlohmann::json::array();
  for (int visit = 0; visit < 500; ++visit)
    for (auto entry : job["entries"]) {
      entry["id"] = "e" + std::to_string(entries.size());
      entry["visit"] = visit;
      entries.push_back(entry);
    }
  job["entries"] = entries;
  return job.dump();
}

template <typename Question>
void keep_budget(benchmark::State& state, const Question& question,
                 const std::string& job = two_signs()) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const double budget = static_cast<double>(state.range(1)) / 1000;
  double worst = 0;
  for (auto _ : state) {
    const auto begun = std::chrono::steady_clock::now();
    question(model, job, budget);
    const std::chrono::duration<double> used = std::chrono::steady_clock::now() - begun;
    worst = std::max(worst, used.count() / budget);
  }
  state.counters["used_over_budget"] = worst;
}

std::string options(double seconds, int sets) {
  return nlohmann::json({{"budget_seconds", seconds}, {"budget_sets", sets}, {"bound", 0}}).dump();
}

void budget_rank(benchmark::State& state) {
  keep_budget(state, [](const auto& model, const std::string& job, double seconds) {
    benchmark::DoNotOptimize(model.rank_json(job, options(seconds, 0)));
  });
}

// So many entries that weighing each takes longer, however short the search is.
void budget_explain(benchmark::State& state) {
  keep_budget(
      state,
      [](const auto& model, const std::string& job, double seconds) {
        benchmark::DoNotOptimize(model.explain_json(job, options(seconds, 0)));
      },
      a_thousand_signs());
}

void budget_next(benchmark::State& state) {
  keep_budget(state, [](const auto& model, const std::string& job, double seconds) {
    const nlohmann::json how = {{"budget_seconds", seconds}, {"budget_sets", 0}};
    benchmark::DoNotOptimize(model.next_json(job, how.dump()));
  });
}

void budget_plan(benchmark::State& state) {
  keep_budget(state, [](const auto& model, const std::string& job, double seconds) {
    const nlohmann::json how = {{"budget_seconds", seconds},
                                {"budget_sets", 0},
                                {"depth", 50},
                                {"residual", 1e-4},
                                {"max_steps", 5000}};
    benchmark::DoNotOptimize(model.plan_json(job, how.dump()));
  });
}

// Copies of the harness, and milliseconds.
BENCHMARK(budget_rank)
    ->Args({1, 500})
    ->Args({1, 2000})
    ->Args({4, 3000})
    ->Iterations(2)
    ->Unit(benchmark::kMillisecond);
BENCHMARK(budget_explain)->Args({1, 3000})->Iterations(2)->Unit(benchmark::kMillisecond);
BENCHMARK(budget_next)
    ->Args({1, 500})
    ->Args({1, 2000})
    ->Args({4, 3000})
    ->Iterations(2)
    ->Unit(benchmark::kMillisecond);
BENCHMARK(budget_plan)
    ->Args({1, 1000})
    ->Args({1, 3000})
    ->Args({4, 6000})
    ->Iterations(2)
    ->Unit(benchmark::kMillisecond);

}  // namespace
