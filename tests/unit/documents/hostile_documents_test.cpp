// Documents made to do harm: each gets a clear answer, in little time and memory. Times are not asserted; what
// takes more than linear time here would not end.
#include "small_documents.hpp"

#include <faultloom/documents/job_book.hpp>
#include <faultloom/documents/model.hpp>
#include <faultloom/documents/options.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <functional>
#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;

constexpr int many = 100000;

/// A document that is right, but for what `change` does to it.
std::string changed(std::string_view text, const std::function<void(json&)>& change) {
  auto document = json::parse(text);
  change(document);
  return document.dump();
}

std::string vehicle(const std::function<void(json&)>& change) {
  return changed(small::vehicle, change);
}

std::string kinds(const std::function<void(json&)>& change) {
  return changed(small::kinds, change);
}

constexpr std::string_view empty_job =
    R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"test-cart","entries":[]})";

std::string job(const std::function<void(json&)>& change) { return changed(empty_job, change); }

/// A job with one reading, its number in any notation.
std::string job_with_volts(const std::string& number) {
  return R"({"format":"faultloom.job","version":"1.0","id":"j","vehicle":"v","entries":[)"
         R"({"id":"e1","type":"reading","instrument":"meter","red":"A.b","black":"B.c","volts":)" +
         number + "}]}";
}

json numbered_members(int count, const json& value) {
  json object = json::object();
  for (int i = 0; i < count; ++i) object["Q" + std::to_string(i)] = value;
  return object;
}

json numbered_names(int count) {
  json list = json::array();
  for (int i = 0; i < count; ++i) list.push_back("q" + std::to_string(i));
  return list;
}

/// A pointer to the first of the first of the first ...
std::string levels(int count) {
  std::string pointer;
  for (int i = 0; i < count; ++i) pointer += "/0";
  return pointer;
}

json nested(int depth, const char* key) {
  json value = {{"operated", true}};
  for (int i = 0; i < depth; ++i) value = {{key, key == std::string("not") ? value : json{value}}};
  return value;
}

const std::string deepest = levels(63);

struct Case {
  const char* name;
  std::function<std::string()> text;
  Code code;  ///< ok: nothing is wrong with it
  const char* pointer;
};

std::vector<Case> sizes() {
  return {
      {"wires",
       [] {
         return vehicle([](json& v) { v["wires"] = numbered_members(many, v["wires"]["W2"]); });
       },
       Code::schema, "/wires"},
      {"parts",
       [] {
         return vehicle([](json& v) { v["parts"] = numbered_members(many, v["parts"]["F1"]); });
       },
       Code::schema, "/parts"},
      {"positions",
       [] {
         return vehicle([](json& v) { v["controls"]["key"]["positions"] = numbered_names(many); });
       },
       Code::schema, "/controls/key/positions"},
      {"pins",
       [] {
         return vehicle([](json& v) { v["connectors"]["X1"]["pins"] = numbered_names(many); });
       },
       Code::schema, "/connectors/X1/pins"},
      {"a mesh",
       [] {
         return vehicle([](json& v) {
           const auto wire = v["wires"]["W9"];
           for (int i = 0; i < 500; ++i) v["parts"]["Q" + std::to_string(i)] = v["parts"]["F1"];
           for (int i = 0; i < 500; ++i)
             for (int j = 1; j < 500; j *= 2) {
               auto& added = v["wires"][fmt::format("V{}x{}", i, j)] = wire;
               added["from"] = fmt::format("Q{}.in", i);
               added["to"] = fmt::format("Q{}.in", (i + 7 * j) % 500);
             }
         });
       },
       Code::limit, "/wires"},
      {"ways to stand",
       [] {
         return vehicle([](json& v) {
           for (int i = 0; i < 62; ++i)
             v["controls"]["q" + std::to_string(i)] = v["controls"]["key"];
         });
       },
       Code::limit, "/controls"},
      {"kinds",
       [] {
         return kinds([](json& k) { k["kinds"] = numbered_members(many, k["kinds"]["fuse"]); });
       },
       Code::schema, "/kinds"},
      {"kinds based on each other",
       [] {
         return kinds([](json& k) {
           for (int i = 0; i < 4000; ++i)
             k["kinds"]["q" + std::to_string(i)] = {
                 {"title", "x"}, {"based_on", "q" + std::to_string((i + 1) % 4000)}};
         });
       },
       Code::loop, "/kinds/q0/based_on"},
      {"entries",
       [] {
         return job([](json& j) {
           const json entry = {{"type", "look"}, {"component", "W1"}, {"outcome", "clean"}};
           for (int i = 0; i < many; ++i) j["entries"].push_back(entry);
         });
       },
       Code::schema, "/entries"},
      {"withdrawn", [] { return job([](json& j) { j["withdrawn"] = numbered_names(10 * many); }); },
       Code::schema, "/withdrawn"},
      {"controls in a state",
       [] {
         return job([](json& j) {
           j["entries"] = {{{"id", "e1"},
                            {"type", "sign"},
                            {"part", "K1"},
                            {"sign", "click"},
                            {"outcome", "no"},
                            {"state", numbered_members(many, "on")}}};
         });
       },
       Code::schema, "/entries/0/state"},
      {"jobs of a history",
       [] {
         json history = {{"format", "faultloom.history"}, {"version", "1.0"}, {"seen", "all"}};
         history["jobs"] = json(std::vector<json>(10 * many, json::object()));
         return history.dump();
       },
       Code::schema, "/jobs"},
      {"extensions of a job",
       [] { return job([](json& j) { j["x-a"] = numbered_members(many, 1); }); }, Code::ok, ""},
      {"an id of a megabyte",
       [] { return job([](json& j) { j["id"] = std::string(1 << 20, 'a'); }); }, Code::limit, ""},
      {"a name of a megabyte",
       [] { return job([](json& j) { j[std::string(1 << 20, 'a')] = 1; }); }, Code::limit, ""},
      {"an id of a kilobyte", [] { return job([](json& j) { j["id"] = std::string(1024, 'a'); }); },
       Code::schema, "/id"},
  };
}

