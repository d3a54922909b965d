#pragma once

#include <faultloom/advice/outcome_table.hpp>
#include <faultloom/advice/repair_order.hpp>
#include <faultloom/belief/belief.hpp>
#include <string>
#include <vector>

namespace faultloom::advice {

/// One thing to do, with what it costs and what may come of it.
struct Step {
  enum class Type { reading, sign, look, repair, verify };

  struct Leader {
    Index component = vehicle::none;
    double probability = 0;
  };
  struct Result {
    std::string label;  ///< "about 0 V", "bright", "no" ...
    double probability = 0;
    std::vector<Leader> leaders;  ///< likeliest components after this outcome
  };

  Type type = Type::reading;
  int instrument = -1;
  Index red = vehicle::none;
  Index black = vehicle::none;
  Index element = vehicle::none;  ///< clamp
  Index sign = vehicle::none;
  Index component = vehicle::none;  ///< look, repair
  vehicle::ControlState state;
  bool isolated = false;
  std::vector<Index> zones_to_open;
  bool needs_helper = false;
  double minutes = 0;             ///< zones included
  double cost_usd = 0;            ///< of the step alone
  double expected_total_usd = 0;  ///< of the step and everything after it
  std::vector<Result> results;
};

struct Constraints {
  std::vector<int> instruments;     ///< at hand; empty: all
  std::vector<Index> closed_zones;  ///< off limits
  std::vector<Index> open_zones;
  bool allow_live = true;  ///< false: nothing that needs the pack connected
  std::size_t alternatives = 3;
  bool exhaustive = false;  ///< full leaf estimate for every informative step, for comparison
};

struct Advice {
  Step best;
  std::vector<Step> alternatives;
  double repair_only_usd = 0;  ///< repairing in the best order without another test
  std::size_t steps_compared = 0;
  std::size_t steps_distinct = 0;
};

/// Chooses the next step one ahead: over every reading (instrument, terminals, control positions), sign
/// and look that tells live candidates apart, the one with the least expected cost of finishing the job,
/// against starting to repair now.
///
/// The cost to go after an outcome is the smaller of repairing in probability-over-cost order and of
/// repairing what is broken plus paying for the remaining uncertainty at the going price of a bit
/// (after Warnquist and Nyberg). Zones are opened once; what is behind an open one is cheap.
/// Deterministic. Not thread-safe for one Belief.
/// @throws Error no_step  nothing is broken that could be named and nothing can be tested
[[nodiscard]] Advice next_step(belief::Belief& belief, const belief::Posterior& posterior,
                               const Prices& prices, const Constraints& constraints,
                               const Progress& progress = {});

}  // namespace faultloom::advice
