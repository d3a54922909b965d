#pragma once

#include <cstdint>
#include <faultloom/fleet/groups.hpp>
#include <faultloom/fleet/odds_table.hpp>
#include <span>
#include <vector>

namespace faultloom::fleet {

/// What an event that damages several members of a bundle at once weighs, summed over the sets of members
/// that it may have hit.
///
/// What explains something is branched on, members that show the same together; what does not is multiplied
/// in with the share of the likelihood that it leaves, as if the others were not there. Of two members that
/// show in one test, the one with the greater TestTable::dominance() counts. Keeps memory from one event to
/// the next.
class EventSum {
 public:
  /// How members fit beside other faults: by group the share of the likelihood of the leading single faults
  /// that is left with one of the group beside them, and the weight of all those.
  struct Beside {
    std::span<const double> left;
    double weight = 0;
  };

  /// Sums up. @param least  sets of less weight are not followed
  void run(const OddsTable::Event& event, const OddsTable::Odds& prior, const Groups& groups,
           const Beside& beside, double least);

  /// Weight of the event by itself, and beside another fault.
  [[nodiscard]] double itself() const noexcept { return itself_; }
  [[nodiscard]] double beside() const noexcept { return beside_; }
  /// By member of the event: the weight of the sets that hold it. For a member that no test speaks of, less
  /// what is due to the fault without the event.
  [[nodiscard]] const std::vector<double>& members() const noexcept { return members_; }

 private:
  static constexpr std::size_t most_branched = 4;
  /// What a variable can be that shows.
  struct Option {
    std::size_t variable = 0;
    std::size_t kind = 0;
    double odds = 0;  ///< at work, against everything of the variable that does not show
    double share =
        0;  ///< chance of it, given that one of its kind on the way to the present set is there
    double weight = 0;  ///< of the sets that hold it
  };
  /// Options that show the same.
  struct Kind {
    std::int32_t group = -1;
    bool excluded = false;
  };
  struct Variable {
    double unseen = 1;  ///< odds of all that does not show, good included
    double hit = 0;     ///< weight of the sets in which it shows
    double open = 1;    ///< chance that it is none of the kinds on the way to the present set
  };

  /// Returns the weight of the event with nothing that shows.
  double take_in(const OddsTable::Event& event, const OddsTable::Odds& prior, const Groups& groups);
  [[nodiscard]] std::size_t kind_of(std::int32_t group);
  void copy_values(const Groups& groups);
  void visit(double weight, std::size_t depth);
  [[nodiscard]] double odds_of(std::size_t kind) const;
  void branch(std::size_t kind, double weight, std::size_t depth);
  void settle(double weight, std::size_t depth, std::span<const double> left);
  void add_beside(double base, const Beside& beside);
  void share(const OddsTable::Event& event, const OddsTable::Odds& prior, const Groups& groups);

  std::size_t tests_ = 0;
  double least_ = 0;
  double itself_ = 0;
  double beside_ = 0;
  std::vector<Option> options_;
  std::vector<Kind> kinds_;
  std::vector<std::size_t> kind_by_group_;            ///< if that kind has the group
  std::vector<std::vector<std::size_t>> options_of_;  ///< by kind
  std::vector<std::int32_t> option_of_;               ///< by member, -1: no test speaks of it
  std::vector<std::size_t> variable_of_;              ///< by member
  std::vector<Variable> variables_;
  std::vector<double> value_;          ///< by kind and test
  std::vector<double> dominance_;      ///< by kind and test
  std::vector<std::size_t> set_;       ///< kinds on the way to the present set
  std::vector<std::size_t> excluded_;  ///< kinds that sets before it held
  /// By depth and test: the outcome's probability, and the dominance of what shows.
  std::vector<double> shown_;
  std::vector<double> rank_;
  std::vector<double> left_;  ///< by depth and kind: share of the likelihood that it leaves
  std::vector<double> soft_;  ///< by option
  std::vector<double> sums_;  ///< by variable
  std::vector<double> members_;
};

}  // namespace faultloom::fleet
