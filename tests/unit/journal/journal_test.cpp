#include <faultloom/journal/journal.hpp>

#include <gtest/gtest.h>

#include <stdlib.h>

#include <algorithm>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <vector>

#ifdef FAULTLOOM_HAVE_RAPIDCHECK
#include <rapidcheck.h>
#endif

namespace {

using namespace faultloom::journal;

/// A journal of some bodies, and its lines.
struct Sample {
  std::string bytes;
  std::vector<std::string> lines;
  std::vector<std::string> bodies;
  Link next;
};

Sample sample_of(const std::vector<std::string>& bodies) {
  Sample sample;
  sample.bodies = bodies;
  for (const auto& body : bodies) {
    auto line = encode(sample.next, body);
    sample.next = line.next;
    sample.bytes += line.text;
    sample.lines.push_back(std::move(line.text));
  }
  return sample;
}

Sample sample(int records = 6) {
  std::vector<std::string> bodies;
  for (int i = 0; i < records; ++i)
    bodies.push_back(R"({"change":{"add":[{"id":"e)" + std::to_string(i) + R"("}]}})");
  return sample_of(bodies);
}

std::vector<std::string> bodies_of(const Recovery& recovery) {
  std::vector<std::string> bodies;
  for (const auto& record : recovery.records) bodies.push_back(record.body);
  return bodies;
}

bool is_in_order(const std::vector<std::string>& part, const std::vector<std::string>& whole) {
  auto at = whole.begin();
  for (const auto& item : part) {
    at = std::find(at, whole.end(), item);
    if (at == whole.end()) return false;
    ++at;
  }
  return true;
}

std::vector<Damage::What> what_of(const Recovery& recovery) {
  std::vector<Damage::What> what;
  for (const auto& damage : recovery.damage) what.push_back(damage.what);
  return what;
}

using What = Damage::What;

// RFC 3720 appendix B.4, byte strings of 32 bytes; the last is the usual check value of CRC-32C/iSCSI.
TEST(Checksum, IsThatOfThePublishedExamples) {
  std::string up(32, '\0');
  std::string down(32, '\0');
  for (std::size_t i = 0; i < 32; ++i) {
    up[i] = static_cast<char>(i);
    down[i] = static_cast<char>(31 - i);
  }
  EXPECT_EQ(checksum(std::string(32, '\0')), 0x8A9136AAU);
  EXPECT_EQ(checksum(std::string(32, '\xFF')), 0x62A8AB43U);
  EXPECT_EQ(checksum(up), 0x46DD794EU);
  EXPECT_EQ(checksum(down), 0x113FDB5CU);
  EXPECT_EQ(checksum("123456789"), 0xE3069283U);
  EXPECT_EQ(checksum(""), 0U);
}

TEST(Journal, EveryLineIsJsonWithItsNumberAndTheChecksumBefore) {
  const auto whole = sample();
  std::string previous = "00000000";
  for (std::size_t i = 0; i < whole.lines.size(); ++i) {
    ASSERT_EQ(whole.lines[i].back(), '\n');
    const auto line = nlohmann::json::parse(whole.lines[i]);
    EXPECT_EQ(line["n"], i);
    EXPECT_EQ(line["prev"], previous);
    previous = line["crc"];
    EXPECT_EQ(line["change"], nlohmann::json::parse(whole.bodies[i])["change"]);
  }
  EXPECT_TRUE(looks_like_journal(whole.bytes));
  EXPECT_FALSE(looks_like_journal(R"({"format": "faultloom.job"})"));
}

TEST(Journal, WhatWasWrittenIsRead) {
  const auto whole = sample();
  const auto read = recover(whole.bytes);
  EXPECT_EQ(bodies_of(read), whole.bodies);
  EXPECT_TRUE(read.damage.empty());
  EXPECT_EQ(read.good_bytes, whole.bytes.size());
  EXPECT_EQ(read.next.number, whole.next.number);
  EXPECT_EQ(read.next.previous, whole.next.previous);
}

TEST(Journal, NothingIsReadOutOfNothing) {
  const auto read = recover("");
  EXPECT_TRUE(read.records.empty());
  EXPECT_TRUE(read.damage.empty());
  EXPECT_EQ(read.next.number, 0U);
}

TEST(Journal, CutAtEveryByteTheWholeLinesAreThereAndTheRestIsTold) {
  const auto whole = sample();
  for (std::size_t cut = 0; cut <= whole.bytes.size(); ++cut) {
    SCOPED_TRACE(cut);
    const auto read = recover(whole.bytes.substr(0, cut));
    std::size_t lines = 0;
    std::size_t end = 0;
    while (lines < whole.lines.size() && end + whole.lines[lines].size() <= cut)
      end += whole.lines[lines++].size();
    ASSERT_EQ(read.records.size(), lines);
    ASSERT_EQ(read.good_bytes, end);
    ASSERT_EQ(read.next.number, lines);
    if (cut == end) {
      ASSERT_TRUE(read.damage.empty());
      continue;
    }
    ASSERT_EQ(what_of(read), std::vector{What::unfinished});
    ASSERT_EQ(read.damage[0].at_byte, end);
    ASSERT_EQ(read.damage[0].bytes, cut - end);
    ASSERT_EQ(read.damage[0].line, lines + 1);
  }
}

TEST(Journal, EveryFlippedBitIsFoundAndCostsNoOtherRecord) {
  const auto whole = sample();
  for (std::size_t at = 0; at < whole.bytes.size(); ++at) {
    const auto line_of_byte = static_cast<std::size_t>(std::count(
        whole.bytes.begin(), whole.bytes.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
    const bool joins = whole.bytes[at] == '\n';
    for (unsigned bit = 0; bit < 8; ++bit) {
      SCOPED_TRACE(std::to_string(at) + " bit " + std::to_string(bit));
      auto damaged = whole.bytes;
      damaged[at] = static_cast<char>(static_cast<unsigned char>(damaged[at]) ^ (1U << bit));
      const auto read = recover(damaged);
      ASSERT_FALSE(read.damage.empty());
      // The others are there as they were; a lost newline costs the line after it too.
      auto expected = whole.bodies;
      const auto last = std::min(line_of_byte + (joins ? 2 : 1), expected.size());
      expected.erase(expected.begin() + static_cast<std::ptrdiff_t>(line_of_byte),
                     expected.begin() + static_cast<std::ptrdiff_t>(last));
      ASSERT_EQ(bodies_of(read), expected);
    }
  }
}

TEST(Journal, ALineThatIsGoneIsMissed) {
  const auto whole = sample();
  for (std::size_t gone = 0; gone < whole.lines.size(); ++gone) {
    SCOPED_TRACE(gone);
    std::string bytes;
    for (std::size_t i = 0; i < whole.lines.size(); ++i)
      if (i != gone) bytes += whole.lines[i];
    const auto read = recover(bytes);
    EXPECT_EQ(read.records.size(), whole.lines.size() - 1);
    if (gone == whole.lines.size() - 1) {
      EXPECT_TRUE(read.damage.empty());  // nothing after it can tell
      continue;
    }
    ASSERT_EQ(what_of(read), std::vector{What::missing});
    EXPECT_EQ(read.damage[0].first_record, gone);
    EXPECT_EQ(read.damage[0].last_record, gone);
  }
}

TEST(Journal, LinesOutOfOrderArePutInOrderAndTold) {
  const auto whole = sample();
  std::string bytes = whole.lines[0] + whole.lines[2] + whole.lines[1];
  for (std::size_t i = 3; i < whole.lines.size(); ++i) bytes += whole.lines[i];
  const auto read = recover(bytes);
  EXPECT_EQ(bodies_of(read), whole.bodies);
  EXPECT_EQ(what_of(read), std::vector{What::out_of_order});
}

TEST(Journal, ALineThatIsThereTwiceCountsOnce) {
  const auto whole = sample();
  const auto read = recover(whole.bytes + whole.lines.back());
  EXPECT_EQ(bodies_of(read), whole.bodies);
  EXPECT_EQ(what_of(read), std::vector{What::repeated});
}

TEST(Journal, ALineOfAnotherJournalIsNotTakenForOneOfThis) {
  auto whole = sample(3);
  const auto other =
      sample_of({R"({"job":1})", R"({"change":2})", R"({"change":3})", R"({"c":4})"});
  const auto again = recover(whole.bytes + other.lines[2]);
  EXPECT_EQ(bodies_of(again), whole.bodies);
  EXPECT_EQ(what_of(again), std::vector{What::contradicting});
  const auto next = recover(whole.bytes + other.lines[3]);
  EXPECT_EQ(next.records.size(), 4U);
  EXPECT_EQ(what_of(next), std::vector{What::unlinked});
}

TEST(Journal, ADamagedEndOfWholeLinesIsNoUnfinishedWrite) {
  const auto whole = sample();
  const auto read = recover(whole.bytes + "not a line\nand more");
  EXPECT_EQ(bodies_of(read), whole.bodies);
  EXPECT_EQ(what_of(read), std::vector{What::damaged});
  EXPECT_EQ(read.good_bytes, whole.bytes.size());
  EXPECT_EQ(what_of(recover(whole.bytes + std::string(512, '\0'))), std::vector{What::unfinished});
}

// After the highest number there is, the next record would be taken for the first once more.
TEST(Journal, ARecordOfANumberNobodyWritesIsNone) {
  const auto last = encode({std::uint64_t{1} << 53U, 0}, R"({"a":1})").text;
  EXPECT_EQ(recover(last).records.size(), 1U);
  for (const std::uint64_t number : {(std::uint64_t{1} << 53U) + 1, ~std::uint64_t{0}}) {
    const auto line = encode({number, 0}, R"({"a":1})").text;
    const auto found = recover(line);
    EXPECT_TRUE(found.records.empty());
    ASSERT_EQ(found.damage.size(), 1U);
    EXPECT_EQ(found.damage.front().what, Damage::What::damaged);
  }
}

TEST(Journal, AnyBytesCanBeRead) {
  std::mt19937 random(20261128);
  const auto whole = sample(12);
  const std::string alphabet = whole.bytes.substr(0, 60) + "\n\n\n\"{}:,0123\xFF";
  for (int i = 0; i < 20000; ++i) {
    auto bytes = whole.bytes;
    const auto changes = 1 + random() % 6;
    for (unsigned change = 0; change < changes; ++change) {
      const auto at = random() % bytes.size();
      const auto count = random() % 80;
      switch (random() % 4) {
        case 0:
          bytes.erase(at, count);
          break;
        case 1:
          bytes.insert(at, bytes.substr(random() % bytes.size(), count));
          break;
        case 2:
          bytes[at] = alphabet[random() % alphabet.size()];
          break;
        default:
          bytes.resize(at + 1);
      }
      if (bytes.empty()) bytes = "\n";
    }
    const auto read = recover(bytes);
    ASSERT_TRUE(is_in_order(bodies_of(read), whole.bodies)) << bytes;
    ASSERT_LE(read.good_bytes, bytes.size());
    // What is not a whole line of the sample is told.
    if (bodies_of(read) != whole.bodies && read.records.size() < read.next.number) {
      ASSERT_FALSE(read.damage.empty());
    }
    // Reading up to the good end and going on from there gives a journal again.
    const auto line = encode(read.next, R"({"change":{}})");
    const auto longer = recover(bytes.substr(0, read.good_bytes) + line.text);
    ASSERT_EQ(longer.records.size(), read.records.size() + 1);
  }
}

#ifdef FAULTLOOM_HAVE_RAPIDCHECK
TEST(Journal, AnyTextsGoInAndComeOut) {
  ::setenv("RC_PARAMS", "seed=20261128", 0);  // the same texts each time
  const bool holds = rc::check([](const std::vector<std::string>& texts) {
    std::vector<std::string> bodies;
    for (const auto& text : texts)
      bodies.push_back(nlohmann::json{{"x", text}}.dump(-1, ' ', true,
                                                        nlohmann::json::error_handler_t::replace));
    const auto whole = sample_of(bodies);
    const auto read = recover(whole.bytes);
    RC_ASSERT(bodies_of(read) == bodies);
    RC_ASSERT(read.damage.empty());
  });
  EXPECT_TRUE(holds);
}
#endif

}  // namespace
