#include <faultloom/documents/findings.hpp>

#include <faultloom/base/one_line.hpp>

#include <fmt/format.h>

#include <set>
#include <string>
#include <tuple>
#include <utility>

namespace faultloom::documents {

void remove_repeats(std::vector<Problem>& problems) {
  std::set<std::tuple<Code, std::string, std::string>> seen;
  std::erase_if(problems, [&](const Problem& problem) {
    return !seen.emplace(problem.code, problem.message, problem.pointer).second;
  });
}

void cap(std::vector<Problem>& problems, std::size_t limit) {
  if (problems.size() <= limit + 1)
    return;  // the last line would take the room of the problem it replaces
  const auto more = problems.size() - limit;
  const auto code = problems[limit].code;
  problems.resize(limit);
  problems.push_back(
      {code, fmt::format("And {} more problems of this document are not listed", more), ""});
}

void throw_if_any(std::vector<Problem> problems) {
  if (problems.empty()) return;
  keep_to_one_line(problems);
  remove_repeats(problems);
  cap(problems);
  throw Error(std::move(problems));
}

}  // namespace faultloom::documents
