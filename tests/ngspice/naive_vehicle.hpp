#pragma once

#include "ngspice/spice.hpp"

#include <faultloom/vehicle/vehicle.hpp>

#include <functional>
#include <map>
#include <span>
#include <vector>

/// A second implementation of how contacts come to rest, written from the documentation of
/// circuit::Solver and sharing none of its code: no caches across faults, no partial solutions.
namespace faultloom::witness {

using vehicle::Index;

/// An element of the vehicle with a fault in it.
struct Faulty {
  enum class Conducts { always, by_rule, never };
  Conducts conducts = Conducts::always;
  double ohm = 0;
  double emf_volt = 0;
  double threshold_factor = 1;
  bool senses_reversed = false;

  friend bool operator==(const Faulty&, const Faulty&) = default;
};

/// Whether no element is changed and no control left twice; with_faults() leaves open what that would mean.
[[nodiscard]] bool independent(const vehicle::Vehicle& vehicle, std::span<const Index> modes);
/// All elements with these independent modes applied.
[[nodiscard]] std::vector<Faulty> with_faults(const vehicle::Vehicle& vehicle,
                                              std::span<const Index> modes);

/// Where the controls stand when a hand believes they stand in `state`: modes may have left some wrong.
[[nodiscard]] vehicle::ControlState truly(const vehicle::Vehicle& vehicle,
                                          std::span<const Index> modes,
                                          vehicle::ControlState state);

/// One truth value per element or atom.
using Flags = std::vector<bool>;

/// Where everything came to rest.
struct Rest {
  Flags closed;      ///< by element: conducts
  Flags memory;      ///< by atom that some contact depends on
  Flags chattering;  ///< by element
  bool chatters = false;
};

class NaiveVehicle {
 public:
  using VoltsOf = std::function<std::vector<double>(const std::vector<Part>&)>;

  NaiveVehicle(const vehicle::Vehicle& vehicle, std::vector<Faulty> elements, VoltsOf volts_of);

  /// Moves the controls from rest one after another, letting the contacts settle after each.
  const Rest& settle(const vehicle::ControlState& state);
  /// Voltages by terminal [V] once settled; each network is solved once.
  const std::vector<double>& volts(const Rest& rest) { return solve(rest.closed); }

  [[nodiscard]] std::vector<Part> parts(const Flags& closed) const;

 private:
  [[nodiscard]] Rest settle_from(const Rest& before, const vehicle::ControlState& state);
  [[nodiscard]] Flags contacts(const Flags& memory, const vehicle::ControlState& state) const;
  [[nodiscard]] Flags remember(const Flags& closed, const Flags& memory);
  [[nodiscard]] bool holds(const vehicle::Condition& condition, const Flags& memory,
                           const vehicle::ControlState& state) const;
  const std::vector<double>& solve(const Flags& closed);
  [[nodiscard]] bool lower(const Flags& a, const Flags& b) const;

  const vehicle::Vehicle& vehicle_;
  std::vector<Faulty> elements_;
  VoltsOf volts_of_;
  Flags counts_;                      ///< atoms that some contact depends on
  std::vector<std::size_t> governs_;  ///< by atom: the element whose thresholds it is
  std::map<vehicle::ControlState, Rest> settled_;
  std::map<Flags, std::vector<double>> solved_;
};

}  // namespace faultloom::witness
