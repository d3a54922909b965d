// A writer killed at random moments, writers that race, a disk that is full: nothing that was acknowledged
// may be missing afterwards. The killed process is tests/journal/writer.c, which uses the C interface.
#include <faultloom/documents/job_journal.hpp>

#include "support/scratch.hpp"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <string>
#include <vector>

namespace {

using faultloom::Code;
using faultloom::Error;
using faultloom::documents::JobJournal;
using nlohmann::json;

constexpr int rounds_of_a_file = 25;

/// Where there is one, a disk in memory: a killed process loses what it has not handed over, not what the
/// system has not put on a disk yet, and without waiting for the disk more is written before each kill.
std::filesystem::path quick_disk() {
  const std::filesystem::path memory = "/dev/shm";
  return access(memory.c_str(), W_OK) == 0 ? memory : std::filesystem::temp_directory_path();
}

constexpr const char* empty_job =
    R"({"format":"faultloom.job","version":"1.0","id":"killed","vehicle":"hauler","entries":[]})";

/// The JSON of change number n: an entry cN, and now and then much more than fits into a page of memory.
std::string change_of(long n) {
  const auto number = std::to_string(n);
  std::string change =
      R"({"add":[{"id":"c)" + number +
      R"(","type":"look","component":"W7","outcome":"clean"}],"set":{"x-changes":)" + number;
  if (n % 4 == 3) {
    change += R"(,"x-long":[)";
    for (int i = 0; i < 12; ++i) change += (i > 0 ? ",\"" : "\"") + std::string(4000, 'n') + '"';
    change += ']';
  }
  return change + "}}";
}

/// Adds changes for ever and says the number of each on a pipe once it is added. The C++ twin of writer.c,
/// which is running at once, so that it is killed in the midst of writing and not of being loaded.
[[noreturn]] void write_for_ever(const std::string& path, long n, int out) {
  try {
    auto journal = access(path.c_str(), F_OK) == 0 ? JobJournal::open(path)
                                                   : JobJournal::create(path, empty_job);
    for (;; ++n) {
      journal.append(journal.prepare(change_of(n)));
      const auto line = std::to_string(n) + "\n";
      if (::write(out, line.data(), line.size()) < 0) ::_exit(4);
    }
  } catch (...) {
    ::_exit(3);
  }
}

/// What runs in a process of its own until it is killed, and what it puts out.
using Writer = void (*)(const std::string& path, long first, int out);

[[noreturn]] void run_writer_in_c(const std::string& path, long first, int out) {
  const auto number = std::to_string(first);
  ::dup2(out, 1);
  ::execl(FAULTLOOM_JOURNAL_WRITER, "writer", path.c_str(), number.c_str(), nullptr);
  ::_exit(127);
}

/// Starts a writer and kills it after a time. @returns what it put out
std::string put_out_until_killed(Writer writer, const std::string& path, long first, long life_us) {
  std::array<int, 2> pipe_ends{};
  if (::pipe(pipe_ends.data()) != 0) throw std::runtime_error("no pipe");
  const pid_t child = ::fork();
  if (child == 0) {
    ::close(pipe_ends[0]);
    writer(path, first, pipe_ends[1]);
  }
  ::close(pipe_ends[1]);
  const timespec life{0, life_us * 1000};
  ::nanosleep(&life, nullptr);
  ::kill(child, SIGKILL);
  std::string said;
  std::array<char, 4096> part{};
  for (ssize_t got = 0; (got = ::read(pipe_ends[0], part.data(), part.size())) > 0;)
    said.append(part.data(), static_cast<std::size_t>(got));
  ::close(pipe_ends[0]);
  int status = 0;
  ::waitpid(child, &status, 0);
  EXPECT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL)
      << "it ended by itself: " << status;
  return said;
}

/// The last number that was acknowledged, `before` if there was none.
long last_acknowledged(const std::string& said, long before) {
  const auto end = said.rfind('\n');  // what comes after it was not put out whole
  if (end == std::string::npos) return before;
  const auto start = end == 0 ? std::string::npos : said.rfind('\n', end - 1);
  return std::stol(said.substr(start == std::string::npos ? 0 : start + 1));
}

