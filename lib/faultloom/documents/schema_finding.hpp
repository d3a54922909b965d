#pragma once

#include <faultloom/base/error.hpp>

#include <nlohmann/json_fwd.hpp>

#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// A departure from a schema with what is needed to weigh it against others.
struct Finding {
  enum class Kind { type, choice, missing, unknown, other };
  Kind kind = Kind::other;
  Problem problem;
  std::string detail;  ///< type, choice: what was expected; unknown: the key meant, or ""
  std::string found;   ///< type, choice: the value in words
  std::vector<std::string> keys;  ///< missing: the keys any of which would do
};
using Findings = std::vector<Finding>;

/// One of several forms that a value may take, tried.
struct FormTry {
  Findings findings;   ///< why the value does not have this form
  int known_keys = 0;  ///< keys of the value that the form knows by name
};

/// The findings of the form that the value at `pointer` comes closest to. If all forms failed for
/// the same reason, one finding names everything that would do.
[[nodiscard]] Findings closest_form(std::vector<FormTry> tries, const std::string& pointer);

/// Drops complaints about missing keys where a key is there but misspelt or in another unit, which
/// is the better message of the two.
void drop_misspelt(Findings& findings);

/// A value as messages show it: numbers and short texts as they are, the rest by its type.
[[nodiscard]] std::string in_words(const nlohmann::json& value);

/// A JSON Schema type with its article.
[[nodiscard]] std::string type_in_words(std::string_view type);

/// Whether a value has a JSON Schema type; 3.0 is an integer.
[[nodiscard]] bool has_type(const nlohmann::json& value, std::string_view type);

/// What a regular expression of the schemas stands for, or the expression itself.
[[nodiscard]] std::string pattern_in_words(std::string_view pattern);

/// The known key that differs from this one in its unit only, or "".
[[nodiscard]] std::string other_unit(std::string_view key, const std::vector<std::string>& known);

/// Whether a key ends in a unit that documents don't use, as "_mm" or "_kohm".
[[nodiscard]] bool has_foreign_unit(std::string_view key);

}  // namespace faultloom::documents
