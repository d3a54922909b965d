#pragma once

#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/instrument.hpp>
#include <optional>
#include <span>
#include <vector>

namespace faultloom::advice {

using vehicle::Index;

/// One thing to prove before a vehicle goes back.
struct Check {
  enum class Type {
    drives,    ///< it runs in a state in which a sound vehicle does
    drop,      ///< little voltage is lost along what was repaired while current flows
    interlock  ///< it does not run with a control where that must stop it
  };
  enum class Result { open, passed, failed };

  Type type = Type::drives;
  vehicle::ControlState state;
  Index sign = vehicle::none;       ///< drives, interlock: what is watched
  Index control = vehicle::none;    ///< interlock: the control that must stop it; else the one that
                                    ///< stands elsewhere than in the run state, or none
  Index component = vehicle::none;  ///< drop: what was repaired
  Index red = vehicle::none;        ///< drop: where to measure
  Index black = vehicle::none;
  double expected_volt = 0;  ///< drop: of a sound vehicle
  double limit_volt = 0;     ///< drop: no more than this, either way
  std::optional<double>
      before_volt;  ///< drop: the last figure noted before the component was repaired
  std::optional<double> after_volt;  ///< drop: the figure that decides
  Result result = Result::open;
  std::optional<std::size_t> entry;  ///< the one that decides: index into the entries given
};

/// What has to be proved after the repairs made, and what the entries say of it: that it drives every way,
/// that every interlock stops it, and under load how much voltage is left along what was repaired.
///
/// Only entries after the last repair count, and of several the last one. Interlocks are the controls
/// marked so. A drop is asked for where a conductor or a closed contact of the repaired component carries
/// current in a driving state and both its ends can be reached; its limit is twice what a sound vehicle
/// shows and 20 mV, at least 50 mV (common practice, no source).
/// Order: drives, drops, interlocks. O(states of one control changed) solutions of the circuit.
[[nodiscard]] std::vector<Check> checks_due(circuit::Solver& solver,
                                            const readings::InstrumentSet& instruments,
                                            std::span<const readings::Entry> entries);

/// Failed if one of them failed, passed if all passed, else open.
[[nodiscard]] Check::Result overall(std::span<const Check> checks);

}  // namespace faultloom::advice
