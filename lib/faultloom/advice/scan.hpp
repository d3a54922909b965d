#pragma once

#include <faultloom/advice/next_step.hpp>
#include <span>
#include <vector>

namespace faultloom::advice {

/// A step that could be taken and what each live candidate (or hypothesis) predicts for it.
struct Trial {
  Step step;
  /// Probability of each outcome, one row per code.
  const OutcomeTable* table = nullptr;           ///< readings
  std::vector<OutcomeTable::Distribution> rows;  ///< signs and looks
  std::vector<std::int32_t> codes;               ///< by hypothesis
  std::size_t outcomes = 0;

  [[nodiscard]] const OutcomeTable::Distribution& row(std::int32_t code) const {
    return table != nullptr ? table->distribution(code) : rows[static_cast<std::size_t>(code)];
  }
};

/// Sums over hypotheses that every criterion is made of.
struct TrialScore {
  double information_nat = 0;
  double fix_usd = 0;      ///< expected repair cost if the truth were known after the step
  double entropy_nat = 0;  ///< expected entropy left
};

/// One pass over the hypotheses.
[[nodiscard]] TrialScore score(const Trial& trial, std::span<const Hypothesis> hypotheses,
                               std::span<const double> fix_usd);

/// Weights of the hypotheses after an outcome (not normalised; their sum is the outcome's probability).
void condition(const Trial& trial, std::size_t outcome, std::span<const Hypothesis> hypotheses,
               std::vector<double>& weights);

/// Builds all trials that constraints allow and that tell live candidates apart; equal predictions at a
/// higher cost are dropped.
class TrialFactory {
 public:
  TrialFactory(belief::Belief& belief, const LiveSet& live, const RepairCosts& costs,
               const Constraints& constraints, const std::vector<bool>& open_zones);

  [[nodiscard]] std::vector<Trial> make(const Progress& progress);
  [[nodiscard]] std::size_t compared() const noexcept { return compared_; }
  [[nodiscard]] std::string label(const Trial& trial, std::size_t outcome) const;

 private:
  struct Numbers;
  void add_state(const vehicle::ControlState& state, bool isolated, std::vector<Trial>& trials);
  void add_readings(const Numbers& numbers, const vehicle::ControlState& state, bool isolated,
                    std::vector<Trial>& trials);
  void add_signs(circuit::Stage stage, const vehicle::ControlState& state,
                 std::vector<Trial>& trials);
  void add_looks(std::vector<Trial>& trials);
  template <typename PortOf>
  void offer_codes(Trial&& trial, const PortOf& port_of, std::vector<Trial>& trials);
  bool keep(Trial&& trial, std::vector<Trial>& trials);
  void price(Trial& trial) const;
  /// Makes a live candidate the solver's present one.
  void begin(std::size_t candidate);
  [[nodiscard]] bool reachable(Index terminal) const;
  [[nodiscard]] bool usable(int instrument, Index red, bool isolated) const;

  belief::Belief* belief_;
  const LiveSet* live_;
  const RepairCosts* costs_;
  const Constraints* constraints_;
  const std::vector<bool>* open_zones_;
  std::vector<OutcomeTable> tables_;
  std::vector<std::vector<std::int32_t>> by_live_;  ///< hypotheses of each live candidate
  std::vector<circuit::Overrides> overrides_;
  std::vector<std::vector<circuit::Setting>> settings_;
  std::map<std::vector<std::int32_t>, std::size_t> known_;  ///< pattern of predictions -> trial
  std::vector<std::int32_t> live_codes_;
  std::size_t compared_ = 0;
};

}  // namespace faultloom::advice
