#pragma once

#include <faultloom/documents/options.hpp>

namespace faultloom::documents {

/// How many jobs at once are ranked.
struct FleetOptions {
  std::size_t most_suspects = 10;  ///< rows of each job's lists
  /// Look jobs up in tables made once for all of them, as far as these can answer them.
  bool screen = true;
  /// Rank what they can't answer like a job alone.
  bool full = true;
  /// Most that a looked-up answer may leave open and still count, 0..1.
  double screen_bound = 0.5;
  RankOptions rank;  ///< of jobs ranked like a job alone; `top` is not used
};

/// JSON {"most_suspects":10,"screen":true,"full":true,"screen_bound":0.5,"bound":0.001,"budget_seconds":0,
/// "budget_sets":8000} or "".
/// @throws Error with all problems
[[nodiscard]] FleetOptions read_fleet_options(std::string_view text);

}  // namespace faultloom::documents
