#pragma once

#include <cstdint>
#include <faultloom/fleet/odds_table.hpp>
#include <faultloom/fleet/test_table.hpp>
#include <span>
#include <vector>

namespace faultloom::fleet {

/// The faults of a vehicle, put into groups that show the same in every test of a job.
///
/// Weights of sets of faults are P(outcomes | set) relative to the most these can be, times odds, so that the
/// sound vehicle has the weight `sound`. Faults that no test of the job speaks of are in no group.
struct Groups {
  std::size_t tests = 0;
  std::size_t count = 0;
  std::vector<double> sound_value;  ///< by test: P(outcome | sound vehicle)
  double sound = 1;                 ///< product of these

  std::vector<std::int32_t> group_of;  ///< by fault, -1: none
  std::vector<std::int32_t> next_of;   ///< by fault: the next of its group, -1 after the last
  // by group
  std::vector<std::int32_t> first_of;  ///< its first fault
  std::vector<std::int32_t> best_of;   ///< its most probable fault
  std::vector<double> odds;
  std::vector<double> duty;        ///< mean share of the time that its faults are there
  std::vector<double> alone;       ///< P(outcomes | one of its faults, there throughout)
  std::vector<double> likelihood;  ///< P(outcomes | one of its faults)
  std::vector<double> worst;       ///< least P(outcome | one of its faults)
  // by test, then group
  std::vector<double> value;      ///< P(outcome | one of its faults)
  std::vector<double> dominance;  ///< see TestTable::dominance()

  /// Forms the groups. `tests_of` and `rows` are those of the job's entries, `rule_of` numbers the laws by
  /// which faults come and go (-1: lasting). Faults with different laws are in different groups.
  /// O(faults x tests). Leaves duty, alone, likelihood and worst to weigh().
  void form(TestTable& table, std::span<const std::int32_t> tests_of,
            std::span<const TestTable::Row* const> rows, const OddsTable::Odds& prior,
            std::span<const std::int32_t> rule_of);
  /// Fills in what a group comes to by itself. @param rule  null for lasting faults
  /// @param keeps  chance that what comes and goes stays as it is throughout a visit
  void weigh(std::size_t group, const belief::BetaRule* rule, double keeps);

 private:
  std::vector<std::uint64_t> key_;
  std::vector<std::uint64_t> marks_;
  std::vector<std::int32_t> slots_;
  std::vector<std::int32_t> last_of_;
};

}  // namespace faultloom::fleet
