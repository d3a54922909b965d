// The C++ half of tests/bench/compare.py: one posterior over no fault, single faults and pairs by the
// search and by plain enumeration, with the tables that a Bayesian network needs; and how a posterior grows
// with the vehicle. Writes JSON to standard output.

#include "fleet.hpp"
#include "unit/belief/oracle.hpp"

#include <faultloom/documents/model_parts.hpp>

#include <nlohmann/json.hpp>

#include <chrono>
#include <fstream>
#include <iostream>
#include <stdexcept>
#include <string>

namespace {

using namespace faultloom;
using nlohmann::json;
using vehicle::Index;

constexpr int most_faults = 2;

class Watch {
 public:
  [[nodiscard]] double seconds() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }

 private:
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
};

/// What the process held at most; getrusage() would count the process that started it as well.
double peak_megabytes() {
  std::ifstream status("/proc/self/status");
  std::string word;
  double kilobytes = 0;
  while (status >> word)
    if (word == "VmHWM:" && status >> kilobytes) return kilobytes / 1024;
  return 0;
}

/// Rates under which variables are independent and everything is in the model: what all methods can say.
rates::Rates plain(rates::Rates rates) {
  rates.not_in_model = 0;
  rates.events.clear();
  return rates;
}

std::set<Index> every_component(const vehicle::Vehicle& vehicle) {
  std::set<Index> all;
  for (std::size_t c = 0; c < vehicle.components.size(); ++c) all.insert(static_cast<Index>(c));
  return all;
}

/// Sets of at most two faults of different variables, in a fixed order, and what each predicts.
class Enumeration {
 public:
  Enumeration(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
              const belief::Prior& prior, const std::vector<readings::Entry>& entries)
      : space_(space),
        prior_(prior),
        solver_(space.circuit()),
        forecast_(solver_, instruments, entries),
        out_(entries.size()),
        likelihoods(forecast_.group_count()) {
    const auto count = static_cast<std::int32_t>(space.faults().size());
    for (std::size_t v = 0; v < space.variables().size(); ++v)
      nothing_ *= prior_.good(static_cast<std::int32_t>(v), 0);
    add({});
    for (std::int32_t a = 0; a < count; ++a) add({a});
    for (std::int32_t a = 0; a < count; ++a)
      for (std::int32_t b = a + 1; b < count; ++b)
        if (space.fault(a).variable != space.fault(b).variable) add({a, b});
  }

  /// P(fault | evidence and at most two faults).
  [[nodiscard]] std::vector<double> posterior() const {
    std::vector<double> result(space_.faults().size(), 0);
    double whole = 0;
    for (std::size_t s = 0; s < sets.size(); ++s) {
      double weight = priors[s];
      for (const auto& column : likelihoods) weight *= column[s];
      whole += weight;
      for (const auto f : sets[s]) result[static_cast<std::size_t>(f)] += weight;
    }
    for (auto& p : result) p /= whole;
    return result;
  }

 private:
  void add(const std::vector<std::int32_t>& set) {
    double p = nothing_;
    for (const auto f : set) p *= prior_.of(f) / prior_.good(space_.fault(f).variable, 0);
    space_.overrides(set, overrides_);
    space_.settings(set, settings_);
    forecast_.evaluate(overrides_, out_, settings_);
    for (std::size_t g = 0; g < likelihoods.size(); ++g)
      likelihoods[g].push_back(forecast_.group_probability(g, out_));
    sets.push_back(set);
    priors.push_back(p);
  }

  const belief::FaultSpace& space_;
  const belief::Prior& prior_;
  circuit::Solver solver_;
  readings::Forecast forecast_;
  std::vector<readings::EntryProbability> out_;
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
  double nothing_ = 1;

 public:
  std::vector<std::vector<std::int32_t>> sets;
  std::vector<double> priors;
  std::vector<std::vector<double>> likelihoods;  ///< by group of entries, then by set
};

template <typename T>
void write(const std::string& path, const std::vector<T>& values) {
  std::ofstream file(path, std::ios::binary);
  file.write(reinterpret_cast<const char*>(values.data()),
             static_cast<std::streamsize>(values.size() * sizeof(T)));
  if (!file) throw std::runtime_error("can't write " + path);
}

