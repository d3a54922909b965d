#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/documents/model.hpp>
#include <span>
#include <string>
#include <string_view>

/// Questions to a history of closed jobs. They may be about several vehicles, each with its model; all models
/// have the same rates document, or Error(argument) is thrown.
namespace faultloom::documents {

using Models = std::span<const Model* const>;

/// JSON faultloom.learning: the rates document with what the history says of it, what changed and why, and
/// what the history can't say. `options` as in read_learning_options().
/// @throws Error  those of read_history(), and of the options
/// Complexity: one posterior for each job without confirmed causes, then some hundred turns over the causes.
[[nodiscard]] std::string learn_rates(Models models, std::string_view history,
                                      std::string_view options = {}, const Progress& progress = {});

/// JSON faultloom.calibration: how right the chances of components were in jobs with confirmed causes, from
/// their entries before the first repair. With `against` (models of the same vehicles with other rates) the
/// same for these, and the difference in pairs. `options` as in read_calibration_options().
/// @throws Error  as above
[[nodiscard]] std::string calibration(Models models, Models against, std::string_view history,
                                      std::string_view options = {}, const Progress& progress = {});

/// JSON faultloom.sensitivity: how a job's ranking hangs on each rate, how far each can be off before another
/// component leads, and what knowing it would save. `options` as in read_rank_options().
[[nodiscard]] std::string sensitivity(const Model& model, std::string_view job,
                                      std::string_view options = {}, const Progress& progress = {});

}  // namespace faultloom::documents
