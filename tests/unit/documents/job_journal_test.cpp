#include <faultloom/documents/job_journal.hpp>

#include "support/scratch.hpp"
#include "unit/storage/failing_disk.hpp"

#include <gtest/gtest.h>

#include <cerrno>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace {

using namespace faultloom;
using documents::JobJournal;
using nlohmann::json;

constexpr const char* empty_job =
    R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"mulch-tug","entries":[]})";

std::string fixture(const std::string& name) {
  return bytes_of(std::string(FAULTLOOM_TESTS_DIR) + "/journals/" + name);
}

/// A change for a closed job.
constexpr const char* reopening =
    R"({"set":{"closing":null},"add":[{"id":"e99","type":"look","component":"W7","outcome":"clean"}]})";

std::string look(int number) {
  return R"({"add":[{"id":"e)" + std::to_string(number) +
         R"(","type":"look","component":"W7","outcome":"clean"}]})";
}

json job_in(const JobJournal& journal) { return json::parse(journal.job().text()); }
json status_of(const JobJournal& journal) { return json::parse(journal.status()); }

std::vector<std::string> ids_of(const json& job) {
  std::vector<std::string> ids;
  for (const auto& entry : job["entries"]) ids.push_back(entry["id"]);
  return ids;
}

template <typename Call>
Code code_of(Call&& call) {
  try {
    call();
  } catch (const Error& error) {
    return error.code();
  }
  return Code::ok;
}

const documents::Model& tug() {
  static const std::string vehicle =
      bytes_of(std::string(FAULTLOOM_DATA_DIR) + "/vehicles/mulch-tug.json");
  static const documents::Model model(documents::ModelSources{vehicle, {}, {}, {}, {}});
  return model;
}

class JobJournalTest : public ::testing::Test {
 protected:
  Scratch scratch;
  std::string path = scratch.path("j.journal");

  /// A journal of so many entries, one withdrawn; its bytes.
  std::string written(int entries) {
    auto journal = JobJournal::create(path, empty_job);
    for (int i = 1; i <= entries; ++i) journal.append(journal.prepare(look(i)));
    journal.append(journal.prepare(R"({"withdraw":["e1"],"set":{"complaint":"It stands still"}})"));
    return bytes_of(path);
  }
};

TEST_F(JobJournalTest, IsTheSameJobWhenItIsOpenedAgain) {
  json before;
  {
    auto journal = JobJournal::create(path, empty_job, tug());
    auto pending = journal.prepare(look(1));
    EXPECT_EQ(pending.change.added, std::vector<std::string>{"e1"});
    journal.append(std::move(pending));
    journal.append(journal.prepare(R"({"withdraw":["e1"]})"));
    journal.append(
        journal.prepare(R"({"set":{"complaint":"It stands still","x-own":{"b":1,"a":2}}})"));
    before = job_in(journal);
  }
  const auto journal = JobJournal::open(path, tug());
  EXPECT_EQ(job_in(journal), before);
  const auto status = status_of(journal);
  EXPECT_EQ(status["records"], 4);
  EXPECT_EQ(status["entries"], 1);
  EXPECT_EQ(status["withdrawn"], 1);
  EXPECT_EQ(status["bytes"], bytes_of(path).size());
  EXPECT_EQ(status["vehicle"], "mulch-tug");
  EXPECT_EQ(status["damage"], json::array());
  EXPECT_EQ(json::parse(documents::read_journal(bytes_of(path)).document), before);
}

TEST_F(JobJournalTest, WhatIsWrongWritesNothing) {
  auto journal = JobJournal::create(path, empty_job, tug());
  const auto before = bytes_of(path);
  EXPECT_EQ(
      code_of([&] {
        (void)journal.prepare(R"({"add":[{"type":"look","component":"W99","outcome":"clean"}]})");
      }),
      Code::reference);
  // So deep that it could not be read back from a line.
  std::string deep = R"({"set":{"x-deep":)" + std::string(62, '[') + std::string(62, ']') + "}}";
  EXPECT_EQ(code_of([&] { (void)journal.prepare(deep); }), Code::limit);
  journal.append(journal.prepare("{}"));
  EXPECT_EQ(bytes_of(path), before);
}