/// Ids of the entries of a job, in order.
std::vector<std::string> ids_of(const std::string& document) {
  std::vector<std::string> ids;
  const auto job = json::parse(document);
  for (const auto& entry : job["entries"]) ids.push_back(entry["id"]);
  return ids;
}

std::vector<std::string> expected_ids(long changes) {
  std::vector<std::string> ids;
  for (long n = 0; n < changes; ++n) ids.push_back("c" + std::to_string(n));
  return ids;
}

/// What happened in all rounds, so that it is seen that the kills hit something.
struct Tally {
  long acknowledged = 0;
  int unacknowledged_kept = 0;
  int unfinished = 0;
  int before_the_first = 0;
  int taken_over = 0;
};

/// Opens the journal of a killed writer. @returns how many changes it holds
long changes_after(const std::string& path, long acknowledged, Tally& tally) {
  const auto journal = JobJournal::open(path);
  const auto job = json::parse(journal.job().text());
  const long changes = job.value("x-changes", -1L) + 1;
  EXPECT_GE(changes, acknowledged) << "an acknowledged change is gone";
  EXPECT_LE(changes, acknowledged + 1);
  EXPECT_EQ(ids_of(journal.job().text()), expected_ids(changes));
  const auto status = json::parse(journal.status());
  for (const auto& damage : status["damage"]) {
    EXPECT_EQ(damage["what"], "unfinished") << damage;
    EXPECT_EQ(bytes_of(damage["kept_in"]).size(), damage["bytes"].get<std::size_t>());
    ++tally.unfinished;
  }
  tally.unacknowledged_kept += changes > acknowledged ? 1 : 0;
  tally.taken_over += status.contains("migrated_from") ? 1 : 0;
  return changes;
}

void kill_again_and_again(Writer writer, int rounds, long longest_life_us) {
  std::mt19937_64 random(4711);
  Tally tally;
  for (int round = 0; round < rounds && !::testing::Test::HasFailure();) {
    const Scratch scratch(quick_disk());
    const auto path = scratch.path("j.journal");
    // Every other file begins as a job in plain JSON, so that its taking over is interrupted too.
    const bool old_form = round % (2 * rounds_of_a_file) == 0;
    if (old_form) put_bytes(path, std::string(empty_job) + "\n");
    long changes = 0;
    for (int i = 0; i < rounds_of_a_file && round < rounds; ++i, ++round) {
      SCOPED_TRACE(round);
      const long life_us = static_cast<long>(random()) & 0x7FFFFFFF;
      const auto said = put_out_until_killed(writer, path, changes, life_us % longest_life_us);
      const long acknowledged = last_acknowledged(said, changes - 1) + 1;
      tally.acknowledged += acknowledged - changes;
      if (access(path.c_str(), F_OK) != 0) {
        EXPECT_EQ(acknowledged, 0);
        ++tally.before_the_first;
        continue;
      }
      changes = changes_after(path, acknowledged, tally);
    }
  }
  std::printf(
      "%d kills: %ld changes acknowledged, %d kept that were not, %d broken off, %d before the "
      "file "
      "was there, %d taken over\n",
      rounds, tally.acknowledged, tally.unacknowledged_kept, tally.unfinished,
      tally.before_the_first, tally.taken_over);
  EXPECT_GT(tally.acknowledged, rounds / 10);
}

// A writer under a sanitizer takes longer to come to anything.
constexpr long slower = FAULTLOOM_SANITIZED ? 8 : 1;

TEST(KilledWriter, LosesNothingThatWasAcknowledgedAtAThousandRandomMoments) {
  kill_again_and_again(&write_for_ever, 1000, 12000 * slower);
}

TEST(KilledWriter, LosesNothingThatTheCInterfaceAcknowledged) {
  kill_again_and_again(&run_writer_in_c, 100, 60000);
}

