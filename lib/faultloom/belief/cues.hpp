#pragma once

#include <faultloom/rates/rates.hpp>
#include <faultloom/readings/entry.hpp>
#include <map>
#include <span>
#include <string>
#include <vector>

namespace faultloom::belief {

using vehicle::Index;

/// What the driver said. A cue never touches the circuit: it multiplies the odds of the faults of each
/// component by P(answer | this kind is the cause) / P(answer | anything else is the cause).
///
/// Cues are hearsay, and they overlap: who says that it died on a slope will also say that it died under
/// load. So the logarithms are added over the cues, shrunk by `cue_weight`, and the sum is kept within
/// `cue_limit_deciban` either way, however many cues there are. The same answer given again adds
/// nothing, and contradictory answers to one cue cancel. Nothing depends on the order of the entries.
///
/// Copies what it needs from the entries; keeps references to the vehicle and the rates.
class Cues {
 public:
  /// No cues: every factor is one.
  Cues() = default;
  /// Entries of other types, uninformative ones and cues that the rates do not know are passed over.
  /// O(components * cues).
  Cues(const vehicle::Vehicle& vehicle, const rates::Rates& rates,
       std::span<const readings::Entry> entries);

  /// By what the odds of every fault of the component are multiplied, from 10^(-limit / 10) to
  /// 10^(limit / 10). One for kinds that no cue tells apart from others.
  [[nodiscard]] double factor(Index component) const;
  /// The same for no fault and for a cause that no kind describes: one, as all is measured against it.
  [[nodiscard]] double other() const noexcept { return 1; }
  /// P(all answers) when nothing else is known, relative to "anything else is the cause";
  /// `component_priors` are probabilities by component, of independent components. O(components).
  [[nodiscard]] double marginal(std::span<const double> component_priors) const;
  /// Greatest factor of any one cause, at least one. A set of n faults has at most its n-th power.
  [[nodiscard]] double ceiling() const noexcept { return ceiling_; }
  /// The same cues less one entry, an index into the entries given to the constructor.
  [[nodiscard]] Cues without(std::size_t entry) const;
  /// Whether no cue says anything; then every factor is one.
  [[nodiscard]] bool empty() const noexcept { return factors_.empty(); }

 private:
  struct Answer {
    std::size_t entry = 0;
    std::string cue;
    bool yes = false;
  };
  void weigh();
  /// Natural logarithm of the factor of a kind.
  [[nodiscard]] double log_factor(const std::map<std::string, bool>& said,
                                  const std::string& kind) const;

  const vehicle::Vehicle* vehicle_ = nullptr;
  const rates::Rates* rates_ = nullptr;
  std::vector<Answer> answers_;
  std::vector<double> factors_;  ///< by component; empty if nothing was said
  double ceiling_ = 1;
};

}  // namespace faultloom::belief
