#pragma once

#include <chrono>
#include <cstdint>
#include <faultloom/advice/decision_chart.hpp>
#include <faultloom/advice/policy.hpp>
#include <span>
#include <unordered_map>
#include <vector>

namespace faultloom::advice {

/// One question to a policy: the quick estimate, and following it to the end of the job.
class Lookahead {
 public:
  Lookahead(const DecisionProblem& problem, const DecisionChart& chart,
            const PolicyOptions& options, const Progress& progress);

  [[nodiscard]] Decision choose(const DecisionState& state);

 private:
  /// A decision to take: what may still be the truth, heaviest hypotheses only.
  struct Node {
    std::vector<std::int32_t> hypotheses;  ///< ascending
    std::vector<double> weights;           ///< sum one
    std::uint64_t open = 0;
    std::int32_t setup = DecisionProblem::none;
    std::uint64_t made = 0;           ///< mark of the set of tests made
    std::vector<std::int32_t> tests;  ///< that may tell something
    /// Expected cost of what was left out for its small weight, on top of that of the rest.
    double left_out_usd = 0;
    bool now = false;  ///< the decision that was asked for, and none on the way
  };
  /// What repairs would cost with certain zones open.
  struct View {
    std::uint64_t open = 0;
    double mean_mend_usd = 0;
    std::vector<double> mend_usd;         ///< by place in the node
    std::vector<std::int32_t> repairs;    ///< best probability for the money first
    std::vector<std::int32_t> by_repair;  ///< places, in the order in which repairs reach them
  };
  struct Rated {
    DecisionAction action;
    double total_usd = 0;
    double information_nat = 0;
    double cost_usd = 0;
  };
  struct Ratings {
    std::vector<Rated> tests;    ///< least total first
    std::vector<Rated> repairs;  ///< least total first
    std::vector<std::int32_t> useful;
    double usd_per_nat = 0;
  };
  struct Branch {
    double probability = 0;
    Node node;
  };
  class OutOfBudget {};

  Node root(const DecisionState& state) const;
  [[nodiscard]] View view(const Node& node, std::uint64_t open) const;
  void put_in_order(const Node& node, View& view);
  const View& view_of(const Node& node, std::uint64_t open, std::vector<View>& views, bool ordered);
  double in_order(const Node& node, const View& view, std::span<const double> masses);
  double information_nat(const Node& node, std::int32_t test);
  Ratings rate(const Node& node, std::size_t closer_look);
  void rate_repairs(const Node& node, const View& view, Ratings& ratings);
  double closer(const Node& node, const Rated& test, double usd_per_nat, std::vector<View>& views);
  double leaf(const Node& node, double usd_per_nat);
  [[nodiscard]] double test_cost(const Node& node, std::int32_t test) const;
  [[nodiscard]] double repair_cost(const Node& node, std::int32_t repair) const;
  std::vector<Branch> after_test(const Node& node, std::int32_t test, const Ratings& ratings) const;
  /// Adds to `cost_usd` what comes on top of the attempt.
  Branch after_repair(const Node& node, std::int32_t repair, const Ratings& ratings,
                      double& cost_usd) const;
  void fill(Node& node, std::span<const std::int32_t> hypotheses, std::span<const double> masses,
            double mass, double usd_per_nat) const;
  double followed(const Node& node, double reach, std::size_t level, double usd_per_nat);
  double value(const Node& node, double reach, std::size_t level, double usd_per_nat);
  double follow(const Node& node, const Ratings& ratings, DecisionAction action, double reach,
                std::size_t level, double bound, std::int32_t then = DecisionProblem::none);
  std::vector<Rated> root_candidates(const Node& node, const Ratings& ratings) const;
  void pool(Node& node, Ratings& ratings);
  void spend();

  const DecisionProblem& problem_;
  const DecisionChart& chart_;
  const PolicyOptions& options_;
  const Progress& progress_;
  std::chrono::steady_clock::time_point started_;
  std::size_t nodes_ = 0;
  double share_done_ = 0;
  std::unordered_map<std::uint64_t, double> known_;
  std::vector<std::uint64_t> stamps_;  ///< by repair
  std::uint64_t stamp_ = 0;
  std::vector<double> probability_;  ///< by repair, zero between uses
  std::vector<std::size_t> place_;   ///< by repair
  std::vector<double> masses_;
  std::vector<double> logs_;      ///< of the node's weights, while it is rated
  std::vector<double> mass_;      ///< by row of a test, zero between uses
  std::vector<std::size_t> met_;  ///< rows of a test that have mass
};

}  // namespace faultloom::advice
