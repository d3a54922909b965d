#include <faultloom/documents/schema_explainer.hpp>

#include "small_documents.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::vector<Problem> explained(const char* schema, const char* document) {
  Patterns patterns;
  return explain(json::parse(schema), json::parse(document), patterns);
}

Problem only(const char* schema, const char* document) {
  const auto problems = explained(schema, document);
  EXPECT_EQ(problems.size(), 1U) << document;
  return problems.empty() ? Problem{} : problems.front();
}

constexpr const char* wire = R"({
  "type": "object", "additionalProperties": false, "required": ["from", "length_metre"],
  "properties": {"from": {"type": "string", "pattern": "^[A-Z]"},
                 "length_metre": {"type": "number", "exclusiveMinimum": 0, "maximum": 100},
                 "gauge_awg": {"type": "integer", "minimum": -3}, "area_mm2": {"type": "number"}},
  "patternProperties": {"^x-": true},
  "anyOf": [{"required": ["gauge_awg"]}, {"required": ["area_mm2"]}]})";

constexpr const char* element = R"({
  "definitions": {
    "qty": {"oneOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string"}]},
    "resistor": {"type": "object", "additionalProperties": false, "required": ["type", "resistance_ohm"],
                 "properties": {"type": {"const": "resistor"}, "resistance_ohm": {"$ref": "#/definitions/qty"}}},
    "source": {"type": "object", "additionalProperties": false, "required": ["type", "emf_volt"],
               "properties": {"type": {"const": "source"}, "emf_volt": {"type": "number"}}}},
  "oneOf": [{"$ref": "#/definitions/resistor"}, {"$ref": "#/definitions/source"}]})";

TEST(Explain, SaysNothingAboutAGoodDocument) {
  EXPECT_TRUE(
      explained(wire, R"({"from":"A","length_metre":2,"gauge_awg":16,"x-note":[]})").empty());
}

TEST(Explain, SuggestsTheKeyThatWasMeantAndDoesNotMissItToo) {
  const auto problem = only(wire, R"({"from":"A","lenght_metre":2,"gauge_awg":16})");
  EXPECT_EQ(problem.code, Code::schema);
  EXPECT_EQ(problem.pointer, "/lenght_metre");
  EXPECT_EQ(problem.message, "Unknown key 'lenght_metre'; did you mean 'length_metre'?");
}

TEST(Explain, SaysWhichUnitIsExpected) {
  const auto problem = only(wire, R"({"from":"A","length_mm":2000,"gauge_awg":16})");
  EXPECT_EQ(problem.code, Code::value);
  EXPECT_EQ(problem.pointer, "/length_mm");
  EXPECT_EQ(problem.message,
            "Key 'length_mm' has the wrong unit; give the value as 'length_metre'");
  EXPECT_EQ(only(element, R"({"type":"resistor","resistance_kohm":4})").message,
            "Key 'resistance_kohm' has the wrong unit; give the value as 'resistance_ohm'");
  EXPECT_EQ(only(wire, R"({"from":"A","length":2,"gauge_awg":16})").code, Code::value);
}

TEST(Explain, ListsTheKnownKeysOtherwise) {
  const auto problem = only(wire, R"({"from":"A","length_metre":2,"gauge_awg":16,"colour":"red"})");
  EXPECT_EQ(problem.message,
            "Unknown key 'colour'; known keys are area_mm2, from, gauge_awg, length_metre");
}

TEST(Explain, NamesTheLimit) {
  EXPECT_EQ(only(wire, R"({"from":"A","length_metre":-1,"gauge_awg":16})").message,
            "Value -1 is out of range; it must be above 0");
  EXPECT_EQ(only(wire, R"({"from":"A","length_metre":101,"gauge_awg":16})").message,
            "Value 101 is out of range; it must be at most 100");
  EXPECT_EQ(only(wire, R"({"from":"A","length_metre":1,"gauge_awg":-4})").message,
            "Value -4 is out of range; it must be at least -3");
}

TEST(Explain, AsksForOneOfSeveralKeys) {
  EXPECT_EQ(only(wire, R"({"from":"A","length_metre":1})").message,
            "Give one of the keys 'gauge_awg', 'area_mm2'");
}

TEST(Explain, ReportsAllProblemsAtOnce) {
  const auto problems =
      explained(wire, R"({"from":7,"length_metre":-1,"gauge_awg":1.5,"colour":1})");
  EXPECT_EQ(problems.size(), 4U);
  EXPECT_EQ(small::at(problems, "/from").message, "Expected text, found 7");
  EXPECT_EQ(small::at(problems, "/gauge_awg").message, "Expected an integer, found 1.5");
}

