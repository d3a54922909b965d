#pragma once

#include <faultloom/learning/cases.hpp>
#include <faultloom/rates/estimate.hpp>

#include <nlohmann/json.hpp>

#include <string>

namespace faultloom::documents {

/// A number with six digits, as documents show what was computed.
[[nodiscard]] double six_digits(double value);

/// The rates document with what was learned put in: kinds with data of their own, environments and
/// `per_visit`. Everything else stays as it was. @param learned_from  in a few words, for the sources
[[nodiscard]] nlohmann::json learned_rates(const nlohmann::json& document,
                                           const learning::Lines& lines,
                                           const rates::HistoryEstimate& estimate,
                                           const std::string& learned_from);

/// Members changes, per_visit, classes, environments and cannot_say of faultloom.learning.
[[nodiscard]] nlohmann::json learning_report(const learning::Lines& lines,
                                             const rates::HistoryEstimate& estimate,
                                             bool only_broken_seen);

}  // namespace faultloom::documents
