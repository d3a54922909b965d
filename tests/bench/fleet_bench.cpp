// Many jobs of one vehicle at once beside ranking each by itself: speed, and how far the two agree.

#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>

#include <faultloom/documents/fleet_ranking.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/fleet/screen.hpp>

#include "fleet.hpp"
#include "unit/fleet/drawn_jobs.hpp"

namespace {

using namespace faultloom;

constexpr std::size_t job_count = 5000;
constexpr std::size_t sample = 12;

/// Jobs drawn from the prior of a vehicle: it does not run, and seven readings.
struct Fleet {
  explicit Fleet(const char* vehicle) : model(made(vehicle)) {
    test::DrawnJobs jobs(model, 2026);
    for (std::size_t i = 0; i < job_count; ++i) {
      texts.push_back(jobs.draw(7, i % 2 == 0 ? 0 : 200 + static_cast<double>(i % 1700)).dump());
      const auto job = model.parts().job(texts.back());
      evidence.push_back({job.entries, job.exposure, job.repairs});
    }
  }
  static documents::Model made(const char* vehicle) {
    const auto text = bench::data_text(std::string("vehicles/") + vehicle + ".json");
    documents::ModelSources sources;
    sources.vehicle = text;
    return documents::Model(sources);
  }
  documents::Model model;
  std::vector<std::string> texts;
  std::vector<belief::Evidence> evidence;
};

const Fleet& fleet_of(int number) {
  static const Fleet small("mulch-tug");
  if (number == 0) return small;
  static const Fleet large("seedling-hauler");
  return large;
}

fleet::Screen screen_of(const Fleet& fleet) {
  const auto& parts = fleet.model.parts();
  return {parts.space, parts.instruments, parts.rates};
}

std::vector<const belief::Evidence*> all_of(const Fleet& fleet) {
  std::vector<const belief::Evidence*> list;
  for (const auto& job : fleet.evidence) list.push_back(&job);
  return list;
}

void count_jobs(benchmark::State& state, std::size_t jobs) {
  state.counters["jobs_per_second"] =
      benchmark::Counter(static_cast<double>(jobs), benchmark::Counter::kIsIterationInvariantRate);
}

/// The tables of all tests that occur in the jobs: made once for a vehicle.
void fleet_tables(benchmark::State& state) {
  const auto& fleet = fleet_of(static_cast<int>(state.range(0)));
  const auto all = all_of(fleet);
  for (auto _ : state) {
    auto screen = screen_of(fleet);
    screen.prepare(all);
    benchmark::DoNotOptimize(screen);
  }
}
BENCHMARK(fleet_tables)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond)->Iterations(1);

/// Jobs looked up, tables and JSON apart.
void fleet_screened(benchmark::State& state) {
  const auto& fleet = fleet_of(static_cast<int>(state.range(0)));
  auto screen = screen_of(fleet);
  screen.prepare(all_of(fleet));
  for (const auto& job : fleet.evidence) static_cast<void>(screen.rank(job));
  for (auto _ : state)
    for (const auto& job : fleet.evidence) benchmark::DoNotOptimize(screen.rank(job));
  count_jobs(state, job_count);
}
BENCHMARK(fleet_screened)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

/// The same from texts to text; the first call of a model makes the tables.
void fleet_json(benchmark::State& state) {
  const auto& fleet = fleet_of(static_cast<int>(state.range(0)));
  const std::vector<std::string_view> texts(fleet.texts.begin(), fleet.texts.end());
  const auto* options = R"({"full":false})";
  static_cast<void>(documents::rank_jobs_json(fleet.model, texts, options));
  for (auto _ : state)
    benchmark::DoNotOptimize(documents::rank_jobs_json(fleet.model, texts, options));
  count_jobs(state, job_count);
}
BENCHMARK(fleet_json)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond);

/// A sample of the same jobs, each ranked by itself, and how far the look-ups are from that.
void fleet_one_by_one(benchmark::State& state) {
  const auto& fleet = fleet_of(static_cast<int>(state.range(0)));
  const auto& parts = fleet.model.parts();
  auto screen = screen_of(fleet);
  belief::Options how;
  how.judge_entries = false;
  double sum = 0;
  double most = 0;
  double bound = 0;
  double alike = 0;
  for (auto _ : state) {
    belief::Belief belief(parts.space, parts.instruments, parts.rates);
    for (std::size_t j = 0; j < sample; ++j) {
      const auto posterior = belief.posterior(fleet.evidence[j], how);
      state.PauseTiming();
      const auto answer = screen.rank(fleet.evidence[j]);
      double apart = std::abs(answer.no_fault - posterior.no_fault) +
                     std::abs(answer.not_in_model - posterior.not_in_model);
      for (std::size_t m = 0; m < answer.modes.size(); ++m)
        apart += std::abs(answer.modes[m] - posterior.modes[m]);
      const auto top = [](const std::vector<double>& chances) {
        return std::max_element(chances.begin(), chances.end()) - chances.begin();
      };
      sum += apart / 2;
      most = std::max(most, apart / 2);
      bound += answer.bound;
      alike += top(answer.modes) == top(posterior.modes) ? 1 : 0;
      state.ResumeTiming();
    }
  }
  const auto jobs = static_cast<double>(sample) * static_cast<double>(state.iterations());
  count_jobs(state, sample);
  state.counters["mean_distance"] = sum / jobs;
  state.counters["most_distance"] = most;
  state.counters["mean_bound"] = bound / jobs;
  state.counters["same_top"] = alike / jobs;
}
BENCHMARK(fleet_one_by_one)->Arg(0)->Arg(1)->Unit(benchmark::kMillisecond)->Iterations(1);

}  // namespace
