#include "check.hpp"

#include <nlohmann/json.hpp>

#include <cstdio>
#include <cstdlib>
#include <set>
#include <string>
#include <vector>

namespace fuzz {
namespace {

using faultloom::Code;
using nlohmann::json;

/// Findings and the line that says how many more there are.
constexpr std::size_t most_problems = 101;
constexpr std::size_t longest_message = 5000;

bool known(Code code) {
  switch (code) {
    case Code::ok:
      return false;
#define FAULTLOOM_CODE(name, number, meaning) \
  case Code::name:                            \
    return true;
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE
  }
  return false;
}

/// Whether a pointer leads to a value or to a member that its parent could have.
bool leads_somewhere(const json& document, std::string_view pointer) {
  const auto place = json::json_pointer(std::string(pointer));
  if (place.empty()) return true;
  const auto parent = place.parent_pointer();
  return document.contains(parent) || document.contains(place);
}

/// Whether an object gives a key twice. A pointer may then lead into the value that parsing drops.
bool repeats_a_key(std::string_view document) {
  bool repeated = false;
  std::vector<std::set<std::string>> keys;
  static_cast<void>(json::parse(
      document,
      [&](int, json::parse_event_t event, json& value) {
        if (event == json::parse_event_t::object_start) keys.emplace_back();
        if (event == json::parse_event_t::object_end) keys.pop_back();
        if (event == json::parse_event_t::key)
          repeated |= !keys.back().insert(value.get<std::string>()).second;
        return true;
      },
      false));
  return repeated;
}

}  // namespace

void fail(std::string_view what, std::string_view detail) {
  std::fprintf(stderr, "\nfaultloom_fuzz: %.*s: %.*s\n", static_cast<int>(what.size()), what.data(),
               static_cast<int>(std::min<std::size_t>(detail.size(), longest_message)),
               detail.data());
  std::abort();
}

void check_message(std::string_view message) {
  require(!message.empty(), "a problem without a message");
  require(message.size() <= longest_message, "a message is too long", message);
  for (const char c : message)
    require(static_cast<unsigned char>(c) >= 0x20 && c != 0x7F, "a message is not one line",
            message);
}

void check_pointer(std::string_view pointer) {
  require(pointer.empty() || pointer.front() == '/', "no JSON pointer", pointer);
  for (std::size_t i = 0; i < pointer.size(); ++i)
    if (pointer[i] == '~')
      require(i + 1 < pointer.size() && (pointer[i + 1] == '0' || pointer[i + 1] == '1'),
              "a bad escape in a JSON pointer", pointer);
}

void check_problems(const std::vector<faultloom::Problem>& problems, std::string_view document) {
  require(problems.size() <= most_problems, "more problems than the limit");
  const auto parsed = json::parse(document, nullptr, false);
  for (const auto& problem : problems) {
    require(known(problem.code) && problem.code < Code::argument,
            "a code that no document can cause", problem.message);
    check_message(problem.message);
    check_pointer(problem.pointer);
    if (!parsed.is_discarded())
      require(leads_somewhere(parsed, problem.pointer) || repeats_a_key(document),
              "a pointer leads nowhere", problem.pointer);
  }
}

}  // namespace fuzz
