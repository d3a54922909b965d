#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom {

/// Stable error numbers; see codes.def for the meaning of each.
enum class Code : int {
  ok = 0,
#define FAULTLOOM_CODE(name, number, meaning) name = (number),
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE
};

/// Name of a code as used in documents and messages, for example "reference".
[[nodiscard]] std::string_view name_of(Code code) noexcept;
/// One line saying what the code means.
[[nodiscard]] std::string_view meaning_of(Code code) noexcept;

/// One thing wrong with the input: what, where, what to do.
struct Problem {
  Code code = Code::internal;
  std::string message;  ///< one English line, no trailing newline
  std::string pointer;  ///< JSON pointer (RFC 6901) into the document, "" for the whole document

  friend bool operator==(const Problem&, const Problem&) = default;
};

/// Thrown by every fallible function of the library. Carries all problems found, not only the first.
/// `code()` is that of the first problem.
class Error : public std::runtime_error {
 public:
  explicit Error(std::vector<Problem> problems);
  Error(Code code, std::string message, std::string pointer = "")
      : Error(std::vector<Problem>{{code, std::move(message), std::move(pointer)}}) {}

  [[nodiscard]] const std::vector<Problem>& problems() const noexcept { return problems_; }
  [[nodiscard]] Code code() const noexcept;

 private:
  std::vector<Problem> problems_;
};

/// Escapes one reference token of a JSON pointer (RFC 6901 section 3: ~ becomes ~0 and / becomes ~1).
[[nodiscard]] std::string pointer_token(std::string_view token);

}  // namespace faultloom
