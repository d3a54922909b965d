#pragma once

#include <faultloom/documents/model.hpp>
#include <faultloom/documents/model_parts.hpp>

#include <nlohmann/json.hpp>

#include <cstdint>
#include <random>
#include <vector>

/// Jobs as a workshop meets them: faults drawn from the prior until the vehicle does not run, then what a
/// technician with a meter, a lamp and a beeper finds at points along the way, slips and noise included.
namespace faultloom::test {

class DrawnJobs {
 public:
  DrawnJobs(const documents::Model& model, std::uint64_t seed);

  /// A job document: the complaint "it does not run" as a sign and `readings` more entries, each another
  /// test. @param hours  running hours to write down; 0: none
  [[nodiscard]] nlohmann::json draw(std::size_t readings, double hours = 0);
  /// The faults of the job drawn last.
  [[nodiscard]] const std::vector<std::int32_t>& truth() const { return truth_; }

 private:
  void draw_truth();
  [[nodiscard]] readings::Entry draw_test();
  /// Notes down what the present truth shows; an entry of documents.
  [[nodiscard]] nlohmann::json answered(const readings::Entry& test, int number);
  [[nodiscard]] double number_shown(const readings::Entry& test);
  [[nodiscard]] double chance() { return std::uniform_real_distribution<double>(0, 1)(engine_); }
  [[nodiscard]] std::size_t pick(std::size_t count) {
    return std::uniform_int_distribution<std::size_t>(0, count - 1)(engine_);
  }

  const documents::Model::Parts& parts_;
  std::mt19937_64 engine_;
  circuit::Solver solver_;
  belief::Looks no_looks_;
  belief::Cues no_cues_;
  belief::Prior prior_;
  std::vector<std::int32_t> truth_;
  circuit::Overrides overrides_;
  std::vector<circuit::Setting> settings_;
  readings::Entry runs_;
  std::vector<vehicle::Index> points_;
  std::vector<vehicle::Index> signs_;
};

}  // namespace faultloom::test