TEST_F(JobJournalTest, AFullDiskAddsNothingToFileOrJob) {
  auto journal = JobJournal::create(path, empty_job);
  const auto before = bytes_of(path);
  const auto size = static_cast<long>(journal.prepare(look(1)).line.text.size());
  for (long room = 0; room < size; ++room) {
    const failing_disk::Injected faults({.bytes_left = room, .write_error = ENOSPC});
    ASSERT_EQ(code_of([&] { journal.append(journal.prepare(look(1))); }), Code::storage);
    ASSERT_EQ(bytes_of(path), before);
    ASSERT_EQ(journal.job().entry_count(), 0U);
  }
  journal.append(journal.prepare(look(1)));
  EXPECT_EQ(ids_of(job_in(journal)), std::vector<std::string>{"e1"});
  EXPECT_TRUE(documents::read_journal(bytes_of(path)).damage.empty());
}

TEST_F(JobJournalTest, CutAtEveryByteItGoesOnAndTheRestIsKept) {
  const failing_disk::Injected quick({.no_sync = true});
  const auto whole = written(4);
  const auto first = whole.find('\n') + 1;
  for (std::size_t cut = first; cut < whole.size(); ++cut) {
    SCOPED_TRACE(cut);
    const Scratch place;
    const auto cut_path = place.path("j.journal");
    put_bytes(cut_path, whole.substr(0, cut));
    const auto end = whole.rfind('\n', cut - 1) + 1;
    auto journal = JobJournal::open(cut_path);
    ASSERT_EQ(bytes_of(cut_path), whole.substr(0, end));
    const auto damage = status_of(journal)["damage"];
    if (cut == end) {
      ASSERT_TRUE(damage.empty());
    } else {
      ASSERT_EQ(damage.size(), 1U);
      ASSERT_EQ(damage[0]["what"], "unfinished");
      ASSERT_EQ(bytes_of(damage[0]["kept_in"]), whole.substr(end, cut - end));
    }
    journal.append(
        journal.prepare(R"({"add":[{"type":"look","component":"W7","outcome":"clean"}]})"));
    ASSERT_TRUE(documents::read_journal(bytes_of(cut_path)).damage.empty());
  }
}

TEST_F(JobJournalTest, CutWithinItsFirstLineItIsLeftAlone) {
  const failing_disk::Injected quick({.no_sync = true});
  const auto whole = written(1);
  for (std::size_t cut = 0; cut < whole.find('\n'); ++cut) {
    const Scratch place;
    const auto cut_path = place.path("j.journal");
    put_bytes(cut_path, whole.substr(0, cut));
    const auto code = code_of([&] { (void)JobJournal::open(cut_path); });
    ASSERT_TRUE(code == Code::damaged || code == Code::syntax) << cut;
    ASSERT_EQ(bytes_of(cut_path), whole.substr(0, cut));
    ASSERT_EQ(place.count(), 1U);
  }
}

TEST_F(JobJournalTest, AFlippedBitAtEveryByteIsToldAndCostsNoOtherEntry) {
  const failing_disk::Injected quick({.no_sync = true});
  const auto whole = written(4);
  const auto first = whole.find('\n') + 1;
  for (std::size_t at = 0; at < whole.size(); ++at) {
    SCOPED_TRACE(at);
    auto bytes = whole;
    bytes[at] = static_cast<char>(static_cast<unsigned char>(bytes[at]) ^ (1U << (at % 8)));
    const Scratch place;
    const auto damaged_path = place.path("j.journal");
    put_bytes(damaged_path, bytes);
    if (at < first) {
      const auto code = code_of([&] { (void)JobJournal::open(damaged_path); });
      ASSERT_TRUE(code == Code::damaged || code == Code::syntax);
      ASSERT_EQ(bytes_of(damaged_path), bytes);
      continue;
    }
    auto journal = JobJournal::open(damaged_path);
    ASSERT_FALSE(status_of(journal)["damage"].empty());
    ASSERT_GE(journal.job().entry_count(), bytes[at] != whole[at] && whole[at] == '\n' ? 2U : 3U);
    // What was there is still there: in the journal, or in the file beside it.
    auto kept = bytes_of(damaged_path);
    if (place.count() == 2) kept += bytes_of(damaged_path + ".damaged-1");
    ASSERT_EQ(kept, bytes);
    journal.append(journal.prepare(look(99)));
    const auto again = documents::read_journal(bytes_of(damaged_path));
    ASSERT_EQ(ids_of(json::parse(again.document)).back(), "e99");
  }
}

