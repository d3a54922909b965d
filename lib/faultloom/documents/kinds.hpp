#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

/// A number, or the name of a parameter that a part may set.
struct Quantity {
  double value = 0;
  std::string parameter;  ///< not empty: the parameter's value counts
};

/// A condition as a kind states it, over the names of its own terminals and elements.
struct Clause {
  enum class Type { operated, volts, amps, signal, closed, all, any, negate };
  Type type = Type::all;
  bool operated = true;
  std::string a;  ///< volts: terminals of V(a) - V(b)
  std::string b;
  std::string element;  ///< amps, signal, closed
  Quantity rises;
  Quantity falls;
  bool either_way = false;
  bool stays = false;
  std::vector<Clause> parts;  ///< all, any, negate (one)
};

struct KindParameter {
  double value = 0;
  double tolerance = 0;  ///< how far good parts differ, relative
  std::string pointer;   ///< where the kinds document defines it
};

struct KindElement {
  enum class Type { resistor, source, contact, diode, input };
  std::string id;
  Type type = Type::resistor;
  std::string a;  ///< terminals; positive pole of a source, anode of a diode
  std::string b;
  Quantity ohm;    ///< resistance, internal, closed or on resistance
  Quantity volt;   ///< EMF of a source, forward voltage of a diode
  Quantity rises;  ///< input
  Quantity falls;
  Clause closed_when;    ///< contact
  bool dormant = false;  ///< resistor: does not conduct until a mode makes it a plain resistance
  std::string pointer;   ///< where the kinds document defines it
};

struct KindChange {
  std::string element;
  bool open = false;
  std::optional<Quantity> add_ohm;
  std::optional<Quantity> resistance_ohm;
  std::optional<Quantity> emf_volt;
  std::optional<Quantity> shorted_ohm;
  std::optional<bool> stuck;  ///< true: closed
  bool reversed = false;
  double threshold_factor = 1;
};

struct KindMode {
  /// What a wire's conductor touches in this mode, instead of changes to elements.
  enum class Touches { nothing, negative, neighbour };

  std::string id;
  std::string title;
  double seen = 0;
  double spread_factor = 1;  ///< one sigma of the log-normal of the `add_ohm` values, as a factor
  vehicle::Beta duty;        ///< share of tries in which the fault is there; a = 0: always
  std::string per_visit;     ///< not empty: earlier work; key into the rates' `per_visit`
  Touches touches = Touches::nothing;
  Quantity touch_ohm;  ///< resistance of the touching place
  std::vector<KindChange> changes;
  std::string pointer;

  [[nodiscard]] bool earlier_work() const { return !per_visit.empty(); }
};

/// Two terminals of a kind whose wires may have been put back exchanged.
struct KindSwap {
  std::string a;
  std::string b;
};

struct KindSign {
  std::string id;
  std::string title;
  std::string sense;
  Clause when;
  bool on_change = false;
  std::string pointer;
};

/// A kind of part, its ancestors merged in.
struct PartKind {
  std::string id;
  std::string title;
  std::vector<std::string> terminals;
  std::map<std::string, KindParameter, std::less<>> parameters;
  std::vector<KindElement> elements;  ///< by id
  std::vector<KindSign> signs;        ///< by id
  std::vector<KindMode> modes;        ///< by id
  std::vector<KindSwap> swaps;
  double work_minutes = 15;   ///< to put right what earlier hands did [min]
  double work_price_usd = 2;  ///< material for that
  vehicle::Repair repair;
  double look_minutes = 0;
  double look_false_alarm = 0.05;
  std::vector<std::string> cautions;
  std::string swaps_pointer;  ///< where the kinds document defines the swaps

  [[nodiscard]] const KindElement* element(std::string_view name) const;
  [[nodiscard]] bool has_terminal(std::string_view name) const;
};

/// All part kinds of one document, by id. Immutable once read.
class KindCatalog {
 public:
  KindCatalog() = default;
  explicit KindCatalog(std::map<std::string, PartKind, std::less<>> kinds)
      : kinds_(std::move(kinds)) {}

  /// The kind of that name, or nullptr; lives as long as the catalog. O(log n).
  [[nodiscard]] const PartKind* find(std::string_view id) const;
  [[nodiscard]] const std::map<std::string, PartKind, std::less<>>& kinds() const noexcept {
    return kinds_;
  }

 private:
  std::map<std::string, PartKind, std::less<>> kinds_;
};

/// Reads a document of format faultloom.kinds.
///
/// `based_on` is resolved: members that are objects are merged key by key, one level deep, all
/// others are replaced.
/// @throws Error  with every problem found. Text and schema are checked first, and only a document
/// that
///         follows its schema is checked further: loops of `based_on` and of `closed` conditions
///         (loop), names that don't exist (reference), parameters whose unit differs from the key
///         that uses them and changes that don't suit their element (value).
[[nodiscard]] KindCatalog read_kinds(std::string_view text);

/// The kinds the library ships. Reads them anew on each call.
[[nodiscard]] KindCatalog default_kinds();

/// Checks a resolved kind by itself and appends what is wrong to `problems`. `pointer` is the
/// kind's place in its document.
void check_kind(const PartKind& kind, std::string_view pointer, std::vector<Problem>& problems);

}  // namespace faultloom::documents
