#pragma once

#include <faultloom/belief/repair.hpp>
#include <faultloom/circuit/circuit.hpp>
#include <vector>

namespace faultloom::belief {

using vehicle::Index;
using vehicle::none;

/// One way in which a variable can be faulty, as the circuit sees it. Modes that change the circuit in
/// exactly the same way are one fault: no electrical reading tells them apart.
struct Fault {
  std::int32_t variable = -1;
  std::vector<Index> modes;  ///< ascending
  std::vector<vehicle::Change> changes;
  circuit::Overrides overrides;  ///< of the changes alone
  std::vector<circuit::Setting> settings;
  vehicle::Beta duty;  ///< a = 0: always there
  /// A resistance from a log-normal is cut into cells; this one's representative, 0 for other faults.
  double ohm = 0;
};

/// A component, or a wire with its two terminations, which act on one and the same element. Its faults
/// exclude each other; of two on one wire the graver one (later in `faults`) counts.
struct Variable {
  std::vector<Index> components;
  std::int32_t first = 0;  ///< its faults are first .. first + count - 1, from slight to grave
  std::int32_t count = 0;
  std::int32_t bundle = -1;
  Lifetime life;
  bool renewed = false;  ///< what a repair left: there from a repair on
};

/// Components that one event (a pinch, water in a connector) can damage together: the wires of a loom or
/// the contacts of a connector.
struct Bundle {
  enum class Type { loom, connector };
  Type type = Type::loom;
  std::string id;
  std::vector<Index> members;  ///< components
  std::vector<std::int32_t> variables;
};

/// A set of faults of different variables, ascending. Empty: no fault.
struct Candidate {
  std::vector<std::int32_t> faults;

  friend auto operator<=>(const Candidate&, const Candidate&) = default;  // NOLINT
};

/// All faults a vehicle can have, cut into variables. Immutable; shared by threads.
///
/// A repaired component has a variable for each of its lives: as it was found, and as each repair left it.
/// It shares none with the rest of its wire, as the wire's other faults outlast the repair.
class FaultSpace {
 public:
  explicit FaultSpace(const circuit::Circuit& circuit, std::span<const Repair> repairs = {});

  [[nodiscard]] const circuit::Circuit& circuit() const noexcept { return *circuit_; }
  [[nodiscard]] const vehicle::Vehicle& vehicle() const noexcept { return circuit_->vehicle(); }
  [[nodiscard]] const std::vector<Fault>& faults() const noexcept { return faults_; }
  [[nodiscard]] const Fault& fault(std::int32_t f) const {
    return faults_[static_cast<std::size_t>(f)];
  }
  [[nodiscard]] const std::vector<Variable>& variables() const noexcept { return variables_; }
  [[nodiscard]] const std::vector<Bundle>& bundles() const noexcept { return bundles_; }
  /// The variable that a component is in now: the one of its last life.
  [[nodiscard]] std::int32_t variable_of(Index component) const {
    return lives_[static_cast<std::size_t>(component)].back();
  }
  /// The variables of its lives, the first as it was found.
  [[nodiscard]] const std::vector<std::int32_t>& lives_of(Index component) const {
    return lives_[static_cast<std::size_t>(component)];
  }
  /// Number of the component's life in an epoch, from 0.
  [[nodiscard]] std::size_t life_in(Index component, int epoch) const;
  [[nodiscard]] const Lifetime& life_of(std::int32_t f) const {
    return variables_[static_cast<std::size_t>(fault(f).variable)].life;
  }
  /// Those of some faults that are there in an epoch, in the same order.
  void alive(std::span<const std::int32_t> faults, int epoch, std::vector<std::int32_t>& out) const;
  /// Epoch after the last repair, 0 if there was none.
  [[nodiscard]] int last_epoch() const noexcept { return last_epoch_; }

  /// A mode's faults, in each life, with the share of the mode in each: one fault, or the cells of its
  /// resistance.
  struct Cell {
    std::int32_t fault = -1;
    double share = 0;
  };
  [[nodiscard]] const std::vector<Cell>& cells_of(Index mode) const {
    return cells_[static_cast<std::size_t>(mode)];
  }
  /// The same of one life: the faults of a variable.
  [[nodiscard]] std::vector<Cell> cells_of(Index mode, std::int32_t variable) const;
  /// Ratio between the representatives of neighbouring resistance cells.
  static constexpr double cell_ratio = 2.2;

  /// Overrides of a set of faults; `out` keeps its memory. Faults of one element act in series.
  void overrides(std::span<const std::int32_t> faults, circuit::Overrides& out) const;
  /// Controls left wrong by a set of faults, sorted; `out` keeps its memory.
  void settings(std::span<const std::int32_t> faults, std::vector<circuit::Setting>& out) const;

 private:
  void make_variables(std::span<const Repair> repairs);
  void make_bundles();
  void make_faults(std::int32_t variable);

  const circuit::Circuit* circuit_;
  std::vector<Fault> faults_;
  std::vector<Variable> variables_;
  std::vector<Bundle> bundles_;
  std::vector<std::vector<std::int32_t>> lives_;  ///< by component
  std::vector<std::vector<Cell>> cells_;
  int last_epoch_ = 0;
};

/// Share of a log-normal (median, factor of one sigma) that falls between two values.
[[nodiscard]] double lognormal_share(double median, double factor, double low, double high);

}  // namespace faultloom::belief
