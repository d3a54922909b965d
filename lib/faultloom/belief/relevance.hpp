#pragma once

#include <faultloom/belief/faults.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/instrument.hpp>
#include <limits>
#include <span>
#include <vector>

namespace faultloom::belief {

/// Tells which further faults could change what an entry should show, given the faults already there.
///
/// Resting on circuit theory rather than on trying them: a branch that carries no current can be opened,
/// and two points of equal voltage can be joined, in any number at once, without changing anything; and a
/// branch through which the instrument's port drives no current has no say in the port. Faults with some
/// current or voltage to act on but too little to matter - less than `tolerance` standard deviations of
/// the entry - count as irrelevant too. Contacts must keep their state by a good margin.
class Relevance {
 public:
  static constexpr double usual_tolerance = 0.02;

  Relevance(const FaultSpace& space, circuit::Solver& solver,
            const readings::InstrumentSet& instruments, double tolerance);

  /// The solver has begun the candidate. Forgets what was worked out for the last one.
  void begin() { ++candidate_; }
  /// Faults that bear on an entry.
  struct Bearing {
    Bits proper;  ///< on the entry as it was meant
    /// Those of them that, one alone, could do half of what is missing for the outcome to be expected.
    Bits strong;
    Bits slips;  ///< on what else it may have shown: a neighbouring terminal, a control not moved
    /// What a meter or lamp would have across it if half of what is missing were done [V]; not a number
    /// if that says nothing.
    double half_volt = 0;
    double volt_sigma = 0;  ///< how far good parts spread what it has across it [V]
  };
  /// Finds the faults that could change the probability of the entry's outcome. O(elements) for each
  /// port the entry depends on (its own, those of its misreadings, those that drive contacts).
  [[nodiscard]] Bearing bearing(const readings::Entry& entry);
  /// Of the entry added last, by Relevance::place: two elements with one signature carried the same
  /// currents, and the same share of every port's current, in all it depends on - as elements in series
  /// do.
  [[nodiscard]] const std::vector<std::uint32_t>& signatures() const noexcept { return own_; }
  /// By place: whether a current worth the name flows through the element in the entry's stage or one
  /// before. Without one, equal signatures mean little.
  [[nodiscard]] const std::vector<bool>& lively() const noexcept { return lively_; }
  /// Number of an element in signatures(), -1 if no fault touches it.
  [[nodiscard]] std::int32_t place(Index element) const {
    return places_[static_cast<std::size_t>(element)];
  }

 private:
  struct Touch {
    std::int32_t fault;
    circuit::Override change;
  };
  struct Touched {
    Index element;
    bool contact;
    std::vector<Touch> touches;
  };
  /// What moving a driven contact would do to a port.
  enum class Reach : std::uint8_t { nothing, some, all };
  /// What drives a contact in a stage; worked out when first asked for.
  struct Drive {
    bool known = false;
    Bits some;    ///< faults that could move it
    Bits strong;  ///< those that could alone
    std::vector<Reach>
        others;  ///< by driven contact: what moving that one does to this one's drive
    std::vector<std::uint32_t> signatures;
  };
  /// What is known of one stage under the present candidate.
  struct StageNumbers {
    std::uint64_t candidate = 0;
    std::vector<double> volts;
    std::vector<Drive> drives;  ///< by driven contact
    /// By position in touched_: voltage, conductance, short-circuit current, current.
    std::vector<double> v, g, j;
    std::vector<double> series;  ///< by element: source resistance between its ends
    std::vector<std::uint32_t> signatures;
    std::vector<bool> lively;
    /// Contacts that would stand otherwise if a control were left wrong.
    std::vector<std::pair<Index, Touch>> settings;
  };
  /// A port and how much its voltage may move.
  struct Port {
    Index a = none;
    Index b = none;
    double load_ohm = 0;  ///< 0: no load
    double volt_tolerance = 0;
    double gap_volt = 0;  ///< by how much it is away from where it would make a difference
    /// Half way there, across the instrument; NaN unless it shows a voltage.
    double half_volt = std::numeric_limits<double>::quiet_NaN();
    double volt_sigma = 0;  ///< how far good parts spread the voltage [V]
    bool ohms = false;      ///< an ohmmeter's: its own current flows, and the tolerance is in ohms
  };
  /// What a port's load does to it.
  struct Load {
    double kept = 1;     ///< share of a change of the open voltage that is left across the load
    double drawn = 0;    ///< current through the load [A]
    double siemens = 0;  ///< of the load in series with the port's source resistance
  };

  StageNumbers& enter(circuit::Stage stage);
  void sign(std::size_t place, double value, double least);
  void find_settings(StageNumbers& numbers, circuit::Stage stage);
  void scan(circuit::Stage stage, const StageNumbers& numbers, const Port& port, Bits& out,
            Bits& strong);
  /// transfer_ must be the port's.
  [[nodiscard]] Load load_of(const StageNumbers& numbers, const Port& port) const;
  void scan_contacts(circuit::Stage stage, const StageNumbers& numbers, const Port& port,
                     const Load& load);
  const Drive& drive(circuit::Stage stage, std::size_t contact);
  /// Adds what moves the contacts that matter to the port scanned last, in the stage or one before.
  void add_movers(circuit::Stage stage, Bits& out, Bits& strong);
  void add_atom(circuit::Stage stage, const StageNumbers& numbers, Index atom_index, Bits& out,
                Bits& strong);
  Port add_port(const readings::Entry& entry, circuit::Stage stage, Index red, Bits& out,
                Bits& strong);
  void add_thresholds(Index atom, Bits& out);
  void add_sign(const readings::Entry& entry, circuit::Stage stage, Bits& out, Bits& strong);
  [[nodiscard]] Port port_of(const readings::Entry& entry, Index red);

  const FaultSpace* space_;
  circuit::Solver* solver_;
  const readings::InstrumentSet* instruments_;
  double tolerance_;
  std::vector<Touched> touched_;
  std::vector<std::int32_t> with_thresholds_;  ///< faults that shift thresholds
  std::vector<std::int32_t> with_settings_;
  std::vector<bool> composite_;  ///< by fault: changes more than one element
  std::vector<StageNumbers> stages_;
  std::vector<double> transfer_;
  std::vector<std::vector<Index>> atoms_of_;  ///< by driven contact
  std::vector<Reach> reach_;                  ///< by driven contact, of the port scanned last
  std::vector<std::int32_t> places_;          ///< by element
  std::vector<std::uint32_t> own_;
  std::vector<bool> lively_;
  double most_volt_ = 0;                          ///< all sources in series
  std::vector<std::uint32_t>* signed_ = nullptr;  ///< what is being signed: a stage or the entry
  std::uint32_t scans_ = 0;
  std::uint64_t candidate_ = 1;
};

}  // namespace faultloom::belief
