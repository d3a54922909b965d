#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <nlohmann/json_fwd.hpp>

#include <initializer_list>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// What the readers of a vehicle's sections share: the document, the vehicle so far, the findings.
struct Scope {
  const nlohmann::json& document;
  vehicle::Vehicle& vehicle;
  std::vector<Problem>& problems;
  std::vector<Problem>& warnings;
  std::vector<std::string> zone_ids;
  std::vector<std::string> terminal_names;  ///< for suggestions, filled when all parts are there
  std::set<std::string>
      unread;  ///< parts, pins and wires left out because of a problem of their own

  void add(Code code, std::string pointer, std::string message) {
    problems.push_back({code, std::move(message), std::move(pointer)});
  }
  void warn(Code code, std::string pointer, std::string message) {
    warnings.push_back({code, std::move(message), std::move(pointer)});
  }
  /// Index of the zone, or none and a problem at `pointer`.
  vehicle::Index zone(const std::string& name, const std::string& pointer);
  /// Index of the terminal, or none and a problem at `pointer`, unless its part was left out.
  vehicle::Index terminal(const std::string& name, const std::string& pointer);
};

/// JSON pointer from its tokens, escaped.
[[nodiscard]] std::string pointer_to(std::initializer_list<std::string_view> tokens);

/// Reads controls, zones and looms.
void read_frame(Scope& scope);
/// Reads the datum, the run state and the isolation; everything else must be there.
void read_conclusion(Scope& scope);

/// The condition "each of these controls is in one of these positions" of an object control ->
/// positions.
[[nodiscard]] vehicle::Condition read_operated_when(const nlohmann::json& object,
                                                    const std::string& pointer, Scope& scope);

}  // namespace faultloom::documents