json searched(const test::Corner& corner, const belief::Evidence& job, bool exhaustive) {
  const Watch watch;
  auto belief = corner.belief();
  belief::Options options;
  options.judge_entries = false;
  options.search.most_faults = most_faults;
  options.search.exhaustive = exhaustive;
  const auto found = belief.posterior(job, options);
  return {{"seconds", watch.seconds()},
          {"sets", found.sets},
          {"bound", found.bound},
          {"faults", found.faults}};
}

std::vector<readings::Entry> electrical(const std::vector<readings::Entry>& entries) {
  std::vector<readings::Entry> result;
  for (const auto& e : entries)
    if (e.informative() &&
        (e.type == readings::Entry::Type::reading || e.type == readings::Entry::Type::sign))
      result.push_back(e);
  return result;
}

json pairs(const std::string& folder) {
  const auto& model = bench::vehicle_times(1);
  const auto parsed = model.parts().job(bench::eight_readings(1));
  const belief::Evidence job{electrical(parsed.entries), parsed.exposure};
  const Watch compile;
  // Faults that come and go and spread resistances would need an integral in every table.
  const test::Corner corner(model.parts().vehicle, model.parts().instruments,
                            plain(model.parts().rates), every_component(model.parts().vehicle), {});
  json result{{"compile_seconds", compile.seconds()}};
  result["search"] = searched(corner, job, false);
  result["exhaustive"] = searched(corner, job, true);
  const belief::Looks looks(corner.space(), job.entries, corner.instruments().repeat_correlation);
  const belief::Prior prior(corner.space(), corner.rates(), job.exposure, looks, {});
  const Watch tables;
  const Enumeration all(corner.space(), corner.instruments(), prior, job.entries);
  const double table_seconds = tables.seconds();
  const Watch sums;
  const auto naive = all.posterior();
  result["naive"] = {{"seconds", table_seconds + sums.seconds()},
                     {"sets", all.sets.size()},
                     {"table_seconds", table_seconds},
                     {"faults", naive}};
  result["faults"] = corner.space().faults().size();
  result["groups"] = all.likelihoods.size();
  result["peak_megabytes"] = peak_megabytes();
  std::vector<std::int32_t> members;
  for (const auto& set : all.sets)
    for (std::size_t i = 0; i < most_faults; ++i) members.push_back(i < set.size() ? set[i] : -1);
  write(folder + "/members.bin", members);
  write(folder + "/prior.bin", all.priors);
  for (std::size_t g = 0; g < all.likelihoods.size(); ++g)
    write(folder + "/likelihood_" + std::to_string(g) + ".bin", all.likelihoods[g]);
  return result;
}

/// A posterior as shipped, but with a budget of sets, on so many harnesses side by side.
json growth(int copies, std::size_t entries, std::size_t most_sets) {
  const Watch load;
  const auto& model = bench::vehicle_times(copies);
  const double load_seconds = load.seconds();
  auto job = model.parts().job(bench::eight_readings(copies));
  job.entries = electrical(job.entries);
  job.entries.resize(std::min(job.entries.size(), entries));
  const Watch watch;
  belief::Belief belief(model.parts().space, model.parts().instruments, model.parts().rates);
  belief::Options options;
  options.search.most_sets = most_sets;
  options.judge_entries = false;
  const auto found = belief.posterior({job.entries, job.exposure}, options);
  return {{"copies", copies},
          {"wires", model.parts().vehicle.wires.size()},
          {"nodes", model.parts().circuit.plan().node_count()},
          {"faults", model.parts().space.faults().size()},
          {"entries", job.entries.size()},
          {"load_seconds", load_seconds},
          {"seconds", watch.seconds()},
          {"sets", found.sets},
          {"networks", belief.solver().networks_solved()},
          {"bound", found.bound},
          {"peak_megabytes", peak_megabytes()}};
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> arguments(argv + 1, argv + argc);
  try {
    if (arguments.size() == 2 && arguments[0] == "pairs") {
      std::cout << pairs(arguments[1]) << '\n';
      return 0;
    }
    if (arguments.size() == 4 && arguments[0] == "growth") {
      std::cout << growth(std::stoi(arguments[1]), std::stoul(arguments[2]),
                          std::stoul(arguments[3]))
                << '\n';
      return 0;
    }
  } catch (const std::exception& error) {
    std::cerr << error.what() << '\n';
    return 2;
  }
  std::cerr << "usage: faultloom_comparison pairs FOLDER | growth COPIES ENTRIES SETS\n";
  return 2;
}
