#pragma once

#include <nlohmann/json_fwd.hpp>

namespace faultloom::documents {

/// Whether a document surely follows the schema of jobs. A quick look at its members that knows what most jobs
/// consist of; false says nothing, the schema then has to be asked.
/// Complexity: linear, some hundred times quicker than the schema.
[[nodiscard]] bool is_plain_job(const nlohmann::json& document);

}  // namespace faultloom::documents
