#pragma once

#include <faultloom/base/error.hpp>

#include <string>
#include <string_view>
#include <vector>

namespace fuzz {

/// Ends the program with what is wrong, which the fuzzer takes for a finding.
[[noreturn]] void fail(std::string_view what, std::string_view detail);

inline void require(bool holds, std::string_view what, std::string_view detail = {}) {
  if (!holds) fail(what, detail);
}

/// One line, not empty, and printable; a pointer as RFC 6901 wants it.
void check_message(std::string_view message);
void check_pointer(std::string_view pointer);

/// What must hold of any list of problems about a document: known codes that documents can cause, no more
/// than the limit, every message and pointer in form.
/// @param document  where pointers must lead to something or its parent; "" if there is none
void check_problems(const std::vector<faultloom::Problem>& problems,
                    std::string_view document = {});

/// Runs a reader. Whether it accepted; what it says otherwise is checked.
template <typename Read>
bool accepted(Read&& read, std::string_view document = {}) {
  try {
    read();
    return true;
  } catch (const faultloom::Error& error) {
    check_problems(error.problems(), document);
    require(!error.problems().empty(), "refused without a problem");
    return false;
  }
}

}  // namespace fuzz
