#pragma once

#include <faultloom/advice/next_step.hpp>
#include <string_view>

namespace faultloom::documents {

struct RankOptions {
  std::size_t top = 20;       ///< rows per list
  double bound = 1e-3;        ///< belief::SearchOptions::bound
  double budget_seconds = 0;  ///< belief::SearchOptions::most_seconds
};

struct NextOptions {
  advice::Constraints constraints;
};

/// JSON {"top":20,"bound":0.001,"budget_seconds":0.5} or "". @throws Error with all problems
[[nodiscard]] RankOptions read_rank_options(std::string_view text, std::size_t default_top = 20);

/// JSON {"instruments":[ids],"closed_zones":[ids],"alternatives":3,"allow_live":true} or "".
[[nodiscard]] NextOptions read_next_options(std::string_view text, const vehicle::Vehicle& vehicle,
                                            const readings::InstrumentSet& instruments);

}  // namespace faultloom::documents