TEST(Explain, ReportsTheFormThatWasMeant) {
  EXPECT_EQ(only(element, R"({"type":"resistor","resistance_ohm":-5})").message,
            "Value -5 is out of range; it must be above 0");
  EXPECT_EQ(only(element, R"({"type":"resistor","resistance_ohm":null})").message,
            "Expected a number or text, found null");
  EXPECT_EQ(only(element, R"({"type":"source","emf_vol":48})").message,
            "Unknown key 'emf_vol'; did you mean 'emf_volt'?");
  EXPECT_EQ(only(element, R"({"type":"source"})").message, "Key 'emf_volt' is missing");
  EXPECT_EQ(only(element, R"({"type":"lamp"})").message,
            "Expected 'resistor' or 'source', found 'lamp'");
  EXPECT_EQ(only(element, R"([])").message, "Expected an object, found a list");
}

TEST(Explain, FollowsConditions) {
  constexpr const char* schema = R"({"properties": {"type": {"enum": ["a", "b"]}},
    "if": {"properties": {"type": {"const": "a"}}, "required": ["type"]},
    "then": {"required": ["volts"]}, "else": {"required": ["ohms"]},
    "dependencies": {"volts": ["instrument"]}, "not": {"required": ["ohms", "volts"]}})";
  EXPECT_EQ(only(schema, R"({"type":"a"})").message, "Key 'volts' is missing");
  EXPECT_EQ(only(schema, R"({"type":"b"})").message, "Key 'ohms' is missing");
  EXPECT_EQ(only(schema, R"({"type":"a","volts":1})").message,
            "Key 'instrument' is missing; 'volts' needs it");
  EXPECT_EQ(only(schema, R"({"type":"a","volts":1,"ohms":1,"instrument":1})").message,
            "Keys 'ohms' and 'volts' can't be given together");
  EXPECT_EQ(explained(schema, R"({"type":"c","ohms":1})").front().message,
            "'c' is none of 'a', 'b'");
}

TEST(Explain, ChecksLists) {
  constexpr const char* schema =
      R"({"type": "array", "minItems": 2, "maxItems": 3, "uniqueItems": true,
                                     "items": {"type": "string", "minLength": 1, "maxLength": 3}})";
  EXPECT_EQ(only(schema, R"(["a"])").message, "Too few items: 1, at least 2 needed");
  EXPECT_EQ(only(schema, R"(["a","b","c","d"])").message, "Too many items: 4, the limit is 3");
  EXPECT_EQ(only(schema, R"(["a","a"])").code, Code::duplicate);
  EXPECT_EQ(only(schema, R"(["a",""])").pointer, "/1");
  EXPECT_TRUE(explained(schema, R"(["äöü","b"])").empty());
}

TEST(Explain, ShortensLongTexts) {
  const json document = std::string(39, 'a') + "\u00e9" + std::string(500, 'b');
  Patterns patterns;
  const auto problems = explain(json::parse(R"({"type":"number"})"), document, patterns);
  ASSERT_EQ(problems.size(), 1U);
  EXPECT_EQ(problems.front().message, "Expected a number, found '" + std::string(39, 'a') + "...'");
}

TEST(Explain, SaysHowNamesAreWritten) {
  constexpr const char* named = R"({
    "type": "object", "propertyNames": {"pattern": "^x-|^[A-Za-z][A-Za-z0-9_-]{0,63}$"},
    "patternProperties": {"^x-": true}, "additionalProperties": {"type": "number"}})";
  EXPECT_TRUE(explained(named, R"({"a":1,"x-b":"two"})").empty());
  const auto problem = only(named, R"({"a":1,"2/b":"two"})");
  EXPECT_EQ(problem.pointer, "/2~1b");
  EXPECT_EQ(problem.message,
            "Name '2/b' does not have the form a letter and up to 63 letters, digits, - or _ or "
            "x-... for extensions");
  EXPECT_EQ(only(named, R"({"a":"one"})").pointer, "/a");
  EXPECT_EQ(
      only(R"({"type": "object", "propertyNames": {"maxLength": 2}})", R"({"abc":1})").message,
      "Text of 3 characters is too long; the limit is 2");
}

}  // namespace
}  // namespace faultloom::documents
