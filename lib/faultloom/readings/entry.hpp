#pragma once

#include <faultloom/readings/instrument.hpp>
#include <faultloom/vehicle/vehicle.hpp>
#include <string>
#include <vector>

namespace faultloom::readings {

using vehicle::Index;
using vehicle::none;

/// One thing a technician did, noticed or was told, with every name resolved against the vehicle.
struct Entry {
  enum class Type { reading, sign, look, cue, repair };
  std::string id;
  Type type = Type::reading;
  Outcome outcome = Outcome::not_sure;
  double number = 0;  ///< with Outcome::number: [V], [ohm] or [A]

  vehicle::ControlState state;         ///< position of every control (reading, sign)
  std::vector<Index> lifted_elements;  ///< wire elements taken off, the isolation's included
  std::vector<Index>
      bridged_elements;  ///< elements with a lead across them, put on with all at rest

  int instrument = -1;  ///< reading: index into the InstrumentSet
  Index red = none;     ///< reading: terminals
  Index black = none;
  Index element = none;    ///< reading with a clamp: the wire's element
  Index sign = none;       ///< sign
  Index component = none;  ///< look, repair
  std::string cue;         ///< cue: its id in the rates document
  std::string action;      ///< repair: replace, splice, clean ...
  double tolerance = 0;    ///< with Outcome::number: how far off it may be, same unit, one sigma

  /// Repairs made before it; what they mended no longer bears on it.
  int epoch = 0;

  /// Entries of one visit share the state of an intermittent fault unless something disturbed it.
  int visit = 0;
  /// What was done to bring an intermittent fault out, and the zone where.
  enum class Provocation { nothing, wiggle, heat, wet } provocation = Provocation::nothing;
  Index provoked_zone = none;
  /// Not empty: entries with the same one were noticed at one time, so that an intermittent fault stood the
  /// same for all of them. It is the id of the entry that tells what was noticed; the sign that told when
  /// has an id of its own.
  std::string moment;
  /// The sign that told when and how it came out, with the entry that has the moment's id; else none.
  Index told_by = none;
  Outcome told = Outcome::not_sure;

  /// "Not sure" and "can't reach" are recorded and change nothing. Repairs say nothing either; they decide
  /// what the entries after them speak about.
  [[nodiscard]] bool informative() const {
    return type != Type::repair && outcome != Outcome::not_sure && outcome != Outcome::cannot_reach;
  }
};

}  // namespace faultloom::readings
