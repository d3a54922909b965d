#include <faultloom/documents/schema.hpp>

#include "small_documents.hpp"

#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/schema_explainer.hpp>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::vector<Problem> checked(const json& document, std::string_view kind) {
  std::vector<Problem> problems;
  check_schema(document, kind, problems);
  return problems;
}

/// Every place of a document that is no leaf of a list.
void places(const json& value, const json::json_pointer& here,
            std::vector<json::json_pointer>& found) {
  found.push_back(here);
  if (value.is_object())
    for (const auto& [key, item] : value.items()) places(item, here / key, found);
  if (value.is_array() && !value.empty()) places(value.front(), here / 0, found);
}

/// Damages one place after another in every way and compares validator and explainer.
void compare(std::string_view text, const std::string& kind) {
  const auto good = json::parse(text);
  const auto schema = json::parse(embedded_document("schema/" + kind));
  ASSERT_TRUE(checked(good, kind).empty())
      << checked(good, kind).front().message << checked(good, kind).front().pointer;
  std::vector<json::json_pointer> found;
  places(good, json::json_pointer(), found);
  const std::vector<json> values{nullptr,       -1, 1e13, 0.5, true, "no such thing", json::array(),
                                 json::object()};
  std::size_t round = 0;
  std::size_t rejected = 0;
  Patterns patterns;
  for (const auto& place : found) {
    auto bad = good;
    auto& here = bad[place];
    if (round % 5 == 4 && here.is_object()) {
      here["no_such_key"] = 1;
    } else if (round % 5 == 3 && here.is_object() && !here.empty()) {
      here["2 names"] = *here.begin();
    } else if (round % 7 == 6 && here.is_object() && !here.empty()) {
      here.erase(here.begin());
    } else {
      here = values[round % values.size()];
    }
    ++round;
    const auto problems = checked(bad, kind);
    EXPECT_EQ(problems.empty(), explain(schema, bad, patterns).empty()) << place << " " << here;
    rejected += problems.empty() ? 0 : 1;
    for (const auto& problem : problems) {
      EXPECT_EQ(problem.message.find("Failed to"), std::string::npos) << problem.message;
      EXPECT_EQ(problem.message.find('\n'), std::string::npos);
      EXPECT_LT(problem.message.size(), 500U);
      EXPECT_NO_THROW(static_cast<void>(json::json_pointer(problem.pointer))) << problem.pointer;
    }
    EXPECT_LE(problems.size(), 3U) << place << " " << here;
  }
  EXPECT_GT(rejected, found.size() / 2);
}

TEST(Schema, ValidatorAndExplainerAgreeOnVehicles) { compare(small::vehicle, "vehicle"); }

TEST(Schema, ValidatorAndExplainerAgreeOnKinds) { compare(small::kinds, "kinds"); }

TEST(Schema, EveryShippedDocumentFollowsItsSchema) {
  for (const char* kind : {"kinds", "rates", "instruments", "cautions"})
    for (const auto& problem : checked(json::parse(embedded_document(kind)), kind))
      ADD_FAILURE() << kind << problem.pointer << ": " << problem.message;
}

TEST(Schema, AnUnknownKindOfDocumentIsADefect) {
  EXPECT_THROW(static_cast<void>(checked(json(), "recipe")), Error);
}

TEST(Schema, NothingIsTooOddToExplain) {
  for (const char* text :
       {"null", "[]", "7", "\"vehicle\"", "{}", "{\"format\":\"faultloom.job\"}"})
    EXPECT_FALSE(checked(json::parse(text), "vehicle").empty()) << text;
}

}  // namespace
}  // namespace faultloom::documents
