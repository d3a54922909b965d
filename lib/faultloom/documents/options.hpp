#pragma once

#include <faultloom/advice/ambiguity.hpp>
#include <faultloom/advice/next_step.hpp>
#include <faultloom/advice/plan.hpp>
#include <faultloom/belief/search.hpp>
#include <faultloom/rates/estimate.hpp>
#include <optional>
#include <string_view>

namespace faultloom::documents {

struct RankOptions {
  std::size_t top = 20;       ///< rows per list
  double bound = 1e-3;        ///< belief::SearchOptions::bound
  double budget_seconds = 0;  ///< belief::SearchOptions::most_seconds
  std::size_t budget_sets = belief::SearchOptions{}.most_sets;

  [[nodiscard]] belief::SearchOptions search() const;
};

/// What steps are compared with and by what prices.
struct NextOptions {
  advice::Constraints constraints;
  /// Sets of faults looked at for the belief that steps are weighed with. Fewer than for a ranking: what to
  /// do next hangs on the leading suspects.
  std::size_t budget_sets = 2500;
  std::size_t budget_sets_if_poor = belief::SearchOptions{}.most_sets;
  std::optional<double> comeback_usd;    ///< advice::Prices::comeback_usd
  std::optional<double> good_part_loss;  ///< advice::Prices::good_part_loss
  std::optional<double> good_part_usd;   ///< advice::Prices::good_part_usd
};

struct PlanRequest {
  NextOptions next;
  advice::PlanOptions plan;
};

/// What may be used to tell faults apart, and how much to say of it.
struct ReachOptions {
  advice::Reach reach;
  std::size_t top = 10;  ///< groups listed
};

/// JSON {"top":20,"bound":0.001,"budget_seconds":0.5,"budget_sets":8000} or "".
/// @throws Error with all problems
[[nodiscard]] RankOptions read_rank_options(std::string_view text, std::size_t default_top = 20);

/// JSON {"instruments":[ids],"closed_zones":[ids],"alternatives":3,"allow_live":true,"max_minutes":20,
/// "authorized_usd":250,"comeback_usd":150,"good_part_loss":0.4,"good_part_usd":40,
/// "budget_seconds":0.5,"budget_decisions":2000,"budget_sets":2500} or "".
[[nodiscard]] NextOptions read_next_options(std::string_view text, const vehicle::Vehicle& vehicle,
                                            const readings::InstrumentSet& instruments);

/// As read_next_options(), with "depth":8, "residual":0.02 and "max_steps":60 besides.
[[nodiscard]] PlanRequest read_plan_options(std::string_view text, const vehicle::Vehicle& vehicle,
                                            const readings::InstrumentSet& instruments);

/// JSON {"instruments":[ids],"closed_zones":[ids],"allow_live":true,"looks":false,"lifting":false,
/// "top":10} or "".
[[nodiscard]] ReachOptions read_reach_options(std::string_view text,
                                              const vehicle::Vehicle& vehicle,
                                              const readings::InstrumentSet& instruments);

/// How rates are learned.
struct LearningOptions {
  RankOptions rank;  ///< how far each job's causes are looked for
  rates::EstimateOptions estimate;
  /// Chance that a vehicle is brought in for a fault that does not stop it (common practice, no source).
  double noticed_otherwise = 0.2;
};

struct CalibrationOptions {
  RankOptions rank;
  std::size_t bins = 10;
};

/// JSON {"pool":true,"environments":true,"shares":true,"noticed_otherwise":0.2,"budget_seconds":0,
/// "budget_sets":8000} or "".
[[nodiscard]] LearningOptions read_learning_options(std::string_view text);

/// JSON {"bins":10,"budget_seconds":0,"budget_sets":8000} or "".
[[nodiscard]] CalibrationOptions read_calibration_options(std::string_view text);

}  // namespace faultloom::documents
