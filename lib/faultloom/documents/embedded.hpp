#pragma once

#include <string_view>

namespace faultloom::documents {

/// One of the documents built into the library from the folder data/ when it was compiled.
///
/// @param name  path below data/ without extension: "schema/vehicle", "kinds", "rates",
///              "instruments", "cautions"
/// @returns the text of the document, byte for byte as in its file, valid as long as the program
///          runs; empty when no document has that name
/// Complexity: a few string comparisons. Thread-safe.
std::string_view embedded_document(std::string_view name) noexcept;

}  // namespace faultloom::documents
