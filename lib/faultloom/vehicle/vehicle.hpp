#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

/// A vehicle as the rest of the library sees it: part kinds resolved, connectors expanded to a contact
/// per pin, every wire in series with its two terminations. Plain data, immutable once built; any number
/// of threads may read one. Indices refer to the vectors of Vehicle; `none` means absent.
namespace faultloom::vehicle {

using Index = std::int32_t;
inline constexpr Index none = -1;

/// What a control (key, selector, pedal, charge plug, service switch) can be set to.
struct Control {
  std::string id;
  std::string title;
  std::vector<std::string> positions;
  Index rest = 0;             ///< index of the position at rest
  int order = 0;              ///< controls are moved from rest in ascending order
  double minutes = 0;         ///< to move it [min]
  bool needs_helper = false;  ///< somebody must hold it while another probes
  /// Where it stands elsewhere than in the run state and a sound vehicle then does not run, that is a
  /// safety function, to be proved after every repair.
  bool interlock = false;
};

/// A place reached by opening something.
struct Zone {
  std::string id;
  std::string title;
  double open_minutes = 0;
  double close_minutes = 0;
  std::vector<std::string> cautions;
};

/// Wires sharing a route.
struct Loom {
  std::string id;
  std::string title;
  std::vector<Index> zones;
  std::vector<Index> wires;  ///< component indices
};

/// A point a probe can touch, written PART.terminal.
struct Terminal {
  std::string name;
  Index component = none;
  Index zone = none;
  double minutes = 0;      ///< to place a probe once the zone is open [min]
  double leakage_ohm = 0;  ///< insulation leakage to pack negative [ohm]
  bool reachable = true;   ///< false: no probe gets there
};

/// A yes/no fact of the circuit with a memory: it becomes true at `rises` and false again at `falls`.
struct Atom {
  enum class Type { volts, amps };
  Type type = Type::volts;
  Index a = none;  ///< terminals of a voltage, V(a) - V(b)
  Index b = none;
  Index element = none;     ///< element whose current counts (absolute value) for amps
  double rises = 0;         ///< [V] or [A]
  double falls = 0;         ///< [V] or [A], at most `rises`
  bool either_way = false;  ///< absolute value of the voltage
  bool stays = false;       ///< never becomes false again (a fuse element melts once)
};

/// A Boolean expression over controls and atoms, in postfix order.
struct Condition {
  struct Op {
    enum class Type { constant, control, atom, all, any, negate };
    Type type = Type::constant;
    Index index = none;      ///< control or atom
    std::uint64_t mask = 0;  ///< control: bit p set if position p counts as true
    int count = 0;           ///< all/any: number of operands; constant: 0 or 1
  };
  std::vector<Op> ops;
};

enum class ElementType { resistor, source, contact, diode };

/// Least resistance of an element [ohm]; a bolted bus bar joint has a thousand times as much. Far below, the
/// reciprocal of a resistance is out of the range of numbers, and voltages behind it would be read as 0.
inline constexpr double least_ohm = 1e-9;

/// One two-terminal branch. A contact or diode that is open does not conduct at all.
struct Element {
  std::string name;  ///< COMPONENT.element, for a wire its id
  ElementType type = ElementType::resistor;
  Index a = none;  ///< terminal; positive pole of a source, anode of a diode
  Index b = none;
  double ohm = 0;         ///< resistance, internal resistance, closed or forward resistance [ohm]
  double tolerance = 0;   ///< how far good parts differ in `ohm`, relative: two standard deviations
  double emf_volt = 0;    ///< open-circuit V(a) - V(b) of a source; forward voltage of a diode [V]
  Condition closed_when;  ///< contacts and diodes
  bool dormant =
      false;  ///< does not conduct in a healthy vehicle: a place where a short or jumper may be
  Index follows = none;      ///< wire element that takes this dormant one with it when it is lifted
  std::vector<Index> atoms;  ///< atoms that thresholds of this element govern
  std::vector<Index> components;  ///< one, or wire and its two terminations in series
};

/// What a fault mode does to one element. Members that are not set change nothing.
struct Change {
  Index element = none;
  bool open = false;
  double add_ohm = 0;                 ///< in series [ohm]
  std::optional<double> ohm;          ///< replaces the resistance [ohm]
  std::optional<bool> stuck;          ///< contact stuck closed (true) or open (false)
  std::optional<double> emf_volt;     ///< replaces the EMF [V]
  bool reversed = false;              ///< diode or source the other way round
  std::optional<double> shorted_ohm;  ///< the element is this plain resistance [ohm]
  double threshold_factor = 1;  ///< multiplies rise and fall thresholds of the element's atoms
};

/// Parameters of a Beta distribution.
struct Beta {
  double a = 0;
  double b = 0;
};

/// One way a component fails.
struct Mode {
  std::string id;
  std::string title;
  Index component = none;
  std::vector<Change> changes;
  double seen = 0;  ///< probability that a look at the component reports damage, given this mode
  /// One sigma of the log-normal that the added resistances (`add_ohm`, its median) follow, as a factor;
  /// up to 1 means the value itself.
  double spread_factor = 1;
  /// Share of tries in which the fault is there; a = 0 means always.
  Beta duty;
  /// A control left where it should not be: it stands at `position` whatever an entry says of it.
  Index control = none;
  Index position = none;
  /// Not empty: the mode's prior is this entry of the rates' `per_visit`, not a rate times hours.
  std::string per_visit;
  double per_visit_share = 1;  ///< part of that entry which is this mode's, from 0 to 1

