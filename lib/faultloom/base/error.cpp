#include <faultloom/base/error.hpp>

#include <faultloom/base/one_line.hpp>

#include <utility>

namespace faultloom {
namespace {

std::string summary(const std::vector<Problem>& problems) {
  if (problems.empty()) return "unspecified problem";
  std::string text = problems.front().message;
  if (!problems.front().pointer.empty()) text += " (" + problems.front().pointer + ")";
  if (problems.size() > 1) text += " and " + std::to_string(problems.size() - 1) + " more";
  return on_one_line(std::move(text));
}

std::vector<Problem> kept_to_one_line(std::vector<Problem> problems) {
  keep_to_one_line(problems);
  return problems;
}

}  // namespace

std::string_view name_of(Code code) noexcept {
  switch (code) {
    case Code::ok:
      return "ok";
#define FAULTLOOM_CODE(name, number, meaning) \
  case Code::name:                            \
    return #name;
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE
  }
  return "unknown";
}

std::string_view meaning_of(Code code) noexcept {
  switch (code) {
    case Code::ok:
      return "no problem";
#define FAULTLOOM_CODE(name, number, meaning) \
  case Code::name:                            \
    return meaning;
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE
  }
  return "unknown code";
}

Error::Error(std::vector<Problem> problems)
    : std::runtime_error(summary(problems)), problems_(kept_to_one_line(std::move(problems))) {}

Code Error::code() const noexcept {
  return problems_.empty() ? Code::internal : problems_.front().code;
}

std::string pointer_token(std::string_view token) {
  std::string out;
  out.reserve(token.size());
  for (const char c : token) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out += c;
    }
  }
  return out;
}

}  // namespace faultloom
