#pragma once

#include <faultloom/advice/prediction_store.hpp>
#include <faultloom/advice/repair_order.hpp>
#include <faultloom/belief/belief.hpp>
#include <limits>
#include <string>
#include <vector>

namespace faultloom::advice {

/// One thing to do, with what it costs and what may come of it.
struct Step {
  enum class Type {
    reading,
    sign,
    look,
    lift,    ///< a reading with a wire's end taken off, pack isolated
    bridge,  ///< a sign with a fused lead across a contact or wire
    repair,
    authorize,  ///< a repair that costs more than was authorized: ask first
    verify
  };

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
  Index element = vehicle::none;  ///< bridge: what the lead goes across
  Index lifted = vehicle::none;   ///< lift: the termination taken off, a component
  Index sign = vehicle::none;
  Index wiggled_zone = vehicle::none;  ///< sign: where wires and plugs are moved by hand meanwhile
  Index component = vehicle::none;     ///< look, repair; bridge: what is bridged
  /// reading, sign: it is tried until this sign fails to come, and noted then; none: at once
  Index when_sign = vehicle::none;
  int most_tries = 0;  ///< with `when_sign`: as often at most
  vehicle::ControlState state;
  bool isolated = false;
  std::vector<Index> zones_to_open;
  bool needs_helper = false;
  double minutes = 0;             ///< zones and change of controls included
  double cost_usd = 0;            ///< of the step alone
  double expected_total_usd = 0;  ///< of the step and everything after it
  std::vector<Result> results;
};

struct Constraints {
  std::vector<int> instruments;     ///< at hand; empty: all
  std::vector<Index> closed_zones;  ///< off limits
  std::vector<Index> open_zones;
  bool allow_live = true;  ///< false: nothing that needs the pack connected
  /// Entries so far. None of them is offered again: by the same hand it would say the same again. The
  /// last one tells how the controls stand now.
  std::vector<readings::Entry> made;
  double most_minutes = std::numeric_limits<double>::infinity();  ///< for one step, zones included
  double authorized_usd = std::numeric_limits<double>::infinity();  ///< for one repair
  std::size_t alternatives = 3;
  double budget_seconds =
      0;  ///< for comparing, beyond which the best so far has to do; 0: no limit
  std::size_t budget_decisions = 0;  ///< decisions looked into; 0: no limit
  bool exhaustive = false;           ///< every informative step followed to the end, for comparison
};

struct Advice {
  Step best;
  std::vector<Step> alternatives;
  double repair_only_usd = 0;  ///< repairing in the best order without another test
  std::size_t steps_compared = 0;
  std::size_t steps_distinct = 0;
  std::size_t decisions = 0;  ///< looked into on the way to the end of the job
  bool cut_short = false;     ///< a budget ended the comparison early
};

/// Chooses the next step: over every reading (instrument, terminals, control positions, wire ends taken
/// off), sign (with a suspect bridged, too), look and repair, the one with the least expected cost of
/// finishing the job. A quick estimate ranks them, and the best are followed to the end (see Policy).
///
/// Time, parts, zones opened once, controls moved from where they stand, a helper, good parts replaced,
/// repairs that do not take and comebacks have their price. Deterministic, unless `budget_seconds` ends
/// it. Not thread-safe for one Belief.
/// @param store  what it keeps makes the next question of the same job quicker
/// @throws Error no_step    nothing is broken that could be named and nothing can be tested
///               cancelled
[[nodiscard]] Advice next_step(belief::Belief& belief, PredictionStore& store,
                               const belief::Posterior& posterior, const Prices& prices,
                               const Constraints& constraints, const Progress& progress = {});

/// The same with a store of its own.
[[nodiscard]] Advice next_step(belief::Belief& belief, const belief::Posterior& posterior,
                               const Prices& prices, const Constraints& constraints,
                               const Progress& progress = {});

}  // namespace faultloom::advice
