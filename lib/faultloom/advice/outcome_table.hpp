#pragma once

#include <array>
#include <faultloom/readings/response.hpp>
#include <string>
#include <unordered_map>
#include <vector>

namespace faultloom::advice {

/// Steps of how far good parts spread a port's voltage: as coarse as planning may be.
inline constexpr readings::SpreadSteps planning_spreads{0.1, 1.4, 15};

/// The few distinct things an instrument may be said to show, for planning: ranges of volts, brightness
/// words, and how likely each is from a given port. Ports are rounded to a fine grid so that thousands
/// of planned readings share a few hundred computed distributions.
class OutcomeTable {
 public:
  static constexpr std::size_t most_outcomes = 10;
  using Distribution = std::array<double, most_outcomes>;

  /// What comes of either with these chances: `share` for the first one.
  [[nodiscard]] static Distribution mixture(const Distribution& a, const Distribution& b,
                                            double share);

  [[nodiscard]] static double entropy_nat(const Distribution& probabilities);

  /// `nominal_volt` sets the ranges a voltmeter's reading is sorted into.
  OutcomeTable(const readings::InstrumentSet& set, int instrument, double nominal_volt);

  [[nodiscard]] std::size_t outcome_count() const noexcept { return labels_.size(); }
  /// "0 to 0.1 V", "bright" ...
  [[nodiscard]] const std::string& label(std::size_t outcome) const { return labels_[outcome]; }

  /// Code of a port; equal codes have equal distributions.
  [[nodiscard]] std::int32_t code(const readings::Thevenin& port);
  /// Probability of each outcome of a reading whose right port has this code, misreadings included
  /// (a slip to a neighbour or a wrong state counts as "anything", evenly: planning does not follow it up).
  [[nodiscard]] const Distribution& distribution(std::int32_t code) const {
    return distributions_[static_cast<std::size_t>(code)];
  }

 private:
  void make_volt_labels(double nominal_volt);
  [[nodiscard]] Distribution proper(const readings::Thevenin& port) const;

  const readings::InstrumentSet* set_;
  const readings::Instrument* instrument_;
  std::vector<double> edges_;
  std::vector<std::string> labels_;
  std::vector<readings::Outcome> words_;
  std::unordered_map<std::int64_t, std::int32_t> codes_;
  std::vector<Distribution> distributions_;
};

}  // namespace faultloom::advice
