#pragma once

#include <faultloom/base/error.hpp>

#include <nlohmann/json_fwd.hpp>

#include <string_view>
#include <vector>

namespace faultloom::documents {

/// Checks a document against the JSON Schema (draft-07) that the library carries for its kind, and
/// appends one line for each thing wrong, at most 100 and a last line "and N more". Unknown keys
/// come with the known key that is nearest, values out of range with their limit.
///
/// @param document_kind  "vehicle", "kinds", "rates", "instruments", "job", "cautions", ...
/// Appends code schema for structure, value for numbers out of range and keys with a wrong unit.
/// @throws Error internal  there is no schema of that name
/// Complexity: linear in the document for the schemas of this library.
void check_schema(const nlohmann::json& document, std::string_view document_kind,
                  std::vector<Problem>& problems);

}  // namespace faultloom::documents
