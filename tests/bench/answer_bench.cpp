// A whole posterior after eight readings beside a naive enumeration, and the next step.

#include <benchmark/benchmark.h>
#include <sys/resource.h>

#include <array>

#include <faultloom/advice/next_step.hpp>
#include <faultloom/documents/model_parts.hpp>

#include "fleet.hpp"

namespace {

using namespace faultloom;

/// Load the vehicle, every document and the job, and rank, with nothing kept from before.
void posterior_cold(benchmark::State& state) {
  const auto vehicle = bench::data_text("vehicles/seedling-hauler.json");
  const auto job = bench::eight_readings(1);
  for (auto _ : state) {
    documents::ModelSources sources;
    sources.vehicle = vehicle;
    const documents::Model model(sources);
    benchmark::DoNotOptimize(model.rank_json(job));
  }
}
BENCHMARK(posterior_cold)->Unit(benchmark::kMillisecond);

double peak_megabytes() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_maxrss) / 1024;
}

/// The same without loading, for vehicles of one and two harnesses.
void posterior_first(benchmark::State& state) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const auto job = model.parts().job(bench::eight_readings(1));
  belief::Posterior last;
  for (auto _ : state) {
    belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
    last = belief.posterior({job.entries, job.exposure});
    benchmark::DoNotOptimize(last);
  }
  state.counters["faults"] = static_cast<double>(model.parts().space.faults().size());
  state.counters["sets"] = static_cast<double>(last.sets);
  state.counters["bound"] = last.bound;
  state.counters["growth"] = last.growth;
  state.counters["peak_megabytes"] = peak_megabytes();
}
BENCHMARK(posterior_first)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->Iterations(1);

/// The naive way: no fault, every fault and every pair of faults of different variables, each predicted
/// afresh, nothing kept and nothing left out. Every n-th row of the pairs; `seconds_for_all` is what the
/// rest would take at the same pace.
void naive_singles_and_pairs(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const auto& space = model.parts().space;
  const auto job = model.parts().job(bench::eight_readings(1));
  std::vector<readings::Entry> electrical;
  for (const auto& e : job.entries)
    if (e.type == readings::Entry::Type::reading || e.type == readings::Entry::Type::sign)
      electrical.push_back(e);
  circuit::Solver solver(space.circuit());
  readings::Forecast forecast(solver, model.parts().instruments, electrical);
  std::vector<readings::EntryProbability> out(electrical.size());
  circuit::Overrides overrides;
  std::vector<circuit::Setting> settings;
  const auto count = static_cast<std::int32_t>(space.faults().size());
  const auto row_step = static_cast<std::int32_t>(state.range(0));
  std::int64_t done = 0;
  const auto evaluate = [&](std::span<const std::int32_t> faults) {
    space.overrides(faults, overrides);
    space.settings(faults, settings);
    forecast.evaluate(overrides, out, settings);
    ++done;
  };
  for (auto _ : state) {
    evaluate({});
    for (std::int32_t a = 0; a < count; ++a) {
      evaluate(std::array{a});
      if (a % row_step != 0) continue;
      for (std::int32_t b = a + 1; b < count; ++b)
        if (space.fault(a).variable != space.fault(b).variable) evaluate(std::array{a, b});
    }
  }
  const double all = 1 + count + 0.5 * count * (count - 1.0);
  state.counters["sets"] = static_cast<double>(done);
  state.counters["all_sets"] = all;
  state.counters["sets_per_second"] =
      benchmark::Counter(static_cast<double>(done), benchmark::Counter::kIsRate);
}
BENCHMARK(naive_singles_and_pairs)->Arg(100)->Unit(benchmark::kMillisecond)->Iterations(1);

/// Asked again in a running session, the job's text read anew.
void posterior_warm(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const auto job = bench::eight_readings(1);
  benchmark::DoNotOptimize(model.rank_json(job));
  for (auto _ : state) benchmark::DoNotOptimize(model.rank_json(job));
}
BENCHMARK(posterior_warm)->Unit(benchmark::kMillisecond);

/// One reading more than the session has seen: seven are known, the eighth is new each time.
void posterior_one_more(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const auto job = model.parts().job(bench::eight_readings(1));
  belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
  belief::Evidence evidence{job.entries, job.exposure};
  const auto last = evidence.entries.size() - 2;  // a voltage
  double volt = evidence.entries[last].number;
  benchmark::DoNotOptimize(belief.posterior(evidence));
  for (auto _ : state) {
    volt += 0.001;
    evidence.entries[last].number = volt;
    benchmark::DoNotOptimize(belief.posterior(evidence));
  }
}
BENCHMARK(posterior_one_more)->Unit(benchmark::kMillisecond);

/// Every terminal, instrument and control combination, in a running session: what the suspects predict is
/// known from the question before.
void next_step(benchmark::State& state) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const auto job = model.parts().job(bench::eight_readings(1));
  belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
  const auto posterior = belief.posterior({job.entries, job.exposure});
  advice::PredictionStore store(belief);
  advice::Constraints constraints;
  constraints.made = job.entries;
  constraints.exhaustive = state.range(1) != 0;
  advice::Advice chosen = advice::next_step(belief, store, posterior, {}, {});
  for (auto _ : state) {
    chosen = advice::next_step(belief, store, posterior, {}, constraints);
    benchmark::DoNotOptimize(chosen.best.cost_usd);
  }
  state.counters["steps"] = static_cast<double>(chosen.steps_compared);
  state.counters["distinct"] = static_cast<double>(chosen.steps_distinct);
  state.counters["decisions"] = static_cast<double>(chosen.decisions);
  state.counters["expected_usd"] = chosen.best.expected_total_usd;
}
BENCHMARK(next_step)->Args({1, 0})->Args({2, 0})->Unit(benchmark::kMillisecond);
/// Every informative step followed to the end, with every test to choose from on the way.
BENCHMARK(next_step)
    ->Name("next_step_exhaustive")
    ->Args({1, 1})
    ->Unit(benchmark::kMillisecond)
    ->Iterations(1);

/// The first question of a session.
void next_step_first(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const auto job = model.parts().job(bench::eight_readings(1));
  belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
  const auto posterior = belief.posterior({job.entries, job.exposure});
  for (auto _ : state) {
    const auto chosen = advice::next_step(belief, posterior, {}, {});
    benchmark::DoNotOptimize(chosen.best.cost_usd);
  }
}
BENCHMARK(next_step_first)->Unit(benchmark::kMillisecond);

/// A demo job with fewer than a hundred hypotheses.
void next_step_typical(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const auto job = model.parts().job(bench::data_text("jobs/orchard-burnt-contacts.json"));
  belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
  const auto posterior = belief.posterior({job.entries, job.exposure});
  advice::PredictionStore store(belief);
  advice::Constraints constraints;
  constraints.made = job.entries;
  constraints.open_zones = job.opened_zones;
  static_cast<void>(advice::next_step(belief, store, posterior, {}, constraints));
  for (auto _ : state) {
    const auto chosen = advice::next_step(belief, store, posterior, {}, constraints);
    benchmark::DoNotOptimize(chosen.best.cost_usd);
  }
}
BENCHMARK(next_step_typical)->Unit(benchmark::kMillisecond);

}  // namespace