  [[nodiscard]] bool intermittent() const { return duty.a > 0; }
};

struct Repair {
  std::string action = "replace";
  double minutes = 0;
  double price_usd = 0;
};

/// A replaceable or repairable thing: a part, a wire, a termination of a wire, a connector contact, the
/// setting of a control, or what earlier hands did to the wiring of a part or connector.
struct Component {
  enum class Type { part, wire, termination, contact, setting, earlier_work };
  std::string id;
  std::string title;
  std::string kind;
  Type type = Type::part;
  Index zone = none;
  Index loom = none;
  Index wire = none;        ///< termination: the wire it belongs to (component index)
  std::string connector;    ///< contact: id of its connector
  std::string environment;  ///< key into the rates' environments, "" for the job's
  double rate_factor = 1;
  double look_minutes = 0;
  double look_false_alarm = 0.05;  ///< probability of "damage" at a healthy component
  Repair repair;
  std::vector<Index> modes;
  std::vector<Index> terminals;
  std::vector<Index> elements;
  std::vector<std::string> cautions;
};

/// Something a person notices without an instrument.
struct Sign {
  std::string id;
  std::string title;
  Index component = none;
  std::string sense;  ///< hear, see or feel
  Condition when;
  bool on_change = false;  ///< noticed only if it came true with the last control moved
};

/// A wire's ends and conductor.
struct Wire {
  Index component = none;
  Index from_end = none;  ///< termination components
  Index to_end = none;
  Index element = none;
  double length_metre = 0;
  double area_mm2 = 0;
  bool power = false;  ///< power circuit rather than control circuit
};

/// Position of every control, by control index.
using ControlState = std::vector<Index>;

/// What has to be taken off so that no current can flow while ohms are read.
struct Isolation {
  std::vector<Index> lifted_elements;
  std::string caution;
};

struct Vehicle {
  std::string id;
  std::string title;
  double nominal_volt = 0;
  Index datum = none;      ///< terminal that counts as 0 V: pack negative
  ControlState run_state;  ///< what the driver does to make it go
  Isolation isolation;
  std::vector<Control> controls;
  std::vector<Zone> zones;
  std::vector<Loom> looms;
  std::vector<Terminal> terminals;
  std::vector<Component> components;
  std::vector<Element> elements;
  std::vector<Atom> atoms;
  std::vector<Mode> modes;
  std::vector<Sign> signs;
  std::vector<Wire> wires;

  /// Index of a terminal "PART.terminal", or none. O(log n).
  [[nodiscard]] Index terminal(std::string_view name) const;
  /// Index of a component ("K1", "W7", "W7:from", "X1-3"), or none. O(log n).
  [[nodiscard]] Index component(std::string_view name) const;
  [[nodiscard]] Index control(std::string_view name) const;
  [[nodiscard]] Index zone(std::string_view name) const;
  [[nodiscard]] Index sign(Index owner, std::string_view name) const;
  /// Wire to which a termination or wire component belongs, as an index into wires; none for others.
  [[nodiscard]] Index wire_of(Index owner) const;
  /// Every control at rest.
  [[nodiscard]] ControlState rest_state() const;
  /// Rebuilds the look-up tables after the vectors were filled; the builder calls it once.
  void index_names();

 private:
  std::map<std::string, Index, std::less<>> terminal_by_name_;
  std::map<std::string, Index, std::less<>> component_by_id_;
};

/// Fault mode written COMPONENT/mode, for messages and documents.
[[nodiscard]] std::string mode_name(const Vehicle& vehicle, Index mode);

}  // namespace faultloom::vehicle
