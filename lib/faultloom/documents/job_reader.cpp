#include <faultloom/documents/job_reader.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/documents/access.hpp>
#include <faultloom/documents/entry_reader.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/resolver.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/wording.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <set>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// Most entries of a job, each try counted; the schema has the same limit on those written down.
constexpr std::size_t max_entries = 10000;

void read_head(const json& document, const vehicle::Vehicle& vehicle, Resolver& resolver,
               Job& job) {
  job.id = text_or(document, "id");
  job.title = text_or(document, "title");
  job.vehicle_id = text_or(document, "vehicle");
  job.complaint = text_or(document, "complaint");
  job.labour_usd_per_hour = number_or(document, "labour_usd_per_hour", 0);
  job.exposure.hours = number_or(document, "exposure_hours", 0);
  job.exposure.environment = text_or(document, "environment");
  if (job.vehicle_id != vehicle.id)
    resolver.add(Code::reference,
                 fmt::format("The job is about vehicle '{}', but the vehicle document is '{}'",
                             job.vehicle_id, vehicle.id),
                 "/vehicle");
}

void read_means(const json& document, const readings::InstrumentSet& instruments,
                Resolver& resolver, Job& job) {
  job.instruments = texts_or_none(document, "instruments");
  for (std::size_t i = 0; i < job.instruments.size(); ++i)
    (void)resolve_instrument(job.instruments[i], fmt::format("/instruments/{}", i), resolver,
                             instruments);
  const auto zones = texts_or_none(document, "opened_zones");
  for (std::size_t i = 0; i < zones.size(); ++i)
    if (const auto zone = resolver.zone(zones[i], fmt::format("/opened_zones/{}", i));
        zone != vehicle::none)
      job.opened_zones.push_back(zone);
  std::sort(job.opened_zones.begin(), job.opened_zones.end());
  job.opened_zones.erase(std::unique(job.opened_zones.begin(), job.opened_zones.end()),
                         job.opened_zones.end());
}

/// @returns the ids of all entries as the document gives them
std::set<std::string> read_entries(const json& document, const vehicle::Vehicle& vehicle,
                                   const readings::InstrumentSet& instruments, const CueTable* cues,
                                   Resolver& resolver, Job& job) {
  std::set<std::string> ids;
  const auto* entries = member(document, "entries");
  if (entries == nullptr) return ids;
  bool full = false;
  for (std::size_t i = 0; i < entries->size(); ++i) {
    const auto pointer = fmt::format("/entries/{}", i);
    auto read = read_entry((*entries)[i], pointer, vehicle, resolver, instruments, cues);
    const auto id = read.front().id;
    if (!ids.insert(id).second)
      resolver.add(Code::duplicate,
                   fmt::format("Two entries have the id '{}'; give each its own", id),
                   pointer + "/id");
    if (full) continue;
    full = job.entries.size() + read.size() > max_entries;
    if (full) {
      resolver.add(Code::limit,
                   fmt::format("The tries make more than {} entries; leave some out", max_entries),
                   pointer);
    } else {
      std::move(read.begin(), read.end(), std::back_inserter(job.entries));
    }
  }
  return ids;
}

/// Takes out what the technician took back.
void withdraw(const json& document, const std::set<std::string>& ids, Resolver& resolver,
              Job& job) {
  const auto withdrawn = texts_or_none(document, "withdrawn");
  std::size_t unknown = 0;
  for (std::size_t i = 0; i < withdrawn.size(); ++i)
    if (!ids.contains(withdrawn[i]))
      resolver.add(
          Code::reference,
          fmt::format(
              "There is no entry '{}'{}", withdrawn[i],
              ++unknown <= max_problems ? suggestion(withdrawn[i], {ids.begin(), ids.end()}) : ""),
          fmt::format("/withdrawn/{}", i));
  const std::set<std::string> gone(withdrawn.begin(), withdrawn.end());
  std::erase_if(job.entries,
                [&](const readings::Entry& entry) { return gone.contains(written_id(entry.id)); });
}

/// Cuts the job into epochs at the repairs made.
void number_epochs(Job& job) {
  int epoch = 0;
  for (auto& entry : job.entries) {
    if (entry.type == readings::Entry::Type::repair)
      job.repairs.push_back({entry.component, ++epoch});
    entry.epoch = epoch;
  }
}

}  // namespace

Job read_job(std::string_view text, const vehicle::Vehicle& vehicle,
             const readings::InstrumentSet& instruments, const CueTable* cues) {
  return read_job(text, Schema("job"), vehicle, instruments, cues);
}

Job read_job(std::string_view text, const Schema& schema, const vehicle::Vehicle& vehicle,
             const readings::InstrumentSet& instruments, const CueTable* cues) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  schema.check(document, problems);
  throw_if_any(std::move(problems));
  auto job = read_checked_job(document, vehicle, instruments, cues);
  for (const auto& entry : job.entries) {
    const bool titled = cues != nullptr && entry.type == readings::Entry::Type::cue;
    job.entry_texts.push_back(
        entry_text(vehicle, instruments, entry, titled ? cues->find(entry.cue)->second.title : ""));
  }
  return job;
}

Job read_checked_job(const json& document, const vehicle::Vehicle& vehicle,
                     const readings::InstrumentSet& instruments, const CueTable* cues) {
  std::vector<Problem> problems;
  Resolver resolver(vehicle, problems);
  Job job;
  read_head(document, vehicle, resolver, job);
  read_means(document, instruments, resolver, job);
  const auto ids = read_entries(document, vehicle, instruments, cues, resolver, job);
  withdraw(document, ids, resolver, job);
  throw_if_any(std::move(problems));
  number_epochs(job);
  if (const auto* closing = member(document, "closing"); closing != nullptr)
    job.verdict = text_or(*closing, "verdict");
  return job;
}

}  // namespace faultloom::documents
