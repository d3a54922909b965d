#include <faultloom/documents/situation_reader.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace faultloom {
namespace {

using documents::read_situation;

std::vector<Problem> problems_of(std::string_view text) {
  const auto cart = test::small_cart();
  try {
    (void)read_situation(text, cart);
  } catch (const Error& error) {
    return error.problems();
  }
  return {};
}

TEST(Situation, NothingSaidIsTheSoundVehicleAtRest) {
  const auto cart = test::small_cart();
  for (const auto* text : {"", "{}", R"({"x-note":1})"}) {
    const auto situation = read_situation(text, cart);
    EXPECT_EQ(situation.state, cart.rest_state());
    EXPECT_TRUE(situation.modes.empty());
    EXPECT_TRUE(situation.lifted_elements.empty());
  }
}

TEST(Situation, NamesBecomeIndices) {
  const auto cart = test::small_cart();
  const auto situation = read_situation(
      R"({"state":{"key":"on"},"modes":["W2:to/corroded","BAT1/flat"],"lifted":["W4:to","W4:from"],"isolated":true})",
      cart);
  EXPECT_EQ(situation.state, (vehicle::ControlState{0, 1}));
  EXPECT_EQ(situation.modes, (std::vector<vehicle::Index>{test::mode(cart, "BAT1/flat"),
                                                          test::mode(cart, "W2:to/corroded")}));
  const std::vector<vehicle::Index> lifted{test::element(cart, "W1"), test::element(cart, "W4"),
                                           test::element(cart, "W5")};
  EXPECT_EQ(situation.lifted_elements, lifted) << "sorted, each once, the isolation's included";
}

TEST(Situation, EveryProblemAtOnceWithItsPlace) {
  const auto problems = problems_of(
      R"({"state":{"keys":"on","pedal":"up"},"modes":["K1/coil_opn","K9/open","BAT1/flat","BAT1/flat"],"lifted":["W4"]})");
  ASSERT_EQ(problems.size(), 6U);
  const std::vector<Problem> expected{
      {Code::reference, "There is no control 'keys'; did you mean 'key'?", "/state/keys"},
      {Code::reference, "Control 'pedal' has no position 'up'; it has released, pressed",
       "/state/pedal"},
      {Code::reference, "K1 has no fault mode 'coil_opn'; did you mean 'coil_open'?", "/modes/0"},
      {Code::reference, "There is no part, wire, joint or pin 'K9'; did you mean 'K1'?",
       "/modes/1"},
      {Code::duplicate, "Mode 'BAT1/flat' is named twice", "/modes/3"},
      {Code::reference, "There is no wire end 'W4'; write WIRE:from or WIRE:to", "/lifted/0"}};
  for (std::size_t i = 0; i < expected.size(); ++i)
    EXPECT_EQ(problems[i], expected[i]) << problems[i].message;
}

TEST(Situation, WrongShapesAreNamed) {
  EXPECT_EQ(problems_of("[]").at(0).code, Code::schema);
  EXPECT_EQ(problems_of("{").at(0).code, Code::syntax);
  const auto problems =
      problems_of(R"({"state":["on"],"modes":"K1","lifted":[1],"isolated":"yes","mode":[]})");
  ASSERT_EQ(problems.size(), 5U);
  for (const auto& problem : problems) EXPECT_EQ(problem.code, Code::schema);
  EXPECT_EQ(problems_of(R"({"mode":[]})").at(0),
            (Problem{Code::schema, "A situation has no 'mode'; did you mean 'modes'?", "/mode"}));
  EXPECT_EQ(problems_of(R"({"modes":["K1"]})").at(0).message,
            "'K1' is no fault mode; write COMPONENT/mode");
}

TEST(Situation, IsolationMustBeKnown) {
  auto cart = test::small_cart();
  cart.isolation.lifted_elements.clear();
  EXPECT_THROW((void)read_situation(R"({"isolated":true})", cart), Error);
}

}  // namespace
}  // namespace faultloom
