#include <faultloom/report/spice_deck.hpp>

#include <faultloom/base/error.hpp>

#include "unit/readers/small_cart.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace faultloom::reports {
namespace {

/// One statement of a deck: a resistor or a source.
struct Statement {
  std::string name;
  std::string a;
  std::string b;
  double value = 0;
};

/// What a simulator would read: the title is no statement, lines that start with * are comments.
std::vector<Statement> statements_of(const std::string& deck) {
  std::vector<Statement> statements;
  std::istringstream lines(deck);
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) {
    if (line.empty() || line[0] == '*' || line[0] == '.') continue;
    std::istringstream words(line);
    Statement s;
    std::string value;
    words >> s.name >> s.a >> s.b >> value;
    if (value == "dc") words >> value;
    EXPECT_FALSE(value.empty()) << line;
    s.value = std::strtod(value.c_str(), nullptr);
    EXPECT_TRUE(words.eof() || (words >> value).fail()) << line;
    statements.push_back(s);
  }
  return statements;
}

std::size_t count_of(const std::vector<Statement>& statements, const std::string& prefix) {
  return static_cast<std::size_t>(
      std::count_if(statements.begin(), statements.end(),
                    [&](const Statement& s) { return s.name.starts_with(prefix); }));
}

const Statement& find(const std::vector<Statement>& statements, const std::string& name) {
  return *std::find_if(statements.begin(), statements.end(),
                       [&](const Statement& s) { return s.name == name; });
}

class Deck : public testing::Test {
 protected:
  vehicle::Vehicle cart = test::small_cart();
  circuit::Circuit circuit{cart};
  circuit::Solver solver{circuit};
};

TEST_F(Deck, HasEveryConductingElementAndEveryLeakage) {
  const auto running = statements_of(spice_deck(solver, cart.run_state));
  EXPECT_EQ(count_of(running, "rleak_"), cart.terminals.size() - 1);
  // All but the coil's diode conduct when the cart runs.
  EXPECT_EQ(count_of(running, "r_"), cart.elements.size() - 1);
  EXPECT_EQ(count_of(running, "v_"), 1U);
  const auto resting = statements_of(spice_deck(solver, cart.rest_state()));
  EXPECT_EQ(count_of(resting, "r_"), cart.elements.size() - 3);
  EXPECT_EQ(find(running, "v_bat1_emf").value, 50);
  EXPECT_EQ(find(running, "r_bat1_emf").value, 0.05);
  EXPECT_EQ(find(running, "r_w4").b, "0") << "pack negative is the datum";
}

TEST_F(Deck, SolvesToTheSolversVoltages) {
  const std::vector<Index> modes{test::mode(cart, "W2:to/corroded")};
  const auto deck = statements_of(spice_deck(solver, cart.run_state, modes));
  const auto overrides = circuit::overrides_of(circuit, modes);
  solver.begin(overrides);
  solver.enter(solver.stage(cart.run_state));
  EXPECT_DOUBLE_EQ(find(deck, "r_w2").value, 300.02);
  // Kirchhoff's law at every node of the deck with the solver's voltages.
  const auto names = complete_spice_deck(circuit).node_names;
  std::map<std::string, double> volts{{"0", 0.0}};
  for (std::size_t t = 0; t < names.size(); ++t)
    volts[names[t]] = solver.volt(static_cast<Index>(t));
  for (const auto& s : deck)
    if (s.name[0] == 'v') volts[s.a] = volts.at(s.b) + s.value;
  std::map<std::string, double> current;
  for (const auto& s : deck) {
    if (s.name[0] != 'r') continue;
    const double ampere = (volts.at(s.a) - volts.at(s.b)) / s.value;
    current[s.a] += ampere;
    current[s.b] -= ampere;
  }
  for (const auto& name : names) {
    if (name == "0") continue;
    EXPECT_NEAR(current[name], 0, 1e-9) << name;
  }
}

TEST_F(Deck, FaultsAndLiftedWiresAreLeftOutAndNamed) {
  const std::vector<Index> modes{test::mode(cart, "K1/coil_open")};
  const std::vector<Index> lifted{test::element(cart, "W1")};
  const auto text = spice_deck(solver, cart.run_state, modes, lifted);
  const auto deck = statements_of(text);
  EXPECT_EQ(count_of(deck, "r_k1_coil"), 0U);
  EXPECT_EQ(count_of(deck, "r_w1"), 0U);
  EXPECT_NE(text.find("* fault K1/coil_open\n"), std::string::npos);
  EXPECT_NE(text.find("* lifted W1\n"), std::string::npos);
  EXPECT_NE(text.find("* K1.coil doesn't conduct\n"), std::string::npos);
}

TEST_F(Deck, IsTheSameTextEachTimeAndLeavesTheSolverHealthy) {
  const std::vector<Index> modes{test::mode(cart, "BAT1/flat")};
  const auto first = spice_deck(solver, cart.run_state, modes);
  solver.enter(solver.stage(cart.run_state));
  EXPECT_GT(solver.volt(cart.terminal("BAT1.positive")), 45);
  circuit::Solver fresh(circuit);
  EXPECT_EQ(spice_deck(fresh, cart.run_state, modes), first);
  EXPECT_TRUE(first.ends_with(".op\n.end\n"));
  EXPECT_THROW((void)spice_deck(solver, {}), Error);
}

TEST_F(Deck, TitlesCannotSmuggleStatements) {
  cart.title = "Cart\n.control\nquit\n.endc \xC3\xA9";
  const auto text = spice_deck(solver, cart.rest_state());
  EXPECT_EQ(text.find("\n.control"), std::string::npos);
  EXPECT_TRUE(std::all_of(text.begin(), text.end(),
                          [](char c) { return c == '\n' || (c >= ' ' && c <= '~'); }));
}

TEST_F(Deck, CompleteDeckNamesEverythingOnce) {
  // Names that differ only in what SPICE can't tell apart.
  cart.terminals[2].name = "S1.IN";
  cart.terminals[3].name = "s1-in";
  const auto deck = complete_spice_deck(circuit);
  ASSERT_EQ(deck.resistor_names.size(), cart.elements.size());
  ASSERT_EQ(deck.source_names.size(), cart.elements.size());
  ASSERT_EQ(deck.node_names.size(), cart.terminals.size());
  EXPECT_EQ(deck.node_names[static_cast<std::size_t>(cart.datum)], "0");
  const std::set<std::string> nodes(deck.node_names.begin(), deck.node_names.end());
  EXPECT_EQ(nodes.size(), deck.node_names.size());
  const auto statements = statements_of(deck.text);
  std::set<std::string> names;
  for (const auto& s : statements) EXPECT_TRUE(names.insert(s.name).second) << s.name;
  for (std::size_t e = 0; e < cart.elements.size(); ++e) {
    const auto& resistor = find(statements, deck.resistor_names[e]);
    EXPECT_DOUBLE_EQ(resistor.value, cart.elements[e].ohm);
    EXPECT_EQ(resistor.a, deck.node_names[static_cast<std::size_t>(cart.elements[e].a)]);
    EXPECT_EQ(deck.source_names[e].empty(), cart.elements[e].emf_volt == 0);
    if (deck.source_names[e].empty()) continue;
    EXPECT_DOUBLE_EQ(find(statements, deck.source_names[e]).value, cart.elements[e].emf_volt);
  }
  EXPECT_EQ(statements.size(), cart.elements.size() + 2 + cart.terminals.size() - 1);
}

}  // namespace
}  // namespace faultloom::reports
