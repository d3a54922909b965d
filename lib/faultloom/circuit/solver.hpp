#pragma once

#include <algorithm>
#include <faultloom/circuit/circuit.hpp>
#include <map>
#include <memory>
#include <span>
#include <utility>
#include <vector>

namespace faultloom::circuit {

/// Where a network came to rest after its controls were moved one after another.
struct Settled {
  Bits closed;            ///< contacts that conduct, by position in Circuit::contacts()
  Bits atoms;             ///< atoms that are true; sign-only atoms are not kept here
  Bits chattering;        ///< contacts that never come to rest; empty set if all do
  bool chatters = false;  ///< the contacts cycle; `closed` is the lowest member of the cycle
  Index previous = none;  ///< stage before the last control moved, none if all controls are at rest
};

/// A source seen from two terminals: open-circuit voltage [V] and source resistance [ohm], and how far
/// both differ between good vehicles because their parts do: one standard deviation, where asked for.
struct Thevenin {
  double volt = 0;
  double ohm = 0;
  double volt_sigma = 0;
  double ohm_sigma = 0;
};

/// Handle of a registered combination of control positions, lifted wire ends and bridged elements.
using Stage = std::int32_t;

/// Conductance [S] of a fused lead with its clips; common practice, no source.
constexpr double lead_siemens = 50;

/// Settles and solves fault states of one circuit. Holds caches and work space: one per thread.
///
/// Controls are moved from rest to their position in ascending `order`, and after each one the contacts
/// settle: all rules are evaluated on the voltages of the present contact state, all contacts move at
/// once, until nothing changes. A repeated state is the outcome "chatters", not an error. Two control
/// positions with a common beginning share its settled states for one candidate.
///
/// For every stage the healthy network is eliminated once; a faulty one is eliminated again only from
/// the nodes that its overrides and moved contacts touch up to the root.
class Solver {
 public:
  explicit Solver(const Circuit& circuit);

  [[nodiscard]] const Circuit& circuit() const noexcept { return *circuit_; }

  /// Registers a state; the same arguments give the same handle. Lifted elements do not conduct; beside
  /// bridged ones there is a lead, from before the first control was moved.
  /// O(elements) the first time. @throws Error argument  wrong number of controls or a bad position
  Stage stage(const vehicle::ControlState& positions, std::span<const Index> lifted = {},
              std::span<const Index> bridged = {});
  /// The stage before the last control moved, or none.
  [[nodiscard]] Stage previous(Stage stage) const {
    return stages_[static_cast<std::size_t>(stage)].parent;
  }
  [[nodiscard]] const vehicle::ControlState& positions(Stage stage) const {
    return stages_[static_cast<std::size_t>(stage)].positions;
  }

  /// Whether an element is taken off in a stage.
  [[nodiscard]] bool lifted(Stage stage, Index element) const {
    return stages_[static_cast<std::size_t>(stage)].lifted_elements.test(
        static_cast<std::size_t>(element));
  }
  /// Conductance [S] of the lead beside an element in a stage, 0 if there is none.
  [[nodiscard]] double lead(Stage stage, Index element) const {
    return lead_beside(stages_[static_cast<std::size_t>(stage)], element);
  }
  /// Makes these overrides the present candidate; forgets what was settled for the last one.
  /// `overrides` must stay alive until the next call. Controls in `settings` stand where those say,
  /// whatever a stage says: a stage then means what the hand that operated it believed.
  void begin(const Overrides& overrides, std::span<const Setting> settings = {});

  /// Settles the present candidate in a stage. Valid until the next begin().
  const Settled& settle(Stage stage);
  /// Settles and makes the numbers of that stage current for the functions below.
  void enter(Stage stated);
  /// Contacts that would conduct in a stage, voltages and currents as they are, if these controls stood
  /// elsewhere; by position in Circuit::contacts(). Stuck ones stay as they are.
  void contacts_if(Stage stated, std::span<const Setting> settings, Bits& closed);

  // -- in the stage entered last --
  /// Voltage of a terminal against the datum [V].
  double volt(Index terminal);
  /// Voltages of all terminals [V], in terminal order.
  void volts(std::span<double> out);
  /// The port between two terminals. Contacts keep the state they have without the instrument.
  Thevenin port(Index a, Index b);
  /// The same with its spread, to first order in the parts' tolerances (Circuit::toleranced()), each
  /// drawn on its own. O(nodes on the paths of the port and the toleranced elements).
  Thevenin spread_port(Index a, Index b);
  /// One standard deviation [A] of what an element draws at its present voltage, because good parts
  /// differ; times a transfer resistance, of the voltage of a port.
  double loose_ampere(const Circuit::Toleranced& item);
  /// Voltage of every terminal [V] if nothing but one ampere flowed in at `a` and out at `b`, sources
  /// dead: the transfer resistances [ohm] of the port, in terminal order. O(nodes).
  void transfer(Index a, Index b, std::span<double> out);
  /// Source resistance of every terminal against the datum [ohm], in terminal order.
  void resistances(std::span<double> out);
  /// Source resistance between the ends of every element [ohm], in element order; the element itself
  /// counts. Valid after resistances() in the same stage. Coarser than port(): for planning.
  void element_resistances(std::span<double> out) const;
  /// Current through an element from its terminal a to b [A].
  double ampere(Index element);
  /// Whether a condition holds (atoms that only signs use have no memory: `rises` decides).
  bool holds(const vehicle::Condition& condition);
  /// Conductance [S] and short-circuit current [A] of an element.
  std::pair<double, double> branch(Index element) const;
  /// What an atom compares with its thresholds [V] or [A], in the stage entered last.
  [[nodiscard]] double atom_reading(Index atom);

