// Fault states settled per second, against in-process ngspice on the same states: both run here, in one
// program, so that the ratio does not depend on the machine.

#include <benchmark/benchmark.h>
#include <ngspice/sharedspice.h>

#include <array>
#include <cstring>
#include <faultloom/circuit/observability.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/report/spice_deck.hpp>

#include "fleet.hpp"

namespace {

using namespace faultloom;
using vehicle::Index;

struct Faults {
  const circuit::Circuit& circuit;
  std::vector<circuit::Overrides> single;
  std::vector<vehicle::ControlState> states;

  explicit Faults(const circuit::Circuit& c)
      : circuit(c), states(circuit::control_combinations(c.vehicle())) {
    for (std::size_t m = 0; m < c.vehicle().modes.size(); ++m) {
      const auto mode = static_cast<Index>(m);
      single.push_back(circuit::overrides_of(c, std::span(&mode, 1)));
    }
  }
};

/// Every single mode in every control combination, each settled from rest through its prefixes.
void settle_every_state(benchmark::State& state) {
  const auto& model = bench::vehicle_times(static_cast<int>(state.range(0)));
  const Faults faults(model.parts().circuit);
  circuit::Solver solver(faults.circuit);
  std::vector<circuit::Stage> stages;
  for (const auto& s : faults.states) stages.push_back(solver.stage(s));
  const auto begun = solver.stages_settled();
  const auto solved = solver.networks_solved();
  for (auto _ : state)
    for (const auto& overrides : faults.single) {
      solver.begin(overrides);
      for (const auto stage : stages) benchmark::DoNotOptimize(solver.settle(stage).closed);
    }
  state.counters["states"] = benchmark::Counter(
      static_cast<double>(solver.stages_settled() - begun), benchmark::Counter::kIsRate);
  state.counters["networks_per_state"] = static_cast<double>(solver.networks_solved() - solved) /
                                         static_cast<double>(solver.stages_settled() - begun);
  state.counters["terminals"] = static_cast<double>(faults.circuit.vehicle().terminals.size());
  state.counters["path_nodes"] = faults.circuit.plan().mean_path_length();
}
BENCHMARK(settle_every_state)->Arg(1)->Arg(2)->Arg(4)->Unit(benchmark::kMillisecond);

int ignore_text(char*, int, void*) { return 0; }
int ignore_exit(int, NG_BOOL, NG_BOOL, int, void*) { return 0; }
int ignore_data(pvecvaluesall, int, int, void*) { return 0; }
int ignore_plot(pvecinfoall, int, void*) { return 0; }
int ignore_thread(NG_BOOL, int, void*) { return 0; }

/// The same states by ngspice: one operating point for a state whose contacts are already known, which
/// spares ngspice the search for them. Alters only what differs from the state before.
void ngspice_operating_point(benchmark::State& state) {
  const auto& model = bench::vehicle_times(1);
  const Faults faults(model.parts().circuit);
  const auto deck = reports::complete_spice_deck(faults.circuit);
  static bool started = false;
  if (!started)
    ngSpice_Init(ignore_text, ignore_text, ignore_exit, ignore_data, ignore_plot, ignore_thread,
                 nullptr);
  started = true;
  std::vector<std::string> lines;
  std::string line;
  for (const char c : deck.text) {
    if (c == '\n') {
      lines.push_back(line);
      line.clear();
    } else {
      line += c;
    }
  }
  std::vector<char*> pointers;
  for (auto& l : lines) pointers.push_back(l.data());
  pointers.push_back(nullptr);
  ngSpice_Circ(pointers.data());
  circuit::Solver solver(faults.circuit);
  const auto run_state = solver.stage(faults.circuit.vehicle().run_state);
  std::vector<double> present(faults.circuit.vehicle().elements.size(), -1);
  std::size_t next = 0;
  std::int64_t done = 0;
  for (auto _ : state) {
    state.PauseTiming();
    solver.begin(faults.single[next]);
    next = (next + 7) % faults.single.size();
    solver.enter(run_state);
    std::vector<std::string> commands;
    for (std::size_t e = 0; e < present.size(); ++e) {
      const auto [siemens, ampere] = solver.branch(static_cast<Index>(e));
      if (siemens == present[e]) continue;
      present[e] = siemens;
      const double ohm = siemens > 0 ? 1 / siemens : reports::open_ohm;
      commands.push_back("alter " + deck.resistor_names[e] + " = " + std::to_string(ohm));
    }
    state.ResumeTiming();
    for (auto& command : commands) ngSpice_Command(command.data());
    std::array<char, 3> op{'o', 'p', '\0'};
    ngSpice_Command(op.data());
    ++done;
    state.PauseTiming();
    if (done % 64 == 0) {
      std::string forget = "destroy all";
      ngSpice_Command(forget.data());
    }
    state.ResumeTiming();
  }
  state.counters["states"] =
      benchmark::Counter(static_cast<double>(done), benchmark::Counter::kIsRate);
}
BENCHMARK(ngspice_operating_point)->Unit(benchmark::kMicrosecond)->MinTime(0.5);

}  // namespace
