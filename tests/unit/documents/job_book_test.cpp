#include <faultloom/documents/job_book.hpp>

#include <faultloom/documents/text.hpp>

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace {

using namespace faultloom;
using documents::JobBook;
using nlohmann::json;

std::string data(const std::string& path) {
  std::ifstream file(std::string(FAULTLOOM_DATA_DIR) + "/" + path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

const documents::Model& tug() {
  static const std::string vehicle = data("vehicles/mulch-tug.json");
  static const documents::Model model(documents::ModelSources{vehicle, {}, {}, {}, {}});
  return model;
}

JobBook begun() { return JobBook::begun("j", "mulch-tug", tug()); }

/// The problems of what a call throws, each as "name pointer".
template <typename Call>
std::vector<std::string> refusal_of(Call&& call) {
  try {
    call();
  } catch (const Error& error) {
    std::vector<std::string> found;
    for (const auto& problem : error.problems()) {
      EXPECT_FALSE(problem.message.empty());
      found.push_back(std::string(name_of(problem.code)) + " " + problem.pointer);
    }
    return found;
  }
  return {};
}

using Refusal = std::vector<std::string>;

constexpr const char* look = R"({"type":"look","component":"W7","outcome":"clean"})";

TEST(JobBook, GrowsEntryByEntryWithIdsOfItsOwn) {
  auto book = begun();
  for (const char* entry :
       {look, R"({"id":"lamp","type":"look","component":"W7","outcome":"clean"})",
        R"({"id":"e7","type":"look","component":"W7","outcome":"clean"})", look})
    book.commit(book.prepare_entry(entry));
  std::vector<std::string> ids;
  for (std::size_t i = 0; i < book.entry_count(); ++i) ids.push_back(book.entry_id(i));
  EXPECT_EQ(ids, (std::vector<std::string>{"e1", "lamp", "e7", "e8"}));
  const auto document = json::parse(book.text());
  EXPECT_EQ(document["entries"][3],
            (json{{"id", "e8"}, {"type", "look"}, {"component", "W7"}, {"outcome", "clean"}}));
  EXPECT_TRUE(documents::check_document(book.text()).empty());
}

TEST(JobBook, ABadEntryIsRefusedWithItsPlaceAndLeavesTheJobAsItWas) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  const auto before = book.text();
  struct Case {
    const char* entry;
    Refusal refusal;
  };
  for (
      const auto& [entry, refusal] : std::vector<Case>{
          {R"({"type":"look","component":"W99","outcome":"clean"})", {"reference /component"}},
          {R"({"type":"look","component":"W7"})", {"schema "}},
          {R"({"type":"look","component":"W7","outcome":"clean","colour":1})", {"schema /colour"}},
          {R"({"id":"e1","type":"look","component":"W7","outcome":"clean"})", {"duplicate /id"}},
          {R"({"type":"reading","instrument":"meter","red":"BAT1.nowhere","black":"F1.none","volts":1})",
           {"reference /red", "reference /black"}},
          {R"({"type":"reading","instrument":"meter","red":"F1.out","black":"F1.out","volts":1})",
           {"reading /black"}},
          {R"({"type":"look")", {"syntax "}},
          {"[]", {"schema "}},
          {"3", {"schema "}},
          {"", {"syntax "}}}) {
    EXPECT_EQ(refusal_of([&, text = entry] { (void)book.prepare_entry(text); }), refusal) << entry;
    EXPECT_EQ(book.text(), before);
  }
}

TEST(JobBook, AChangeIsTakenAsAWholeOrNotAtAll) {
  auto book = begun();
  const auto change =
      book.prepare(R"({"add":[{"type":"look","component":"W7","outcome":"clean"},)"
                   R"({"type":"look","component":"W8","outcome":"clean"}],"withdraw":["e1"],)"
                   R"("set":{"complaint":"It stands still","opened_zones":["control_bay"]}})");
  EXPECT_EQ(change.added, (std::vector<std::string>{"e1", "e2"}));
  book.commit(book.prepare(
      R"({"add":[{"type":"look","component":"W7","outcome":"clean"}],"set":{"complaint":"a"}})"));
  const auto before = book.text();
  EXPECT_EQ(
      refusal_of([&] {
        (void)book.prepare(R"({"add":[{"type":"look","component":"W7","outcome":"clean"},)"
                           R"({"type":"look","component":"W7","outcome":"odd"}],"withdraw":["e9"],)"
                           R"("set":{"complaint":5,"id":"k","entries":[]},"more":1})");
      }),
      (Refusal{"schema /more", "value /set/id", "value /set/entries", "reference /withdraw/0",
               "schema /set/complaint", "schema /add/1/outcome"}));
  EXPECT_EQ(book.text(), before);
}

TEST(JobBook, WhatChangesNothingIsNoChange) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  book.commit(book.prepare_withdrawal("e1"));
  book.commit(book.prepare_members(R"({"complaint":"a"})"));
  for (const char* change :
       {"{}", R"({"withdraw":["e1","e1"]})", R"({"set":{"complaint":"a","title":null}})",
        R"({"add":[],"withdraw":[],"set":{}})"})
    EXPECT_TRUE(book.prepare(change).empty()) << change;
  EXPECT_EQ(book.withdrawn_count(), 1U);
}

TEST(JobBook, MembersAreSetAndTakenOff) {
  auto book = begun();
  book.commit(book.prepare_members(R"({"complaint":"a","x-own":[1],"instruments":["meter"]})"));
  book.commit(book.prepare_members(R"({"complaint":null})"));
  const auto document = json::parse(book.text());
  EXPECT_FALSE(document.contains("complaint"));
  EXPECT_EQ(document["x-own"], json::array({1}));
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_members(R"({"instruments":["metre"]})"); }),
            Refusal{"reference /instruments/0"});
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_members(R"({"exposure_hours":-1})"); }),
            Refusal{"value /exposure_hours"});
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_members("[]"); }), Refusal{"schema "});
}

