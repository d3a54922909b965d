#include <faultloom/storage/append_file.hpp>

#include <faultloom/base/error.hpp>

#include "failing_disk.hpp"
#include "support/scratch.hpp"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <string>

namespace {

using faultloom::Code;
using faultloom::Error;
using faultloom::storage::AppendFile;

/// The code of what a call throws, ok if it throws nothing.
template <typename Call>
Code code_of(Call&& call) {
  try {
    call();
  } catch (const Error& error) {
    EXPECT_EQ(error.problems().size(), 1U);
    EXPECT_EQ(error.problems()[0].message.find('\n'), std::string::npos);
    return error.code();
  }
  return Code::ok;
}

class AppendFileTest : public ::testing::Test {
 protected:
  Scratch scratch;
  std::string path = scratch.path("a.journal");
};

TEST_F(AppendFileTest, GrowsAndIsReadBack) {
  {
    auto file = AppendFile::create(path, "one ");
    file.append("two ");
    file.append("three");
    EXPECT_EQ(file.size(), 13U);
    EXPECT_EQ(file.read(), "one two three");
    EXPECT_EQ(file.path(), std::filesystem::canonical(path).string());
  }
  EXPECT_EQ(bytes_of(path), "one two three");
  EXPECT_EQ(AppendFile::open(path).read(), "one two three");
  EXPECT_EQ(scratch.count(), 1U);
}

TEST_F(AppendFileTest, WhatIsThereIsNotMadeAgain) {
  put_bytes(path, "theirs");
  EXPECT_EQ(code_of([&] { (void)AppendFile::create(path, "mine"); }), Code::storage);
  EXPECT_EQ(bytes_of(path), "theirs");
  EXPECT_EQ(scratch.count(), 1U);
}

TEST_F(AppendFileTest, AnEmptyFileMayBecomeOne) {
  put_bytes(path, "");
  (void)AppendFile::create(path, "mine");
  EXPECT_EQ(bytes_of(path), "mine");
}

TEST_F(AppendFileTest, OnlyOrdinaryFilesInFoldersThatAreThere) {
  ASSERT_EQ(::mkfifo(scratch.path("pipe").c_str(), 0600), 0);
  for (const auto& bad : {scratch.path("none"), scratch.path("no/where"), scratch.path(""),
                          scratch.path("pipe"), std::string("/dev/null")})
    EXPECT_EQ(code_of([&] { (void)AppendFile::open(bad); }), Code::storage) << bad;
  for (const auto& bad : {scratch.path("no/where"), scratch.path("pipe"), scratch.path(".")})
    EXPECT_EQ(code_of([&] { (void)AppendFile::create(bad, "x"); }), Code::storage) << bad;
  for (const auto& bad : {std::string(), std::string("a\0b", 3)})
    EXPECT_EQ(code_of([&] { (void)AppendFile::open(bad); }), Code::argument);
}

TEST_F(AppendFileTest, BelongsToOneWriter) {
  {
    auto file = AppendFile::create(path, "one");
    const auto link = scratch.path("link");
    ASSERT_EQ(::symlink(path.c_str(), link.c_str()), 0);
    EXPECT_EQ(code_of([&] { (void)AppendFile::open(path); }), Code::in_use);
    EXPECT_EQ(code_of([&] { (void)AppendFile::open(link); }), Code::in_use);
    const auto moved = std::move(file);
    EXPECT_EQ(code_of([&] { (void)AppendFile::open(path); }), Code::in_use);
  }
  (void)AppendFile::open(path);
}

TEST_F(AppendFileTest, WhatSomethingElseDidIsNoticed) {
  auto file = AppendFile::create(path, "one");
  put_bytes(path, "one more");
  EXPECT_EQ(code_of([&] { file.append("two"); }), Code::changed);
  put_bytes(path, "on");
  EXPECT_EQ(code_of([&] { file.append("two"); }), Code::changed);
  put_bytes(path, "one");
  file.append("two");
  std::filesystem::rename(path, scratch.path("elsewhere"));
  EXPECT_EQ(code_of([&] { file.append("three"); }), Code::changed);
  put_bytes(path, "onetwo");
  EXPECT_EQ(code_of([&] { file.append("three"); }), Code::changed);
  EXPECT_EQ(bytes_of(scratch.path("elsewhere")), "onetwo");
}

TEST_F(AppendFileTest, AFullDiskAtEveryByteAddsNothing) {
  auto file = AppendFile::create(path, "first");
  const std::string more = "a record of some length";
  for (const int error : {ENOSPC, EIO, EDQUOT, EFBIG})
    for (long room = 0; room < static_cast<long>(more.size()); ++room) {
      {
        const failing_disk::Injected faults({.bytes_left = room, .write_error = error});
        ASSERT_EQ(code_of([&] { file.append(more); }), Code::storage);
      }
      ASSERT_EQ(bytes_of(path), "first");
      ASSERT_EQ(file.size(), 5U);
    }
  file.append(more);
  EXPECT_EQ(bytes_of(path), "first" + more);
}

TEST_F(AppendFileTest, ShortAndInterruptedWritesGoOn) {
  auto file = AppendFile::create(path, "first");
  const failing_disk::Injected faults({.most_bytes = 3, .interruptions = 4});
  file.append("a record of some length");
  EXPECT_EQ(bytes_of(path), "firsta record of some length");
}

TEST_F(AppendFileTest, WhatDidNotReachTheDiskIsTakenBack) {
  auto file = AppendFile::create(path, "first");
  {
    const failing_disk::Injected faults({.sync_error = EIO});
    EXPECT_EQ(code_of([&] { file.append("second"); }), Code::storage);
  }
  EXPECT_EQ(bytes_of(path), "first");
  file.append("second");
  EXPECT_EQ(bytes_of(path), "firstsecond");
}

TEST_F(AppendFileTest, WhatCanNotBeTakenBackStopsItUntilItIsOpenedAnew) {
  {
    auto file = AppendFile::create(path, "first");
    {
      const failing_disk::Injected faults(
          {.bytes_left = 3, .write_error = ENOSPC, .truncate_fails = true});
      EXPECT_EQ(code_of([&] { file.append("second"); }), Code::storage);
    }
    EXPECT_EQ(code_of([&] { file.append("third"); }), Code::storage);
    EXPECT_EQ(bytes_of(path), "firstsec");
  }
  auto file = AppendFile::open(path);
  const auto side = file.set_aside(5);
  file.append("third");
  EXPECT_EQ(bytes_of(path), "firstthird");
  EXPECT_EQ(bytes_of(side), "sec");
}

TEST_F(AppendFileTest, AFullDiskMakesNoFile) {
  for (const long room : {0L, 2L}) {
    const failing_disk::Injected faults({.bytes_left = room, .write_error = ENOSPC});
    EXPECT_EQ(code_of([&] { (void)AppendFile::create(path, "first"); }), Code::storage);
    EXPECT_EQ(scratch.count(), 0U);
  }
}

TEST_F(AppendFileTest, WhatIsSetAsideIsSafeBeforeItIsCutOff) {
  auto file = AppendFile::create(path, "good bad");
  for (const long room : {0L, 2L}) {
    const failing_disk::Injected faults({.bytes_left = room, .write_error = ENOSPC});
    EXPECT_EQ(code_of([&] { (void)file.set_aside(5); }), Code::storage);
    EXPECT_EQ(bytes_of(path), "good bad");
    EXPECT_EQ(scratch.count(), 1U);
  }
  const auto first = file.set_aside(5);
  EXPECT_EQ(first, file.path() + ".damaged-1");
  EXPECT_EQ(bytes_of(first), "bad");
  EXPECT_EQ(bytes_of(path), "good ");
  file.append("worse");
  EXPECT_EQ(file.set_aside(5), file.path() + ".damaged-2");
  EXPECT_EQ(bytes_of(file.path() + ".damaged-1"), "bad");
  EXPECT_EQ(bytes_of(file.path() + ".damaged-2"), "worse");
}

TEST_F(AppendFileTest, AReplacedFileStaysBesideAndKeepsItsMode) {
  put_bytes(path, "old");
  ASSERT_EQ(::chmod(path.c_str(), 0640), 0);
  auto file = AppendFile::open(path);
  {
    const failing_disk::Injected faults({.bytes_left = 1, .write_error = ENOSPC});
    EXPECT_EQ(code_of([&] { (void)file.replace("new"); }), Code::storage);
    EXPECT_EQ(bytes_of(path), "old");
    EXPECT_EQ(scratch.count(), 1U);
  }
  EXPECT_EQ(file.replace("new"), file.path() + ".before-journal");
  EXPECT_EQ(bytes_of(path), "new");
  EXPECT_EQ(bytes_of(path + ".before-journal"), "old");
  struct stat about {};
  ASSERT_EQ(::stat(path.c_str(), &about), 0);
  EXPECT_EQ(about.st_mode & 07777U, 0640U);
  file.append("er");
  EXPECT_EQ(bytes_of(path), "newer");
  EXPECT_EQ(code_of([&] { (void)AppendFile::open(path); }), Code::in_use);
  EXPECT_EQ(file.replace("newest"), file.path() + ".before-journal-1");
  EXPECT_EQ(scratch.count(), 3U);
}

TEST_F(AppendFileTest, WhatAKilledWriterLeftBesideIsUsedUp) {
  put_bytes(scratch.path(".a.journal.new"), "left over and longer");
  auto file = AppendFile::create(path, "first");
  EXPECT_EQ(bytes_of(path), "first");
  EXPECT_EQ(scratch.count(), 1U);
}

}  // namespace