TEST_F(JobJournalTest, AnEntryLostInTheMiddleIsToldEachTimeAndWithdrawnNoMore) {
  auto bytes = written(3);
  const auto second = bytes.find('\n') + 1;
  bytes.replace(second, bytes.find('\n', second) + 1 - second, "nothing of use\n");
  put_bytes(path, bytes);
  for (int i = 0; i < 2; ++i) {
    const auto journal = JobJournal::open(path);
    EXPECT_EQ(ids_of(job_in(journal)), (std::vector<std::string>{"e2", "e3"}));
    EXPECT_FALSE(job_in(journal).contains("withdrawn"));
    std::vector<std::string> what;
    const auto damage = status_of(journal)["damage"];
    for (const auto& item : damage) what.push_back(item["what"]);
    EXPECT_EQ(what, (std::vector<std::string>{"damaged", "missing", "missing"}));
    EXPECT_EQ(bytes_of(path), bytes);
  }
}

TEST_F(JobJournalTest, WhatAWriterWithoutALockMixedInIsToldAndLeftOut) {
  auto bytes = written(2);
  const auto own = journal::recover(bytes);
  // Another writer that began from the same three lines, and whose lines came first to nobody's notice.
  auto line = journal::encode(
      {2, own.records[1].crc},
      R"({"change":{"add":[{"id":"x","type":"look","component":"W7","outcome":"clean"}]}})");
  bytes += line.text;
  line = journal::encode(
      {4, line.next.previous},
      R"({"change":{"add":[{"id":"e2","type":"look","component":"W8","outcome":"clean"}]}})");
  bytes += line.text;
  put_bytes(path, bytes);
  const auto journal = JobJournal::open(path);
  EXPECT_EQ(ids_of(job_in(journal)), (std::vector<std::string>{"e1", "e2"}));
  EXPECT_EQ(job_in(journal)["entries"][1]["component"], "W7");
  EXPECT_EQ(status_of(journal)["damage"].size(), 3U);
  EXPECT_EQ(bytes_of(path), bytes);
}

TEST_F(JobJournalTest, WhatIsToldStaysOnOneLineWhateverTheFileSays) {
  const auto bytes = written(1);
  const auto own = journal::recover(bytes);
  put_bytes(path,
            bytes + journal::encode(own.next, R"({"change":{"withdraw":["a\nb\u007f"]}})").text);
  const auto damage = status_of(JobJournal::open(path))["damage"];
  ASSERT_EQ(damage.size(), 1U);
  const auto message = damage[0]["message"].get<std::string>();
  EXPECT_NE(message.find("takes back entry 'a?b?'"), std::string::npos) << message;
  const Error error(Code::value, "first\nsecond");
  EXPECT_STREQ(error.what(), "first?second");
}

TEST_F(JobJournalTest, AnotherWriterIsToldWhatToDo) {
  const auto journal = JobJournal::create(path, empty_job);
  try {
    (void)JobJournal::open(path);
    FAIL() << "two have it";
  } catch (const Error& error) {
    EXPECT_EQ(error.code(), Code::in_use);
    EXPECT_NE(error.problems()[0].message.find("end that one first"), std::string::npos);
  }
  EXPECT_TRUE(documents::read_journal(bytes_of(path)).damage.empty());
}

