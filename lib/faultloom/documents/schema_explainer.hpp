#pragma once

#include <faultloom/base/error.hpp>

#include <nlohmann/json_fwd.hpp>

#include <map>
#include <regex>
#include <string>
#include <vector>

namespace faultloom::documents {

/// Patterns of a schema, by their text. To make one takes longer than to check a document with it.
using Patterns = std::map<std::string, std::regex>;

/// Says in words where a document departs from its JSON Schema (draft-07), one line for each cause.
///
/// A validator names every schema it tried. Here, of several forms that a value may take only the
/// one it comes closest to is reported, and a parent never repeats what its members are reported
/// for. References must be local ("#/definitions/...").
/// @param patterns  those already made; gets the others that were needed
/// @returns nothing if the document follows the schema as far as this function knows draft-07
[[nodiscard]] std::vector<Problem> explain(const nlohmann::json& schema,
                                           const nlohmann::json& document, Patterns& patterns);

}  // namespace faultloom::documents
