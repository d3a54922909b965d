#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <nlohmann/json_fwd.hpp>

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace faultloom::documents {

/// Turns the names of a job or a situation into indices of a vehicle.
///
/// Each function returns `none` (or leaves the item out) for a name that doesn't exist and appends a
/// problem of code reference at the given JSON pointer, with the nearest name there is. Keeps references
/// to the vehicle and to the list of problems.
class Resolver {
 public:
  Resolver(const vehicle::Vehicle& vehicle, std::vector<Problem>& problems)
      : vehicle_(&vehicle), problems_(&problems) {}

  [[nodiscard]] vehicle::Index terminal(const std::string& name, const std::string& pointer);
  [[nodiscard]] vehicle::Index component(const std::string& name, const std::string& pointer);
  [[nodiscard]] vehicle::Index zone(const std::string& name, const std::string& pointer);
  /// A mode written COMPONENT/mode.
  [[nodiscard]] vehicle::Index mode(const std::string& name, const std::string& pointer);
  /// A sign of a component.
  [[nodiscard]] vehicle::Index sign(vehicle::Index owner, const std::string& name,
                                    const std::string& pointer);
  /// The element of the wire W7, for a clamp around it.
  [[nodiscard]] vehicle::Index wire_element(const std::string& name, const std::string& pointer);

  /// Positions of all controls from `holder["state"]` {control: position}; those not named are at rest.
  [[nodiscard]] vehicle::ControlState state(const nlohmann::json& holder,
                                            const std::string& pointer);
  /// Elements taken off by `holder["lifted"]` ["W7:from"] and, if `holder["isolated"]` is true, those that
  /// isolate the pack. Sorted, each once.
  [[nodiscard]] std::vector<vehicle::Index> lifted(const nlohmann::json& holder,
                                                   const std::string& pointer);
  /// The element that the lead of `holder["lead"]` [terminal, terminal] goes across, in a list; an empty
  /// one without a lead.
  [[nodiscard]] std::vector<vehicle::Index> bridged(const nlohmann::json& holder,
                                                    const std::string& pointer);

  void add(Code code, std::string message, std::string pointer) {
    problems_->push_back({code, std::move(message), std::move(pointer)});
  }

 private:
  [[nodiscard]] vehicle::Index end_element(const std::string& name, const std::string& pointer);

  const vehicle::Vehicle* vehicle_;
  std::vector<Problem>* problems_;
};

}  // namespace faultloom::documents
