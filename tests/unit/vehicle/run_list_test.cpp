#include <faultloom/vehicle/run_list.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/wire_gauge.hpp>

#include <gtest/gtest.h>

#include <string>

namespace faultloom::vehicle {
namespace {

std::vector<Problem> problems_of(std::string_view csv) {
  try {
    static_cast<void>(read_run_list(csv));
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

std::string first_message(std::string_view csv) {
  const auto problems = problems_of(csv);
  return problems.empty() ? "" : problems.front().message;
}

const std::string header = "wire,from,to,gauge_awg,length_metre,loom,zone,class\n";

TEST(RunList, ReadsWires) {
  const auto wires = read_run_list("\xEF\xBB\xBF" + header +
                                   "W1,BAT1.positive,F1.in,16,0.6,L1,seat,control\r\n"
                                   "\r\n"
                                   "W2, F1.out , \"K1.line\",-3,2,,,power\n");
  ASSERT_EQ(wires.size(), 2U);
  EXPECT_EQ(wires[0].id, "W1");
  EXPECT_EQ(wires[0].from, "BAT1.positive");
  EXPECT_TRUE(wires[0].by_gauge);
  EXPECT_DOUBLE_EQ(wires[0].area_mm2, area_mm2_of_awg(16));
  EXPECT_DOUBLE_EQ(wires[0].length_metre, 0.6);
  EXPECT_EQ(wires[0].loom, "L1");
  EXPECT_FALSE(wires[0].power);
  EXPECT_EQ(wires[1].from, "F1.out");
  EXPECT_EQ(wires[1].to, "K1.line");
  EXPECT_EQ(wires[1].gauge_awg, -3);
  EXPECT_EQ(wires[1].zone, "");
  EXPECT_TRUE(wires[1].power);
}

TEST(RunList, ColumnsMayStandInAnyOrder) {
  const auto wires = read_run_list(
      "length_metre,area_mm2,gauge_awg,to,from,wire\n1,2.5,,B.b,A.a,W1\n2,,12,B.b,A.a,W2\n");
  ASSERT_EQ(wires.size(), 2U);
  EXPECT_FALSE(wires[0].by_gauge);
  EXPECT_DOUBLE_EQ(wires[0].area_mm2, 2.5);
  EXPECT_TRUE(wires[1].by_gauge);
}

TEST(RunList, ChecksTheHeader) {
  EXPECT_EQ(problems_of("").front().code, Code::schema);
  const auto problems = problems_of("wire,from,from,colour\n");
  ASSERT_EQ(problems.size(), 5U);
  EXPECT_EQ(problems[0].message, "Row 1: column 'from' is named twice");
  EXPECT_NE(problems[1].message.find("unknown column 'colour'"), std::string::npos);
  EXPECT_EQ(problems[2].message, "Row 1: column 'to' is missing");
}

TEST(RunList, ReportsEveryBadRowWithItsColumn) {
  const auto problems = problems_of(header +
                                    "W1,A.a,B.b,16,1,,,\n"
                                    "W1,A.a,B.b,16,1,,,\n"
                                    "W3,A,B.b,16,1,,,\n"
                                    "W4,A.a,B.b,16.5,-1,,,\n"
                                    "W5,A.a,A.a,16,nan,,,signal\n"
                                    "\n"
                                    "W6,A.a,B.b\n"
                                    "7,A.a,B.b,99,1e999,,9z,\n");
  ASSERT_EQ(problems.size(), 12U);
  EXPECT_EQ(problems[0].message, "Row 3, column 'wire': wire W1 is already in row 2");
  EXPECT_EQ(problems[0].code, Code::duplicate);
  EXPECT_EQ(problems[1].message, "Row 4, column 'from': 'A' is no terminal; write PART.terminal");
  EXPECT_NE(problems[2].message.find("Row 5, column 'gauge_awg': '16.5'"), std::string::npos);
  EXPECT_EQ(problems[3].message,
            "Row 5, column 'length_metre': -1 is out of range; it must be above 0");
  EXPECT_NE(problems[4].message.find("Row 6, column 'to'"), std::string::npos);
  EXPECT_EQ(problems[5].message, "Row 6, column 'length_metre': 'nan' is not a number");
  EXPECT_EQ(problems[6].message, "Row 6, column 'class': 'signal' is neither control nor power");
  EXPECT_EQ(problems[7].message, "Row 8 has 3 fields; the first row names 8");
  EXPECT_EQ(problems[7].code, Code::syntax);
  EXPECT_NE(problems[8].message.find("Row 9, column 'wire'"), std::string::npos);
}

TEST(RunList, ANameStandsForOneThing) {
  const auto problems = problems_of(header +
                                    "W1,A.a,X1-1.plug,16,1,,,\n"
                                    "W2,X1-1.socket,X1-1.spare,16,1,,,\n"
                                    "B,A.b,W1.a,16,1,,,\n"
                                    "W4,X1-1.other,B.b,16,1,,,\n");
  ASSERT_EQ(problems.size(), 3U);
  EXPECT_EQ(problems[0].message,
            "Row 3, column 'to': 'X1-1' is a part here and a connector pin in row 2; rename one of "
            "them");
  EXPECT_EQ(problems[1].message,
            "Row 4, column 'to': 'W1' is a part here and a wire in row 2; rename one of them");
  EXPECT_EQ(problems[2].message,
            "Row 5, column 'to': 'B' is a part here and a wire in row 4; rename one of them");
  for (const auto& problem : problems) EXPECT_EQ(problem.code, Code::duplicate);
}

TEST(RunList, APinIsNamedAsVehiclesNameIt) {
  EXPECT_EQ(problems_of(header + "W1,A.a,X1-1234567890abcdeF.plug,16,1,,,\n").size(), 0U);
  const auto problems = problems_of(header +
                                    "W1,A.a,X1-1234567890abcdeFg.plug,16,1,,,\n"
                                    "W2,X1-a_b.socket,A.b,16,1,,,\n");
  ASSERT_EQ(problems.size(), 2U);
  EXPECT_EQ(
      problems[0].message,
      "Row 2, column 'to': '1234567890abcdeFg' is no pin; 1 to 16 letters and digits make one");
  EXPECT_EQ(problems[1].message,
            "Row 3, column 'from': 'a_b' is no pin; 1 to 16 letters and digits make one");
}

TEST(RunList, ASizeIsGivenOnce) {
  const std::string both = "wire,from,to,gauge_awg,area_mm2,length_metre\n";
  EXPECT_NE(first_message(both + "W1,A.a,B.b,16,1.5,1\n").find("give one of them"),
            std::string::npos);
  EXPECT_NE(first_message(both + "W1,A.a,B.b,,,1\n").find("'area_mm2': '' is not a number"),
            std::string::npos);
}

TEST(RunList, RefusesWhatIsNoText) {
  EXPECT_EQ(problems_of(header + "W1,\xC3\x28.a,B.b,16,1,,,\n").front().message,
            "Row 2 holds bytes that are not UTF-8 text");
  EXPECT_EQ(problems_of(header + "W1,\"A.a,B.b,16,1,,,\n").front().code, Code::syntax);
  EXPECT_EQ(problems_of(header + "W1,A\"x.a,B.b,16,1,,,\n").front().code, Code::syntax);
  EXPECT_EQ(problems_of(header + std::string(5000, 'a') + ",A.a,B.b,16,1,,,\n").front().code,
            Code::limit);
}

TEST(RunList, RefusesControlCharactersAndLongFields) {
  EXPECT_EQ(problems_of(header + "W\x1B,A.a,B.b,16,1,,,\n").front().code, Code::syntax);
  EXPECT_EQ(problems_of(header + "\"W\n1\",A.a,B.b,16,1,,,\n").front().message,
            "Row 2, column 1: a field runs over the end of its line");
}

TEST(RunList, ListsAtMostAHundredProblems) {
  std::string csv = header;
  for (int i = 0; i < 500; ++i) csv += "W" + std::to_string(i) + ",A,B.b,16,1,,,\n";
  const auto problems = problems_of(csv);
  ASSERT_EQ(problems.size(), 101U);
  EXPECT_EQ(problems.back().message, "And 400 more problems of this list are not listed");
}

TEST(RunList, PartOfATerminal) { EXPECT_EQ(part_of("X1-3.plug"), "X1-3"); }

}  // namespace
}  // namespace faultloom::vehicle
