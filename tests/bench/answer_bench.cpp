// A whole posterior over no fault, singles and pairs after eight readings, and the next step.

#include <benchmark/benchmark.h>

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

/// The same without loading, for vehicles of one, two and four harnesses.
void posterior_first(benchmark::State& state) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const auto job = model.parts().job(bench::eight_readings(1));
  for (auto _ : state) {
    belief::Belief belief(model.parts().candidates, model.parts().instruments, model.parts().rates);
    benchmark::DoNotOptimize(belief.posterior({job.entries, job.exposure}));
  }
  state.counters["candidates"] = static_cast<double>(model.parts().candidates.count());
}
BENCHMARK(posterior_first)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->Iterations(2);

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
  belief::Belief belief(model.parts().candidates, model.parts().instruments, model.parts().rates);
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

/// Every terminal, instrument and control combination.
void next_step(benchmark::State& state) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const auto job = model.parts().job(bench::eight_readings(1));
  belief::Belief belief(model.parts().candidates, model.parts().instruments, model.parts().rates);
  const auto posterior = belief.posterior({job.entries, job.exposure});
  std::size_t compared = 0;
  for (auto _ : state) {
    const auto chosen = advice::next_step(belief, posterior, {}, {});
    compared = chosen.steps_compared;
    benchmark::DoNotOptimize(chosen.best.cost_usd);
  }
  state.counters["steps"] = static_cast<double>(compared);
}
BENCHMARK(next_step)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond);

}  // namespace
