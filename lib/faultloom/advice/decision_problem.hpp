#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace faultloom::advice {

/// What there is to decide, without a vehicle: ways the truth could be, tests that tell them apart and
/// repairs that end the job, each with its price.
///
/// The truth is one hypothesis. A test has an outcome of known probability under each; made again it
/// would only repeat itself. A repair is an attempt with a trial run: if everything is mended the job
/// ends, else it goes on with what is left. Zones are paid for once. The aim is the least expected cost
/// until the job ends.
struct DecisionProblem {
  static constexpr std::int32_t none = -1;

  /// A repair that helps, and the hypothesis that is left when it took.
  struct Cure {
    std::int32_t repair = none;
    std::int32_t next = none;  ///< none: everything is mended
  };

  struct Hypothesis {
    double weight = 0;        ///< need not be normalized; zero for what only a repair can leave
    bool runs = false;        ///< nothing is wrong: any trial run ends the job
    std::vector<Cure> cures;  ///< at least one; followed in this order they lead to the end
    /// Chance that a trial run passes although this is the truth, if that is more than `missed`: it comes
    /// and goes.
    double passes{};
  };

  struct Test {
    double cost_usd = 0;              ///< zones and changes of setup aside
    std::vector<std::int32_t> zones;  ///< to be open
    std::int32_t setup = none;        ///< to be arranged; none: any will do
    std::size_t outcomes = 0;
    std::vector<std::int32_t> codes;  ///< by hypothesis: row that it predicts
    std::vector<double> rows;         ///< probability of each outcome, `outcomes` per row

    [[nodiscard]] double probability(std::size_t hypothesis, std::size_t outcome) const {
      return rows[static_cast<std::size_t>(codes[hypothesis]) * outcomes + outcome];
    }
  };

  struct Repair {
    double attempt_usd = 0;           ///< labour, trial run, loss on a good part
    double rest_usd = 0;              ///< owed in addition if it was the right one
    std::vector<std::int32_t> zones;  ///< to be open
    double not_taken = 0;  ///< chance that it mends nothing although it was the right one
    bool allowed = true;   ///< false: may be foreseen for later, but is no next action
  };

  std::vector<Hypothesis> hypotheses;
  std::vector<Test> tests;
  std::vector<Repair> repairs;
  std::vector<double> zone_usd;  ///< by zone: opening and closing
  std::size_t setups = 0;
  std::vector<double> change_usd;  ///< from setup to setup, row by row
  std::int32_t setup_after_repair =
      none;                 ///< in which a trial run leaves things; none: as they were
  double missed = 0;        ///< chance that a trial run passes although something is still wrong
  double comeback_usd = 0;  ///< what that costs, in all

  [[nodiscard]] double missed_under(std::int32_t hypothesis) const {
    return std::max(missed, hypotheses[static_cast<std::size_t>(hypothesis)].passes);
  }
  [[nodiscard]] double change(std::int32_t from, std::int32_t to) const {
    if (from == none || to == none || from == to) return 0;
    return change_usd[static_cast<std::size_t>(from) * setups + static_cast<std::size_t>(to)];
  }
};

/// How far a job has come.
struct DecisionState {
  std::vector<double> weights;  ///< by hypothesis, sum one
  std::vector<bool> open;       ///< by zone
  std::vector<bool> made;       ///< by test
  std::int32_t setup = DecisionProblem::none;
};

struct DecisionAction {
  enum class Type { test, repair };
  Type type = Type::test;
  std::int32_t index = 0;

  friend bool operator==(const DecisionAction&, const DecisionAction&) = default;
};

}  // namespace faultloom::advice
