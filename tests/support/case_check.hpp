#pragma once

#include <fmt/format.h>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>
#include <vector>

/// The reference cases of tests/cases: finding, reading and checking them. README.md there describes
/// the format. Shared by the C++ and the C runner.
namespace case_check {

using nlohmann::json;

inline std::string read_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't open " + path.string());
  return {std::istreambuf_iterator<char>(file), {}};
}

struct Case {
  std::string source;
  std::string vehicle;  ///< text of the vehicle document
  std::string call;     ///< volts, solve, rank or next
  std::string input;    ///< JSON text: a situation or a job
  std::string options;  ///< JSON text, "" if the case gives none
  json expect;
};

/// Names of all cases, sorted; a test for each.
inline std::vector<std::string> names(const std::filesystem::path& folder) {
  std::vector<std::string> found;
  std::error_code none_there;
  for (const auto& entry : std::filesystem::directory_iterator(folder, none_there))
    if (std::filesystem::exists(entry.path() / "case.json"))
      found.push_back(entry.path().filename().string());
  std::sort(found.begin(), found.end());
  return found;
}

/// A case's name as part of a test's name, which allows letters, digits and _ only.
inline std::string test_name(std::string name) {
  for (char& c : name)
    if (c == '-' || c == '.') c = '_';
  return name;
}

/// @throws std::exception  a member is missing, unknown or of the wrong type
inline Case read_case(const std::filesystem::path& folder, const std::filesystem::path& data) {
  const json document = json::parse(read_file(folder / "case.json"));
  for (const auto& [key, value] : document.items())
    if (!(key == "source" || key == "vehicle" || key == "call" || key == "input" ||
          key == "options" || key == "expect"))
      throw std::runtime_error("a case has no member '" + key + "'");
  Case result;
  result.source = document.at("source").get<std::string>();
  result.vehicle = read_file(data / document.at("vehicle").get<std::string>());
  result.call = document.at("call").get<std::string>();
  result.input = document.at("input").dump();
  if (document.contains("options")) result.options = document["options"].dump();
  result.expect = document.at("expect");
  if (result.source.empty())
    throw std::runtime_error("a case must say where its numbers come from");
  if (!result.expect.is_array() || result.expect.empty())
    throw std::runtime_error("a case must expect something");
  const bool about_a_job = result.call == "rank" || result.call == "next";
  if (!about_a_job && result.call != "volts" && result.call != "solve")
    throw std::runtime_error("there is no call '" + result.call + "'");
  if (!about_a_job && !result.options.empty())
    throw std::runtime_error("'" + result.call + "' takes no options");
  return result;
}

/// The answer of the call `volts`, which has none in JSON: {"volts":{terminal:V}} as in solve.
inline json volts_answer(const std::vector<std::string>& terminals,
                         const std::vector<double>& volts) {
  if (terminals.size() != volts.size())
    throw std::runtime_error(
        fmt::format("{} terminals, but {} voltages", terminals.size(), volts.size()));
  json answer = {{"volts", json::object()}};
  for (std::size_t i = 0; i < volts.size(); ++i) answer["volts"][terminals[i]] = volts[i];
  return answer;
}

/// What is wrong with one value, "" if nothing. Comparisons are written so that NaN never passes.
inline std::string misfit(const json& value, const json& expected) {
  std::size_t checks = 0;
  const auto number = [&value] { return value.get<double>(); };
  for (const auto& [key, wanted] : expected.items()) {
    if (key == "pointer" || key == "tolerance") continue;
    ++checks;
    if (key == "equals") {
      if (value != wanted) return "is " + value.dump() + " instead of " + wanted.dump();
      continue;
    }
    if (key != "near" && key != "at_least" && key != "at_most")
      return "can't be checked by '" + key + "'";
    if (!value.is_number()) return "is " + value.dump() + ", not a number";
    const double limit = wanted.get<double>();
    if (key == "near") {
      const double tolerance = expected.at("tolerance").get<double>();
      if (!(std::abs(number() - limit) <= tolerance))
        return fmt::format("is {} instead of {} within {}", number(), limit, tolerance);
    }
    if (key == "at_least" && !(number() >= limit))
      return fmt::format("is {}, below {}", number(), limit);
    if (key == "at_most" && !(number() <= limit))
      return fmt::format("is {}, above {}", number(), limit);
  }
  return checks == 0 ? "is not checked by anything" : "";
}

/// One line for each expectation the answer does not meet.
inline std::vector<std::string> failures(const json& answer, const json& expect) {
  std::vector<std::string> found;
  for (const json& expected : expect) {
    const auto pointer = expected.at("pointer").get<std::string>();
    const json::json_pointer place(pointer);
    const std::string problem = answer.contains(place) ? misfit(answer.at(place), expected)
                                                       : std::string("is not in the answer");
    if (!problem.empty()) found.push_back("'" + pointer + "' " + problem);
  }
  return found;
}

}  // namespace case_check
