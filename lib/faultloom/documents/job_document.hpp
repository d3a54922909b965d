#pragma once

#include <faultloom/documents/job_reader.hpp>
#include <nlohmann/json_fwd.hpp>

namespace faultloom::documents {

/// read_job() of a document that was parsed and follows the schema; without Job::entry_texts.
/// @throws Error  with every name that does not exist and what else the schema can't say
[[nodiscard]] Job read_valid_job(const nlohmann::json& document, const vehicle::Vehicle& vehicle,
                                 const readings::InstrumentSet& instruments,
                                 const std::map<std::string, rates::Cue, std::less<>>* cues);

}  // namespace faultloom::documents