std::vector<Case> forms() {
  return {
      {"overflow", [] { return job_with_volts("1e999"); }, Code::syntax, "/entries/0"},
      {"almost overflow", [] { return job_with_volts("1e308"); }, Code::value, "/entries/0/volts"},
      {"underflow", [] { return job_with_volts("1e-400"); }, Code::ok, ""},
      {"minus zero", [] { return job_with_volts("-0"); }, Code::ok, ""},
      {"not a number", [] { return job_with_volts("NaN"); }, Code::syntax, "/entries/0"},
      {"many digits", [] { return job_with_volts("0." + std::string(1 << 20, '1')); }, Code::ok,
       ""},
      {"a huge integer", [] { return job_with_volts(std::string(400, '9')); }, Code::syntax,
       "/entries/0"},
      {"a key twice", [] { return R"({"format":"faultloom.job","id":"a","id":"b"})"; },
       Code::duplicate, "/id"},
      {"not UTF-8", [] { return "{\"format\":\"faultloom.job\",\"id\":\"\xC3\x28\"}"; },
       Code::syntax, ""},
      {"half a pair", [] { return R"({"format":"faultloom.job","id":"\ud800"})"; }, Code::syntax,
       ""},
      {"NUL in an id", [] { return job([](json& j) { j["id"] = std::string("a\0b", 3); }); },
       Code::schema, "/id"},
      {"line ends in a name", [] { return job([](json& j) { j["a\nb\r"] = 1; }); }, Code::schema,
       "/a\nb\r"},
      {"depth", [] { return std::string(many, '['); }, Code::limit, deepest.c_str()},
      {"a deep extension",
       [] {
         return job([](json& j) {
           json deep = 1;
           for (int i = 0; i < 62; ++i) deep = {deep};
           j["x-deep"] = deep;
         });
       },
       Code::ok, ""},
      {"deep conditions",
       [] {
         return kinds([](json& k) {
           k["kinds"]["switch"]["elements"]["contact"]["closed_when"] = nested(50, "not");
         });
       },
       Code::ok, ""},
      {"numbers of a vehicle",
       [] { return vehicle([](json& v) { v["wires"]["W2"]["length_metre"] = 1e308; }); },
       Code::value, "/wires/W2/length_metre"},
      {"numbers of a kind",
       [] {
         return kinds(
             [](json& k) { k["kinds"]["load"]["parameters"]["winding_ohm"]["value"] = 1e300; });
       },
       Code::value, "/kinds/load/parameters/winding_ohm/value"},
  };
}

void expect_answer(const Case& one) {
  SCOPED_TRACE(one.name);
  const auto problems = check_document(one.text(), small::kinds);
  if (one.code == Code::ok) {
    EXPECT_TRUE(problems.empty()) << problems.front().message << problems.front().pointer;
    return;
  }
  ASSERT_FALSE(problems.empty());
  EXPECT_LE(problems.size(), 101U);
  EXPECT_EQ(name_of(problems.front().code), name_of(one.code)) << problems.front().message;
  EXPECT_EQ(problems.front().pointer, one.pointer) << problems.front().message;
  for (const auto& problem : problems) {
    EXPECT_LT(problem.message.size(), 5000U);
    EXPECT_EQ(problem.message.find_first_of(std::string_view("\n\r\0", 3)), std::string::npos);
  }
}

