#pragma once

#include <faultloom/circuit/elimination.hpp>
#include <faultloom/vehicle/vehicle.hpp>
#include <memory>
#include <span>
#include <vector>

namespace faultloom::circuit {

using vehicle::Index;
using vehicle::none;

/// A vehicle's network, ready to be solved: one branch per element, one node per terminal except the
/// datum. Immutable; shared by threads. Keeps a reference to the vehicle, which must outlive it.
class Circuit {
 public:
  explicit Circuit(const vehicle::Vehicle& vehicle);

  [[nodiscard]] const vehicle::Vehicle& vehicle() const noexcept { return *vehicle_; }
  [[nodiscard]] const EliminationPlan& plan() const noexcept { return *plan_; }
  /// Elimination rank of a terminal's node, -1 for the datum.
  [[nodiscard]] std::int32_t rank_of_terminal(Index terminal) const {
    return terminal_rank_[static_cast<std::size_t>(terminal)];
  }
  /// Elements that switch (contacts and diodes), in element order.
  [[nodiscard]] const std::vector<Index>& contacts() const noexcept { return contacts_; }
  /// Position of an element in contacts(), or none.
  [[nodiscard]] Index contact_of(Index element) const {
    return contact_of_[static_cast<std::size_t>(element)];
  }
  /// Positions in contacts() of those whose rule depends on atoms; the others follow controls alone.
  [[nodiscard]] const std::vector<Index>& driven_contacts() const noexcept {
    return driven_contacts_;
  }
  /// Value of the healthy element when it conducts: conductance [S] and short-circuit current [A];
  /// zero for dormant ones.
  [[nodiscard]] const BranchValues& healthy() const noexcept { return healthy_; }
  /// Dormant elements that come off with a wire's element.
  [[nodiscard]] const std::vector<Index>& followers(Index element) const {
    return followers_[static_cast<std::size_t>(element)];
  }
  /// An element whose resistance differs between good parts.
  struct Toleranced {
    Index element;
    double sigma;  ///< one standard deviation, relative
  };
  [[nodiscard]] const std::vector<Toleranced>& toleranced() const noexcept { return toleranced_; }
  /// Ranks whose voltage tells what is across those.
  [[nodiscard]] const Bits& toleranced_ranks() const noexcept { return toleranced_ranks_; }
  /// Atoms that some contact depends on; the others only feed signs.
  [[nodiscard]] const std::vector<Index>& driving_atoms() const noexcept { return driving_atoms_; }
  /// Ranks whose voltage the driving atoms need.
  [[nodiscard]] const Bits& sensed_ranks() const noexcept { return sensed_; }

 private:
  void collect_driving_atoms();
  void collect_toleranced();

  const vehicle::Vehicle* vehicle_;
  std::unique_ptr<const EliminationPlan> plan_;
  std::vector<std::int32_t> terminal_rank_;
  std::vector<Index> contacts_;
  std::vector<Index> contact_of_;
  std::vector<Index> driven_contacts_;
  std::vector<std::vector<Index>> followers_;
  BranchValues healthy_;
  std::vector<Index> driving_atoms_;
  Bits sensed_;
  std::vector<Toleranced> toleranced_;
  Bits toleranced_ranks_;
};

/// What a set of fault modes does to one element, compared with the healthy one.
struct Override {
  Index element = none;
  double siemens = 0;      ///< when it conducts
  double ampere = 0;       ///< short-circuit current when it conducts
  std::int8_t stuck = -1;  ///< contacts: 0 never closes, 1 always closed, -1 as the rule says
  double threshold_factor = 1;
  bool reversed = false;  ///< a diode turned round also senses the other way round

  friend bool operator==(const Override&, const Override&) = default;
};

/// The overrides of a set of modes, sorted by element; equal overrides mean electrically identical.
using Overrides = std::vector<Override>;

/// A control that stands somewhere else than an entry says.
struct Setting {
  Index control = none;
  Index position = none;

  friend auto operator<=>(const Setting&, const Setting&) = default;  // NOLINT
};

/// Combines modes: resistances in series add up, an open wins over everything on its element.
/// Modes that leave an element as it was produce no override.
[[nodiscard]] Overrides overrides_of(const Circuit& circuit, std::span<const Index> modes);
/// The same from changes of elements.
[[nodiscard]] Overrides overrides_of(const Circuit& circuit,
                                     std::span<const vehicle::Change> changes);
/// Settings that the modes leave wrong, sorted.
[[nodiscard]] std::vector<Setting> settings_of(const vehicle::Vehicle& vehicle,
                                               std::span<const Index> modes);

}  // namespace faultloom::circuit
