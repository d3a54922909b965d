#pragma once

#include <faultloom/documents/resolver.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/instrument.hpp>

#include <nlohmann/json_fwd.hpp>

#include <map>
#include <string>
#include <vector>

namespace faultloom::documents {

/// What a driver can be asked, by id.
using CueTable = std::map<std::string, rates::Cue, std::less<>>;

/// Reads one entry of a job that follows the schema: as a rule one, with `tries` one for each try, with
/// ids "e7", "e7#2", "e7#3" and so on. Problems go to the resolver; entries that caused any are not fit
/// for use.
/// @param vehicle  the one that the resolver knows
/// @param cues  those there are; null: any id of the right form is taken
[[nodiscard]] std::vector<readings::Entry> read_entry(
    const nlohmann::json& value, const std::string& pointer, const vehicle::Vehicle& vehicle,
    Resolver& resolver, const readings::InstrumentSet& instruments, const CueTable* cues = nullptr);

/// The id that the document gave to an entry: "e7" of "e7#3".
[[nodiscard]] std::string written_id(const std::string& id);

/// Index of an instrument, or -1 and a problem of code reference at the pointer.
[[nodiscard]] int resolve_instrument(const std::string& id, const std::string& pointer,
                                     Resolver& resolver,
                                     const readings::InstrumentSet& instruments);

}  // namespace faultloom::documents