TEST_F(JobJournalTest, CompactMakesAnotherAndLeavesThisOne) {
  const auto whole = written(3);
  const auto journal = JobJournal::open(path);
  const auto other = scratch.path("compact.journal");
  journal.compact(other);
  EXPECT_EQ(bytes_of(path), whole);
  EXPECT_EQ(code_of([&] { journal.compact(other); }), Code::storage);
  EXPECT_EQ(code_of([&] { journal.compact(path); }), Code::storage);
  const auto compacted = JobJournal::open(other);
  EXPECT_EQ(job_in(compacted), job_in(journal));
  EXPECT_EQ(status_of(compacted)["records"], 1);
}

TEST_F(JobJournalTest, AModelOfAnotherVehicleRefusesIt) {
  put_bytes(path, fixture("version-1.journal"));
  const auto before = bytes_of(path);
  (void)JobJournal::open(path, tug());
  put_bytes(path,
            R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"x","entries":[]})");
  EXPECT_EQ(code_of([&] { (void)JobJournal::open(path, tug()); }), Code::reference);
  EXPECT_EQ(scratch.count(), 1U);
}

// Both fixtures stay as they are: version-1.journal was written by the first version that had journals,
// job-1.0.json is how a job was kept before. compare.json is the job that both hold.
TEST_F(JobJournalTest, VersionOneIsStillRead) {
  put_bytes(path, fixture("version-1.journal"));
  auto journal = JobJournal::open(path);
  EXPECT_EQ(job_in(journal), json::parse(fixture("same-job.json")));
  EXPECT_EQ(status_of(journal)["journal_version"], "1.0");
  EXPECT_EQ(status_of(journal)["damage"], json::array());
  journal.append(journal.prepare(reopening));
  EXPECT_TRUE(bytes_of(path).starts_with(fixture("version-1.journal")));
}

TEST_F(JobJournalTest, AJobInPlainJsonIsTakenOverAndStaysBeside) {
  const auto old = fixture("job-1.0.json");
  put_bytes(path, old);
  {
    auto journal = JobJournal::open(path, tug());
    EXPECT_EQ(job_in(journal), json::parse(fixture("same-job.json")));
    const auto status = status_of(journal);
    EXPECT_EQ(status["migrated_from"], "faultloom.job 1.0");
    EXPECT_EQ(bytes_of(status["old_kept_in"]), old);
    journal.append(journal.prepare(reopening));
  }
  const auto journal = JobJournal::open(path);
  EXPECT_FALSE(status_of(journal).contains("migrated_from"));
  EXPECT_EQ(ids_of(job_in(journal)).back(), "e99");
  EXPECT_EQ(bytes_of(path + ".before-journal"), old);
}

TEST_F(JobJournalTest, ALaterVersionIsRefusedAndLeftAlone) {
  for (const char* head : {R"({"format":"faultloom.journal","version":"2.0","job":{}})",
                           R"({"format":"something.else","version":"1.0","job":{}})"}) {
    const auto bytes = journal::encode({}, head).text + "an end that is broken off";
    put_bytes(path, bytes);
    EXPECT_EQ(code_of([&] { (void)JobJournal::open(path); }), Code::schema);
    EXPECT_EQ(bytes_of(path), bytes);
    EXPECT_EQ(scratch.count(), 1U);
  }
}

TEST_F(JobJournalTest, WholeRecordsThatAreNoneOfAJobAreRefused) {
  const std::string head =
      std::string(R"({"format":"faultloom.journal","version":"1.0","job":)") + empty_job + "}";
  const auto first = journal::encode({}, head);
  for (const char* body :
       {R"({"change":{"add":[5]}})", R"({"change":{"withdraw":5}})", R"({"change":[]})",
        R"({"change":{"set":{"entries":null}}})", R"({"change":{"add":[{"id":7}]}})"}) {
    put_bytes(path, first.text + journal::encode(first.next, body).text);
    const auto code = code_of([&] { (void)JobJournal::open(path); });
    EXPECT_TRUE(code == Code::damaged || code == Code::schema) << body;
  }
  put_bytes(path, "");
  EXPECT_EQ(code_of([&] { (void)JobJournal::open(path); }), Code::damaged);
}

}  // namespace
