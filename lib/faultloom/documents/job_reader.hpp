#pragma once

#include <faultloom/belief/repair.hpp>
#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/entry.hpp>
#include <faultloom/readings/instrument.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <nlohmann/json_fwd.hpp>

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace faultloom::documents {

class Schema;

/// One visit to a vehicle: what it complains of and everything done and noticed so far.
struct Job {
  std::string id;
  std::string title;
  std::string vehicle_id;
  std::string complaint;
  double labour_usd_per_hour = 0;  ///< 0: not given
  rates::Exposure exposure;
  std::vector<std::string> instruments;      ///< ids at hand; empty: all
  std::vector<vehicle::Index> opened_zones;  ///< ascending, each once
  std::vector<readings::Entry> entries;      ///< in document order, without the withdrawn ones
  std::vector<std::string> entry_texts;      ///< one line for each of `entries`
  std::vector<belief::Repair> repairs;       ///< those among `entries`, in order
  std::string verdict;                       ///< of the closing; empty: the job is open
};

/// Reads a document of format faultloom.job about this vehicle.
///
/// Ohmmeter and beeper readings need `isolated`: true, which takes off what the vehicle names for it.
/// Controls that an entry doesn't name are at rest. A sign with `tries` becomes an entry for each try.
/// Entries after a repair are of a later epoch.
/// Withdrawn entries are checked like the others and then left out, all tries with their entry.
/// @param cues  those of the rates document, which cue entries must name; null: any id is taken
/// @throws Error  with every problem found. Text and schema are checked first. Then: names that don't
///         exist, a job about another vehicle (reference); an id used twice (duplicate); results an
///         instrument can't give, both probes on one terminal, ohms on a live pack, a tolerance of
///         another unit than the number (reading); no try at all (value); tries that make more entries
///         than a job may have (limit)
/// Complexity: linear in the text and the tries, a logarithmic or short linear search per name.
[[nodiscard]] Job read_job(std::string_view text, const vehicle::Vehicle& vehicle,
                           const readings::InstrumentSet& instruments,
                           const std::map<std::string, rates::Cue, std::less<>>* cues = nullptr);

/// The same with the schema of jobs at hand, which takes longer to make than a small job to read.
[[nodiscard]] Job read_job(std::string_view text, const Schema& schema,
                           const vehicle::Vehicle& vehicle,
                           const readings::InstrumentSet& instruments,
                           const std::map<std::string, rates::Cue, std::less<>>* cues = nullptr);

/// The same for a document that follows the schema, without Job::entry_texts.
[[nodiscard]] Job read_checked_job(
    const nlohmann::json& document, const vehicle::Vehicle& vehicle,
    const readings::InstrumentSet& instruments,
    const std::map<std::string, rates::Cue, std::less<>>* cues = nullptr);

}  // namespace faultloom::documents