TEST(HostileDocuments, OfAnySize) {
  for (const auto& one : sizes()) expect_answer(one);
}

TEST(HostileDocuments, OfAnyForm) {
  for (const auto& one : forms()) expect_answer(one);
}

TEST(HostileDocuments, FindingsAreAHundredAtMost) {
  const auto loose = vehicle([](json& v) {
    for (int i = 0; i < 300; ++i) v["parts"]["Q" + std::to_string(i)] = {{"kind", "nothing"}};
  });
  EXPECT_EQ(check_document(loose, small::kinds).size(), 101U);
}

std::vector<Problem> refusal(const std::function<void()>& call) {
  try {
    call();
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

TEST(HostileDocuments, ManyExtensionsOfAJobThatGrows) {
  const auto text = job([](json& j) {
    j["x-a"] = numbered_members(many, 1);
    for (int i = 0; i < many; ++i) j["x-" + std::to_string(i)] = i;
  });
  JobBook book(text);
  EXPECT_EQ(json::parse(book.text()), json::parse(text));
  const json members = numbered_members(many, nullptr);
  json more = json::object();
  for (const auto& [name, value] : members.items()) more["x-" + name] = 1;
  book.commit(book.prepare_members(more.dump()));
  EXPECT_EQ(book.difference(book.text()), "{}");
  json entry = {{"type", "look"}, {"component", "W1"}, {"outcome", "clean"}};
  for (int i = 0; i < many; ++i) entry["x-" + std::to_string(i)] = i;
  EXPECT_EQ(book.prepare_entry(entry.dump()).added, std::vector<std::string>{"e1"});
}

TEST(HostileDocuments, ManyEntriesAtOnce) {
  JobBook book(empty_job);
  const json entry = {{"type", "look"}, {"component", "W1"}, {"outcome", "clean"}};
  const json added = {{"add", json(std::vector<json>(many, entry))}};
  auto problems = refusal([&] { (void)book.prepare(added.dump()); });
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().code, Code::limit);
  EXPECT_EQ(problems.front().pointer, "/add");
  problems = refusal([&] { (void)book.prepare(json{{"withdraw", numbered_names(many)}}.dump()); });
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().code, Code::limit);
  EXPECT_EQ(problems.front().pointer, "/withdraw");
}

TEST(HostileDocuments, ManyOptions) {
  for (const auto& [text, pointer] :
       {std::pair(numbered_members(many, 1).dump(), ""),
        std::pair(json{{"instruments", numbered_names(many)}}.dump(), "/instruments")}) {
    const auto problems = refusal([&, &options = text] {
      (void)read_next_options(options, small::read(), readings::InstrumentSet{});
    });
    ASSERT_EQ(problems.size(), 1U);
    EXPECT_EQ(problems.front().code, Code::limit);
    EXPECT_EQ(problems.front().pointer, pointer);
  }
  const auto problems = refusal([] { (void)read_rank_options(R"({"a\nb":1})"); });
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().message, "Unknown option 'a?b'");
}

TEST(HostileDocuments, ManyRowsOfARunList) {
  const std::string header = "wire,from,to,gauge_awg,length_metre\n";
  auto list = header;
  for (int i = 0; i < many; ++i)
    list += "W" + std::to_string(i) + ",A" + std::to_string(i) + ".x,B.y,16,1\n";
  auto problems = refusal([&] { (void)vehicle_from_run_list(list, "CART"); });
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().code, Code::limit);
  EXPECT_EQ(problems.front().message,
            "The list has more than 8193 rows; a vehicle has at most 8192 wires");
  std::string wide;
  for (int i = 0; i < many; ++i) wide += "a,";
  problems = refusal([&] { (void)vehicle_from_run_list(wide, "CART"); });
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().code, Code::limit);
  // A part with so many terminals that their names don't fit into one text.
  list = header;
  for (int i = 0; i < 1000; ++i)
    list += "W" + std::to_string(i) + ",A.x" + std::to_string(i) + ",B.y,16,1\n";
  const auto skeleton = json::parse(vehicle_from_run_list(list, "CART"));
  EXPECT_EQ(parse_text(skeleton.dump())["wires"].size(), 1000U);
  EXPECT_NE(skeleton["x-open-points"].front().get<std::string>().find(" more"), std::string::npos);
}

}  // namespace
}  // namespace faultloom::documents
