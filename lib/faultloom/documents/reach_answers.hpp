#pragma once

#include <faultloom/documents/answers.hpp>
#include <faultloom/documents/options.hpp>
#include <span>

/// Answers on what can be told apart at all. Shapes are described in README.md.
namespace faultloom::documents {

/// JSON faultloom.ambiguity. Suspects are the likeliest faults that together hold 99 % of what all faults
/// hold, at most 800.
/// @param probabilities  posterior by fault of the space
/// @throws Error cancelled
[[nodiscard]] nlohmann::json ambiguity_of(const AnswerContext& context,
                                          const belief::FaultSpace& space,
                                          const ReachOptions& options,
                                          std::span<const double> probabilities,
                                          const Progress& progress);

/// JSON faultloom.testability; of `context` the job is not looked at.
/// @param probabilities  prior by fault of the space
/// @throws Error cancelled
[[nodiscard]] nlohmann::json testability_of(const AnswerContext& context,
                                            const belief::FaultSpace& space,
                                            const ReachOptions& options,
                                            std::span<const double> probabilities,
                                            const Progress& progress);

}  // namespace faultloom::documents
