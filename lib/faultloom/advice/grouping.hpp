#pragma once

#include <faultloom/advice/fault_answers.hpp>

/// From what every fault answers to sets of faults that no test tells apart.
namespace faultloom::advice {

/// Faults and what tests say of them.
struct Grouping {
  std::vector<std::vector<std::int32_t>> groups;
  std::vector<std::int32_t> undetected;  ///< not told from the healthy vehicle, ascending
  std::size_t tests = 0;
  std::size_t distinct_tests = 0;  ///< tests that tell different pairs of faults apart
};

/// Makes every test of these situations on these faults and links those that none tells apart, as
/// ambiguity_groups() says.
/// @throws Error cancelled
/// Complexity: FaultAnswers::collect(), then tests x distinct faults^2 / 64 bit operations.
[[nodiscard]] Grouping group_faults(FaultAnswers& answers, std::span<const std::int32_t> faults,
                                    std::vector<Situation> situations, const Progress& progress);

}  // namespace faultloom::advice
