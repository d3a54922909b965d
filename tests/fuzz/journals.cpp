// Bytes that may be a journal: what is recovered of them, and a file of them that is gone on with.
#include "check.hpp"
#include "harness.hpp"
#include "small.hpp"

#include "support/scratch.hpp"

#include <faultloom.h>
#include <faultloom/documents/job_journal.hpp>
#include <faultloom/journal/journal.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <filesystem>
#include <string>

namespace fuzz {
namespace {

using namespace faultloom;
using nlohmann::json;

std::string encoded(const std::vector<journal::Record>& records) {
  std::string text;
  for (const auto& record : records)
    text += journal::encode({record.number, record.previous}, record.body).text;
  return text;
}

void check_recovery(std::string_view bytes, const journal::Recovery& found) {
  require(found.good_bytes <= bytes.size(), "more good bytes than bytes");
  for (std::size_t i = 0; i < found.records.size(); ++i) {
    const auto& record = found.records[i];
    require(i == 0 || record.number > found.records[i - 1].number, "records out of order");
    require(record.at_byte < found.good_bytes, "a record behind the good bytes");
    const auto line = journal::encode({record.number, record.previous}, record.body).text;
    require(bytes.substr(record.at_byte, line.size()) == line, "a record that is not there", line);
  }
  for (const auto& damage : found.damage)
    require(damage.at_byte <= bytes.size() && damage.bytes <= bytes.size() - damage.at_byte &&
                damage.line > 0,
            "damage outside the bytes");
  if (found.damage.empty() && !bytes.empty())
    require(encoded(found.records) == bytes, "no damage told, but other bytes");
}

/// What was recovered stays so when a writer goes on behind it.
void check_going_on(std::string_view bytes, const journal::Recovery& found) {
  std::string text(bytes.substr(0, found.good_bytes));
  text += journal::encode(found.next, R"({"change":{}})").text;
  const auto again = journal::recover(text);
  require(again.records.size() == found.records.size() + 1, "going on lost a record", text);
  require(again.good_bytes == text.size(), "a tail behind a new record", text);
}

void recover(std::string_view input) {
  const auto found = journal::recover(input);
  check_recovery(input, found);
  check_going_on(input, found);
  documents::ReadJournal read;
  if (!accepted([&] { read = documents::read_journal(input); })) return;
  require(json::accept(read.document), "a job that is not JSON", read.document);
  const auto status = json::parse(documents::journal_status(read, input.size()));
  require(status["damage"].size() == read.damage.size(), "damage that is not told", status.dump());
  for (const auto& damage : read.damage) check_message(damage.message);
}

struct Free {
  void operator()(faultloom_text* text) const { faultloom_text_free(text); }
  void operator()(faultloom_error* error) const { faultloom_error_free(error); }
  void operator()(faultloom_journal* journal) const { faultloom_journal_free(journal); }
};
using Text = std::unique_ptr<faultloom_text, Free>;
using Journal = std::unique_ptr<faultloom_journal, Free>;

Journal open_journal(const std::string& path) {
  faultloom_journal* journal = nullptr;
  faultloom_error* error = nullptr;
  const auto status = faultloom_journal_open(path.data(), path.size(), nullptr, &journal, &error);
  const std::unique_ptr<faultloom_error, Free> owner(error);
  require((status == FAULTLOOM_OK) == (journal != nullptr), "a status without its outcome");
  if (status != FAULTLOOM_OK) check_message(faultloom_error_message(error));
  return Journal(journal);
}

json asked(faultloom_status (*question)(const faultloom_journal*, faultloom_text**,
                                        faultloom_error**),
           const Journal& journal) {
  faultloom_text* text = nullptr;
  require(question(journal.get(), &text, nullptr) == FAULTLOOM_OK,
          "no answer from an open journal");
  const Text owner(text);
  return json::parse(faultloom_text_data(text));
}

/// Opens a file of these bytes, goes on, and finds everything again.
void go_on(std::string_view input) {
  static const Scratch scratch;
  const auto path = scratch.path("job.journal");
  put_bytes(path, input);
  auto journal = open_journal(path);
  if (!journal) {
    require(bytes_of(path) == input, "a file that was refused, but changed");
  } else {
    constexpr std::string_view change = R"({"set":{"x-fuzz":[1]}})";
    faultloom_text* added = nullptr;
    const auto status =
        faultloom_journal_append(journal.get(), change.data(), change.size(), &added, nullptr);
    const Text owner(added);
    const auto job = asked(&faultloom_journal_json, journal);
    require(status != FAULTLOOM_OK || job["x-fuzz"] == json::array({1}), "a change that was lost");
    require(asked(&faultloom_journal_status, journal)["path"].is_string(),
            "a journal without path");
    const auto other = scratch.path("other.journal");
    if (faultloom_journal_compact(journal.get(), other.data(), other.size(), nullptr) ==
        FAULTLOOM_OK)
      require(asked(&faultloom_journal_json, open_journal(other)) == job,
              "compacting changed the job");
    journal.reset();
    journal = open_journal(path);
    require(journal != nullptr, "a journal that can't be opened again");
    require(asked(&faultloom_journal_json, journal) == job, "a job that was not found again");
  }
  journal.reset();
  for (const auto& entry : std::filesystem::directory_iterator(scratch.path("")))
    std::filesystem::remove_all(entry.path());
}

/// A journal as the library writes it, with changes of every sort.
std::string written() {
  const auto job = json::parse(small_job());
  std::string text;
  journal::Link link;
  const auto add = [&](const std::string& body) {
    const auto line = journal::encode(link, body);
    text += line.text;
    link = line.next;
  };
  add(R"({"format":"faultloom.journal","version":"1.0","job":)" + job.dump() + "}");
  for (const auto& change : small_changes()) add(R"({"change":)" + change + "}");
  return text;
}

std::vector<Seed> journals() {
  const auto old = tests_text("journals/version-1.journal");
  return numbered({old, written(), old + old, old.substr(0, old.size() / 2), small_job()});
}

}  // namespace

std::vector<Harness> journal_harnesses() {
  return {
      {"journal", Shape::journal, 2000, 16384, recover, journals},
      {"journal_file", Shape::journal, 500, 16384, go_on, journals},
  };
}

}  // namespace fuzz
