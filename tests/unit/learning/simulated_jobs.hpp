#pragma once

#include <faultloom/rates/scores.hpp>

#include "unit/belief/oracle.hpp"

#include <cstdint>
#include <map>
#include <random>
#include <string>
#include <vector>

/// Jobs drawn from the model itself: what is wrong by the rates, what is read by the forecast of each set of
/// faults. The belief's chances of them must then be right.
namespace faultloom::test {

class SimulatedJobs {
 public:
  /// @param tests  entries without outcome whose answers are words; each job makes some of them
  SimulatedJobs(const Corner& corner, std::vector<readings::Entry> tests, rates::Exposure exposure,
                std::uint64_t seed);

  struct Job {
    std::vector<Index> truth;  ///< modes, ascending
    belief::Evidence evidence;
    std::string key;  ///< same evidence, same key
  };
  /// A job with `count` different tests, the first of them always.
  [[nodiscard]] Job draw(std::size_t count);

  /// Claims about all components that can fail from `jobs` jobs, by a belief of the corner's with these
  /// rates. Evidence that comes again is weighed once.
  [[nodiscard]] std::vector<rates::Claim> claims(std::size_t jobs, std::size_t tests_each,
                                                 const rates::Rates& rates);
  /// Different evidence weighed so far.
  [[nodiscard]] std::size_t weighed() const { return weighed_; }

 private:
  [[nodiscard]] std::vector<Index> draw_truth();
  /// P(each word | truth) of a test.
  const std::vector<double>& chances(const std::vector<Index>& truth, std::size_t test);

  const Corner& corner_;
  std::vector<readings::Entry> tests_;
  rates::Exposure exposure_;
  std::mt19937_64 engine_;
  std::vector<double> priors_;
  circuit::Solver solver_;
  std::map<std::pair<std::vector<Index>, std::size_t>, std::vector<double>> chances_;
  std::size_t weighed_ = 0;
};

}  // namespace faultloom::test
