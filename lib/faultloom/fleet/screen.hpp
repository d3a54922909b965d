#pragma once

#include <faultloom/belief/belief.hpp>
#include <faultloom/fleet/event_sum.hpp>
#include <faultloom/fleet/groups.hpp>
#include <faultloom/fleet/odds_table.hpp>
#include <faultloom/fleet/test_table.hpp>
#include <span>
#include <vector>

namespace faultloom::fleet {

/// What a look-up says of a job.
struct Answer {
  /// Share of the belief that rests on how several faults show together, and an estimate of what lies in
  /// larger sets, 0..1. On drawn jobs half the sum of all differences from Belief's chances is no more than
  /// that and 0.05, but for one in 300; 1 promises nothing.
  double bound = 1;
  double no_fault = 0;
  double not_in_model = 0;
  std::vector<double> modes;       ///< by mode
  std::vector<double> components;  ///< by component
};

/// Ranks the suspects of job after job about one vehicle by tables made once: what each single fault shows in
/// each test, and the odds of faults by hours.
///
/// Sums over no fault, every single fault, sets of two with one of the leading faults in them, and what events
/// did to several members of a bundle; faults that no test of the job speaks of keep their prior. Where two
/// faults show in one test, an open circuit hides what is behind it; sets of two that weigh much are solved.
/// Larger sets and two events at once are left out. One per thread; keeps references to its arguments.
class Screen {
 public:
  Screen(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
         const rates::Rates& rates);

  /// Whether the tables cover what a job holds: no repairs, one visit, nothing provoked or repeated.
  [[nodiscard]] static bool covers(const belief::Evidence& evidence);
  /// What the tables can read of a job that they do not cover: of its last visit after the last repair, the
  /// first of each reading or sign, with nothing provoked.
  [[nodiscard]] static belief::Evidence readable(const belief::Evidence& evidence);
  /// Works out the tests of some jobs ahead, which takes less time than one by one.
  /// O(faults x (states + ports)). @throws Error cancelled
  void prepare(std::span<const belief::Evidence* const> jobs, const Progress& progress = {});
  /// The answer depends on the evidence alone, and not on the order of its entries.
  /// @throws Error reference  unknown environment
  /// O(faults x entries), and of one-time work what prepare() left and one Prior for each exposure.
  [[nodiscard]] Answer rank(const belief::Evidence& evidence);

 private:
  void take_in(const belief::Evidence& evidence);
  void add_pairs();
  void add_pairs_of(std::size_t a);
  void find_likely();
  void find_partners(std::size_t a);
  void find_joint(std::size_t a);
  [[nodiscard]] double solved(std::size_t a, std::size_t b);
  void add_events();
  [[nodiscard]] double unmodelled() const;
  [[nodiscard]] double unlooked() const;
  [[nodiscard]] Answer answer() const;

  const belief::FaultSpace* space_;
  const rates::Rates* rates_;
  TestTable table_;
  OddsTable odds_table_;
  std::vector<std::int32_t>
      rule_of_;  ///< by fault: the law by which it comes and goes, -1: lasting
  std::vector<belief::BetaRule> rules_;

  // of the present job
  std::vector<const readings::Entry*> entries_;
  std::vector<std::int32_t> tests_;
  std::vector<const TestTable::Row*> rows_;
  const OddsTable::Odds* odds_ = nullptr;
  Groups groups_;
  EventSum event_;
  std::vector<double> weight_;            ///< by group: of all sets that hold one of its faults
  std::vector<double> mode_weight_;       ///< by mode: what events add to it
  double total_ = 0;                      ///< weight of all sets
  double several_ = 0;                    ///< of these, of those with several faults that show
  std::vector<bool> done_;                ///< by group: its pairs were added
  std::vector<double> partner_;           ///< by group: odds of its faults beside the leading one
  std::vector<std::size_t> likely_;       ///< groups that count as partners
  std::vector<double> likely_value_;      ///< by test and such group
  std::vector<double> likely_dominance_;  ///< by test and such group
  std::vector<double>
      joint_;  ///< by such group: P(outcomes | one of its faults and the leading one)
  std::vector<double> left_;  ///< by group, see EventSum::Beside
  double leading_ = 0;        ///< weight of the leading faults
};

}  // namespace faultloom::fleet