  /// Networks solved and stages settled since construction, for benchmarks.
  [[nodiscard]] std::uint64_t networks_solved() const noexcept { return networks_solved_; }
  [[nodiscard]] std::uint64_t stages_settled() const noexcept { return stages_settled_; }

 private:
  struct Base {
    Bits closed;
    BranchValues values;
    std::vector<double> numeric;
    /// By node, as in `numeric`: sums of its own branches and all children but the last, to begin with.
    std::vector<double> begun;
  };
  using BasePtr = std::shared_ptr<const Base>;
  /// What a hand did to the wiring for a reading.
  struct Rigging {
    std::vector<Index> lifted;                                          ///< ascending
    std::vector<Index> bridged;                                         ///< ascending
    friend auto operator<=>(const Rigging&, const Rigging&) = default;  // NOLINT
  };
  struct StageData {
    Stage parent = none;
    vehicle::ControlState positions;
    Rigging rigging;
    Bits lifted_elements;
    Bits by_controls;  ///< contacts closed by control positions alone
    std::vector<BasePtr> bases;
  };
  struct StageResult {
    std::uint64_t candidate = 0;
    Settled settled;
  };

  [[nodiscard]] static double lead_beside(const StageData& stage, Index element) {
    const auto& bridged = stage.rigging.bridged;
    return std::find(bridged.begin(), bridged.end(), element) == bridged.end() ? 0 : lead_siemens;
  }
  [[nodiscard]] Stage actual(Stage stated);
  const Settled& settle_actual(Stage stage);
  void inject(Index a, Index b, const Bits& driven, const Bits& ranks);
  [[nodiscard]] bool evaluate(const vehicle::Condition& condition,
                              const vehicle::ControlState& positions, const Bits& atoms) const;
  void contacts_from(const StageData& stage, const Bits& atoms, Bits& closed) const;
  void update_atoms(Bits& atoms);
  [[nodiscard]] double atom_number(Index atom_index) const;
  [[nodiscard]] bool atom_value(Index atom_index, bool before);
  void settle_cycle(StageData& stage, Settled& result);
  void resolve_cycle(const std::vector<std::pair<Bits, Bits>>& history, std::size_t from,
                     Settled& result) const;
  void solve(const StageData& stage, const Bits& closed);
  [[nodiscard]] const Base& nearest_base(const StageData& stage, const Bits& closed) const;
  void set_branch(Index element, double siemens, double ampere);
  [[nodiscard]] bool begins_as_base(const EliminationPlan::Front& front, std::int32_t rank) const;
  void eliminate_touched(const Base& base);
  void substitute(const Bits& ranks);
  BasePtr make_base(const StageData& stage, const Bits& closed);
  [[nodiscard]] const double* numbers(std::int32_t rank) const {
    return marks_[static_cast<std::size_t>(rank)] == solve_mark_
               ? work_.data() + circuit_->plan().front(rank).offset
               : base_->numeric.data() + circuit_->plan().front(rank).offset;
  }
  [[nodiscard]] double known_volt(Index terminal) const;
  [[nodiscard]] double loose_siemens(const Circuit::Toleranced& item) const;
  [[nodiscard]] const Override* override_of(Index element) const;

  const Circuit* circuit_;
  std::map<std::pair<vehicle::ControlState, Rigging>, Stage> stage_by_key_;
  std::map<Rigging, std::vector<BasePtr>> bases_by_rigging_;
  std::vector<StageData> stages_;
  std::vector<StageResult> results_;
  bool recording_ = false;  ///< settling the healthy network: keep each contact state as a base

  const Overrides* overrides_;
  std::vector<Setting> settings_;
  std::map<std::vector<Setting>, std::map<Stage, Stage>> actual_by_settings_;
  std::map<Stage, Stage>* actual_ = nullptr;  ///< of the present settings, null if there are none
  Overrides no_overrides_;
  std::uint64_t candidate_ = 1;

  // numbers of the last solved network
  const Base* base_ = nullptr;
  Bits current_closed_;
  Stage current_stage_ = none;
  std::uint64_t current_candidate_ = 0;
  std::vector<double> work_;
  std::vector<std::uint64_t> marks_;
  std::vector<std::uint64_t> own_marks_;  ///< by rank: a branch of its own changed
  std::uint64_t solve_mark_ = 0;
  Bits touched_;
  std::vector<std::uint64_t> branch_marks_;
  std::vector<std::pair<double, double>> branch_work_;
  std::vector<double> volts_;
  std::vector<std::uint64_t> volt_marks_;
  Bits wanted_;
  Bits all_ranks_;
  std::vector<double> unit_;
  std::vector<double> inverse_;
  std::vector<std::pair<Bits, Bits>> history_;
  std::uint64_t networks_solved_ = 0;
  std::uint64_t stages_settled_ = 0;
};

}  // namespace faultloom::circuit
