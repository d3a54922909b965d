#include "small_documents.hpp"

#include <faultloom/documents/kinds.hpp>
#include <faultloom/documents/vehicle_reader.hpp>

#include <nlohmann/json.hpp>

#include <algorithm>

namespace faultloom::small {

std::string edited(std::string_view text, std::string_view operations) {
  const auto patch = nlohmann::json::parse("[" + std::string(operations) + "]");
  return nlohmann::json::parse(text).patch(patch).dump();
}

vehicle::Vehicle read(std::string_view operations) {
  return documents::read_vehicle(edited(vehicle, operations), documents::read_kinds(kinds));
}

std::vector<Problem> vehicle_problems(std::string_view operations) {
  try {
    static_cast<void>(read(operations));
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

std::vector<Problem> kinds_problems(std::string_view operations) {
  try {
    static_cast<void>(documents::read_kinds(edited(kinds, operations)));
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

Problem at(const std::vector<Problem>& problems, std::string_view pointer) {
  const auto found = std::find_if(problems.begin(), problems.end(),
                                  [&](const auto& problem) { return problem.pointer == pointer; });
  return found == problems.end() ? Problem{} : *found;
}

}  // namespace faultloom::small