/// Adds entries to a journal that others want too, one at a time, until there were enough.
[[noreturn]] void race(const std::string& path, int writer, int count) {
  for (int i = 0; i < count;) {
    try {
      auto journal = JobJournal::open(path);
      journal.append(journal.prepare(R"({"add":[{"id":"w)" + std::to_string(writer) + "_" +
                                     std::to_string(i) +
                                     R"(","type":"look","component":"W7","outcome":"clean"}]})"));
      ++i;
    } catch (const Error& error) {
      if (error.code() != Code::in_use) ::_exit(1);
    }
    const timespec pause{0, 200000};
    ::nanosleep(&pause, nullptr);
  }
  ::_exit(0);
}

TEST(RacingWriters, EachHasTheJournalForItselfAndNoEntryIsLost) {
  constexpr int writers = 4;
  constexpr int count = 30;
  const Scratch scratch;
  const auto path = scratch.path("j.journal");
  (void)JobJournal::create(path, empty_job);
  std::vector<pid_t> children;
  for (int writer = 0; writer < writers; ++writer) {
    const pid_t child = ::fork();
    if (child == 0) race(path, writer, count);
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    ::waitpid(child, &status, 0);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  }
  const auto journal = JobJournal::open(path);
  const auto ids = ids_of(journal.job().text());
  EXPECT_EQ(std::set<std::string>(ids.begin(), ids.end()).size(), writers * count);
  EXPECT_EQ(json::parse(journal.status())["damage"], json::array());
}

TEST(RacingWriters, OnlyOneMakesTheJournal) {
  for (int round = 0; round < 20; ++round) {
    const Scratch scratch;
    const auto path = scratch.path("j.journal");
    std::vector<pid_t> children;
    for (int writer = 0; writer < 4; ++writer) {
      const pid_t child = ::fork();
      if (child == 0) {
        try {
          (void)JobJournal::create(path, empty_job);
          ::_exit(0);
        } catch (const Error& error) {
          ::_exit(error.code() == Code::storage || error.code() == Code::in_use ? 1 : 2);
        }
      }
      children.push_back(child);
    }
    int made = 0;
    for (const pid_t child : children) {
      int status = 0;
      ::waitpid(child, &status, 0);
      ASSERT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) <= 1);
      made += WEXITSTATUS(status) == 0 ? 1 : 0;
    }
    EXPECT_EQ(made, 1);
    EXPECT_EQ(scratch.count(), 1U);
    (void)JobJournal::open(path);
  }
}

/// Fills a small disk of its own with a journal. @returns 0 if nothing was lost, 77 without the right to
int fill_a_disk(const std::string& folder) {
  if (::mount("none", folder.c_str(), "tmpfs", 0, "size=128k") != 0) return 77;
  int result = 0;
  const std::string change =
      R"({"add":[{"type":"look","component":"W7","outcome":"clean","note":")" +
      std::string(1500, 'n') + "\"}]}";
  {
    auto journal = JobJournal::create(folder + "/j.journal", empty_job);
    std::size_t acknowledged = 0;
    for (int refused = 0; refused < 3;) {
      try {
        journal.append(journal.prepare(change));
        ++acknowledged;
      } catch (const Error& error) {
        if (error.code() != Code::storage) result = 1;
        ++refused;
      }
    }
    if (acknowledged < 20 || journal.job().entry_count() != acknowledged) result = 2;
    put_bytes(folder + "/more", "");
    const auto read = faultloom::documents::read_journal(bytes_of(folder + "/j.journal"));
    if (!read.damage.empty() || read.recovery.records.size() != acknowledged + 1) result = 3;
  }
  ::umount(folder.c_str());
  return result;
}

TEST(FullDisk, ARealOneTakesNothingAwayAndAddsNothingByHalves) {
  const Scratch scratch;
  const auto folder = scratch.path("disk");
  std::filesystem::create_directory(folder);
  const pid_t child = ::fork();
  if (child == 0) ::_exit(fill_a_disk(folder));
  int status = 0;
  ::waitpid(child, &status, 0);
  ASSERT_TRUE(WIFEXITED(status));
  if (WEXITSTATUS(status) == 77) GTEST_SKIP() << "no right to mount a file system";
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

}  // namespace
