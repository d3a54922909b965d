#pragma once

#include <faultloom/advice/decision_problem.hpp>
#include <functional>
#include <random>
#include <vector>

/// Random decision problems, their exact optimum and simpler ways to choose. Shares nothing with the
/// library but the description of a problem.
namespace faultloom::advice::oracle {

/// How a random problem is made: tests that split at random, a chain that tests cut in two, three
/// outcomes a test, control positions that cost something to change.
enum class Family { random, chain, three_outcomes, setups };

/// One repair for each hypothesis, zones of which some are shared. `error` is drawn between the limits for
/// each test; zero gives tests that never err.
struct Shape {
  Family family = Family::random;
  std::size_t hypotheses = 12;
  std::size_t tests = 16;
  std::size_t zones = 3;
  double least_error = 0;
  double most_error = 0;
};

DecisionProblem random_problem(const Shape& shape, std::mt19937& random);

/// Least expected cost of a problem whose tests never err, by dynamic programming over the subsets of
/// hypotheses, open zones and setups. Each hypothesis must have a repair of its own.
double optimum_without_errors(const DecisionProblem& problem);

/// Least expected cost with tests that may err and give the same answer when repeated: over the outcome
/// of each test so far, the hypotheses not yet repaired, and open zones. For few tests.
double optimum_with_errors(const DecisionProblem& problem);

using Chooser = std::function<DecisionAction(const DecisionState&)>;

/// Exact expected cost of always doing what `chooser` says, by walking its tree.
double expected_cost(const DecisionProblem& problem, const Chooser& chooser);

/// Repairs by probability over cost, zones as blocks, without a test.
Chooser repairs_only(const DecisionProblem& problem);
/// The test with the most information for the money until `sure` of one hypothesis or no test tells
/// anything; then repairs.
Chooser information_for_money(const DecisionProblem& problem, double sure);
/// The test that saves most, if repairs followed it without another test; else the first repair.
Chooser one_step_value(const DecisionProblem& problem);

}  // namespace faultloom::advice::oracle
