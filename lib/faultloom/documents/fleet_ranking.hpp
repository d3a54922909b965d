#pragma once

#include <faultloom/base/progress.hpp>
#include <faultloom/documents/model.hpp>
#include <span>
#include <string>
#include <string_view>

namespace faultloom::documents {

/// JSON faultloom.fleet-ranking: the suspects of each of many jobs about one vehicle, in the order given.
/// What is wrong with one job stands in its place and does not stop the others. An answer depends on its job
/// and the options alone. `options` as in read_fleet_options().
/// @throws Error  those of the options; cancelled; Error internal
/// Complexity: linear in the jobs; see fleet::Screen for those looked up, Belief::posterior() for the others.
[[nodiscard]] std::string rank_jobs_json(const Model& model, std::span<const std::string_view> jobs,
                                         std::string_view options = {},
                                         const Progress& progress = {});

/// The same for a JSON array of job documents.
/// @throws Error syntax  it is no array
[[nodiscard]] std::string rank_jobs_json(const Model& model, std::string_view jobs,
                                         std::string_view options = {},
                                         const Progress& progress = {});

}  // namespace faultloom::documents
