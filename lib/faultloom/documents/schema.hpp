#pragma once

#include <faultloom/base/error.hpp>

#include <nlohmann/json_fwd.hpp>

#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// A JSON Schema (draft-07) that the library carries, made ready for any number of documents.
class Schema {
 public:
  /// @param document_kind  "vehicle", "kinds", "rates", "instruments", "job", "cautions", ...
  /// @throws Error internal  there is no schema of that name
  explicit Schema(std::string_view document_kind);
  Schema(Schema&&) noexcept;
  Schema& operator=(Schema&&) noexcept;
  ~Schema();

  /// As check_schema().
  void check(const nlohmann::json& document, std::vector<Problem>& problems) const;

 private:
  struct Parsed;
  std::unique_ptr<const Parsed> parsed_;
};

/// Checks a document against the schema of its kind, and
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
