#pragma once

#include <faultloom/documents/kinds.hpp>

#include <nlohmann/json_fwd.hpp>

#include <string>

namespace faultloom::documents {

/// Members of a kind from JSON that follows the schema; names are checked later.
[[nodiscard]] KindElement element_of(const std::string& id, const nlohmann::json& value);
[[nodiscard]] KindMode mode_of(const std::string& id, const nlohmann::json& value);
[[nodiscard]] KindSign sign_of(const std::string& id, const nlohmann::json& value);

}  // namespace faultloom::documents
