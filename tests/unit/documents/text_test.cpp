#include <faultloom/documents/text.hpp>

#include <faultloom/base/error.hpp>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <string>
#include <vector>

namespace faultloom::documents {
namespace {

std::vector<Problem> problems_of(std::string_view text) {
  try {
    static_cast<void>(parse_text(text));
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

Problem only_problem(std::string_view text) {
  const auto problems = problems_of(text);
  EXPECT_EQ(problems.size(), 1U);
  return problems.empty() ? Problem{} : problems.front();
}

TEST(ParseText, ReadsWhatItShould) {
  const auto value = parse_text(R"({"b":[1,-2,3.5,true,null,"\u00e9"],"a":{}})");
  EXPECT_EQ(value.dump(), R"({"a":{},"b":[1,-2,3.5,true,null,"é"]})");
  EXPECT_EQ(parse_text("7").get<int>(), 7);
}

TEST(ParseText, WrittenAndReadIsTheSameDocument) {
  const std::string text = R"({"numbers":[0.1,1e-7,100000000.0,48,-0.0],"text":"a/b~c \"d\""})";
  const auto once = parse_text(text);
  const auto again = parse_text(once.dump(2));
  EXPECT_EQ(once, again);
  EXPECT_EQ(once.dump(2), again.dump(2));
}

TEST(ParseText, SyntaxErrorsHaveLineAndColumn) {
  const auto problem = only_problem("{\n  \"a\": 1,\n  \"b\": }\n}");
  EXPECT_EQ(problem.code, Code::syntax);
  EXPECT_NE(problem.message.find("line 3, column 8"), std::string::npos) << problem.message;
  EXPECT_EQ(problem.message.find('\n'), std::string::npos);
  EXPECT_EQ(only_problem("").code, Code::syntax);
  EXPECT_EQ(only_problem("{} {}").code, Code::syntax);
  EXPECT_EQ(only_problem(R"({"a":1)").code, Code::syntax);
}

TEST(ParseText, RefusesNotANumber) {
  for (const char* text :
       {R"({"volt":NaN})", R"({"volt":Infinity})", R"({"volt":-Infinity})", R"({"volt":nan})"}) {
    const auto problem = only_problem(text);
    EXPECT_EQ(problem.code, Code::syntax) << text;
  }
  EXPECT_NE(only_problem(R"({"volt":NaN})").message.find("no NaN"), std::string::npos);
}

TEST(ParseText, RefusesNumbersThatOverflow) {
  EXPECT_EQ(only_problem(R"({"volt":1e999})").code, Code::syntax);
  EXPECT_EQ(only_problem(R"({"volt":-1e999})").code, Code::syntax);
  EXPECT_TRUE(problems_of(R"({"volt":1e308})").empty());
}

TEST(ParseText, MessagesStayShortAndClean) {
  EXPECT_LT(only_problem('[' + std::string(1'000'000, '9') + "e999]").message.size(), 250U);
  EXPECT_LT(only_problem('"' + std::string(1'000'000, 'a')).message.size(), 250U);
  EXPECT_EQ(only_problem("{\"a\":\"\xC3\x28\"}").message.find('\xC3'), std::string::npos);
}

TEST(ParseText, RefusesBytesThatAreNotUtf8) {
  EXPECT_EQ(only_problem("{\"a\":\"\xC3\x28\"}").code, Code::syntax);
  EXPECT_EQ(only_problem("{\"a\":\"\xED\xA0\x80\"}").code, Code::syntax);
  EXPECT_EQ(only_problem("{\"a\":\"\xF4\x90\x80\x80\"}").code, Code::syntax);
  EXPECT_EQ(only_problem(R"({"a":"\ud800"})").code, Code::syntax);
  EXPECT_EQ(only_problem(std::string("\0", 1)).code, Code::syntax);
  EXPECT_EQ(only_problem(R"({"a":"\uD83D"})").code, Code::syntax);
  EXPECT_TRUE(problems_of(R"({"a":"\uD83D\uDE00"})").empty());
}

TEST(ParseText, ReportsEveryDuplicateKey) {
  const auto problems = problems_of(
      R"({"parts":{"K1":1,"K1":2,"a/b":{"x":1,"x":2}},"parts":3,"list":[{"y":1,"y":2}]})");
  ASSERT_EQ(problems.size(), 4U);
  EXPECT_EQ(problems[0].pointer, "/parts/K1");
  EXPECT_EQ(problems[1].pointer, "/parts/a~1b/x");
  EXPECT_EQ(problems[2].pointer, "/parts");
  EXPECT_EQ(problems[3].pointer, "/list/0/y");
  for (const auto& problem : problems) EXPECT_EQ(problem.code, Code::duplicate);
}

TEST(ParseText, TenMegabytesOfBracketsAreRefusedAtOnce) {
  for (const char* bracket : {"[", "{\"a\":"}) {
    std::string text;
    while (text.size() < 10'000'000) text += bracket;
    const auto problem = only_problem(text);
    EXPECT_EQ(problem.code, Code::limit);
    EXPECT_LT(problem.message.size(), 200U);
  }
}

TEST(ParseOrdered, KeepsTheOrderOfMembers) {
  const std::string text =
      R"({"b":[1,-2,2.5,{"z":null,"a":{"y":[],"x":"\u00e9"}}],"a":{},"":true,"7":18446744073709551615})";
  EXPECT_EQ(parse_ordered(text).dump(), nlohmann::ordered_json::parse(text).dump());
  EXPECT_EQ(parse_ordered("-0.0").dump(), "-0.0");
  EXPECT_EQ(parse_ordered("[]").dump(), "[]");
  EXPECT_THROW((void)parse_ordered(R"({"a":1,"a":2})"), Error);
  EXPECT_THROW((void)parse_ordered("{"), Error);
}

TEST(ParseText, DepthLimitIsExact) {
  const auto nested = [](std::size_t depth) {
    return std::string(depth, '[') + std::string(depth, ']');
  };
  EXPECT_TRUE(problems_of(nested(max_depth)).empty());
  EXPECT_EQ(only_problem(nested(max_depth + 1)).code, Code::limit);
}

TEST(ParseText, LimitsSizeOfTextsAndDocuments) {
  EXPECT_TRUE(problems_of('"' + std::string(max_string_bytes, 'a') + '"').empty());
  EXPECT_EQ(only_problem('"' + std::string(max_string_bytes + 1, 'a') + '"').code, Code::limit);
  EXPECT_EQ(only_problem("{\"" + std::string(max_string_bytes + 1, 'a') + "\":1}").code,
            Code::limit);
  EXPECT_EQ(only_problem(std::string(max_text_bytes + 1, ' ')).code, Code::limit);
}

}  // namespace
}  // namespace faultloom::documents
