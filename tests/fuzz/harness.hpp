#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

/// What the program of all harnesses is put together from.
namespace fuzz {

/// How inputs of a harness are changed into others.
enum class Shape {
  bytes,   ///< anywhere
  json,    ///< mostly a value of the document for another, sometimes a byte
  journal  ///< mostly within records, with checksums put right afterwards
};

struct Seed {
  std::string name;
  std::string text;
};

/// One entry into the library with what must hold of whatever comes back.
struct Harness {
  const char* name;
  Shape shape;
  long runs;               ///< of a short run, see tests/tools/fuzz
  std::size_t most_bytes;  ///< of an input
  void (*run)(std::string_view input);
  std::vector<Seed> (*seeds)();
  /// Whose new edges count for tests/tools/fuzz --until-quiet: sources with this in their path.
  const char* sources = "/";
};

[[nodiscard]] std::vector<Harness> document_harnesses();
[[nodiscard]] std::vector<Harness> job_harnesses();
[[nodiscard]] std::vector<Harness> journal_harnesses();
[[nodiscard]] std::vector<Harness> abi_harnesses();

}  // namespace fuzz