TEST(JobBook, TheSameTwiceInAListIsRefused) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  const auto before = book.text();
  const std::string zone = json::parse(data("vehicles/mulch-tug.json"))["zones"].begin().key();
  const std::vector<std::pair<std::string, Refusal>> changes{
      {R"({"set":{"opened_zones":[")" + zone + R"(",")" + zone + R"("]}})",
       {"duplicate /set/opened_zones/1"}},
      {R"({"set":{"instruments":["meter","beeper","meter"]}})", {"duplicate /set/instruments/2"}},
      {R"({"add":[{"type":"reading","instrument":"meter","red":"K1.line","black":"BAT1.negative",
           "lifted":["W7:from","W7:from"],"volts":1}]})",
       {"duplicate /add/0/lifted/1"}},
      {R"({"set":{"instruments":["meter","meter"]},"add":[{"id":"e1","type":"look","component":"W7","outcome":"clean"}]})",
       {"duplicate /add/0/id", "duplicate /set/instruments/1"}}};
  for (const auto& [change, wanted] : changes) {
    EXPECT_EQ(refusal_of([&, text = change] { book.commit(book.prepare(text)); }), wanted)
        << change;
    EXPECT_EQ(book.text(), before);
  }
}

TEST(JobBook, AClosedJobIsOpenedBeforeAnythingIsAdded) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  book.commit(book.prepare_members(R"({"closing":{"verdict":"not_repaired","by":"word"}})"));
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_entry(look); }), Refusal{"value "});
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_withdrawal("e1"); }), Refusal{"value "});
  book.commit(book.prepare_members(R"({"complaint":"a"})"));
  book.commit(book.prepare(R"({"set":{"closing":null},"withdraw":["e1"]})"));
  book.commit(book.prepare_entry(look));
  EXPECT_EQ(book.entry_count(), 2U);
}

TEST(JobBook, ADocumentWithEverythingIsTakenUpAndGivenBack) {
  for (const char* name : {"fern-walk-spliced", "compost-yard-dead-tug", "rose-walk-no-click"}) {
    const auto text = data(std::string("jobs/") + name + ".json");
    EXPECT_EQ(json::parse(JobBook(text).text()), json::parse(text)) << name;
  }
  const auto text = data("jobs/compost-yard-dead-tug.json");
  JobBook book(text, tug());
  EXPECT_EQ(book.difference(text), "{}");
  EXPECT_EQ(book.entry_id(0), "e1");
}

TEST(JobBook, ADocumentOfItsOwnIsCheckedWithoutAModelToo) {
  const std::string head = R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"v",)";
  const std::string entry = R"({"id":"e1","type":"look","component":"W7","outcome":"clean"})";
  EXPECT_EQ(refusal_of([&] {
              JobBook book(head + R"("entries":[)" + entry + "," + entry +
                           R"(],"withdrawn":["e1","e9"]})");
            }),
            (Refusal{"duplicate /entries/1/id", "reference /withdrawn/1"}));
  EXPECT_EQ(refusal_of([&] { JobBook book(head + "\"entries\":[5]}"); }),
            Refusal{"schema /entries/0"});
  EXPECT_EQ(refusal_of([&] { (void)JobBook::begun("9", "v"); }), Refusal{"schema /id"});
}

TEST(JobBook, TheDifferenceToADocumentIsTheChangeThatMakesItSo) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  book.commit(book.prepare_members(R"({"complaint":"a","title":"t"})"));
  auto wanted = json::parse(book.text());
  wanted["entries"].push_back(
      {{"id", "x"}, {"type", "look"}, {"component", "W8"}, {"outcome", "clean"}});
  wanted["withdrawn"] = {"e1"};
  wanted["complaint"] = "b";
  wanted.erase("title");
  wanted["closing"] = {{"verdict", "not_repaired"}, {"by", "word"}};
  book.commit(book.prepare(book.difference(wanted.dump())));
  EXPECT_EQ(json::parse(book.text()), wanted);
  EXPECT_EQ(book.difference(wanted.dump()), "{}");
}

TEST(JobBook, NothingIsErasedByADocument) {
  auto book = begun();
  book.commit(book.prepare_entry(look));
  book.commit(book.prepare_entry(look));
  book.commit(book.prepare_withdrawal("e2"));
  const auto whole = json::parse(book.text());
  auto changed = whole;
  changed["entries"][0]["outcome"] = "damage";
  changed.erase("withdrawn");
  EXPECT_EQ(refusal_of([&] { (void)book.difference(changed.dump()); }),
            (Refusal{"value /entries/0", "value /withdrawn"}));
  auto shorter = whole;
  shorter["entries"].erase(1);
  EXPECT_EQ(refusal_of([&] { (void)book.difference(shorter.dump()); }),
            Refusal{"value /entries/1"});
  auto other = whole;
  other["vehicle"] = "orchid-runner";
  EXPECT_EQ(refusal_of([&] { (void)book.difference(other.dump()); }),
            Refusal{"reference /vehicle"});
}

TEST(JobBook, AFullJobIsRefusedMore) {
  auto book = JobBook::begun("j", "v");
  const std::string tries = R"({"type":"sign","part":"K1","sign":"click","tries":{"yes":1000}})";
  for (int i = 0; i < 10; ++i) book.commit(book.prepare_entry(tries));
  EXPECT_EQ(refusal_of([&] { (void)book.prepare_entry(look); }), Refusal{"limit "});
  EXPECT_EQ(book.entry_count(), 10U);
}

}  // namespace
