#pragma once

#include <faultloom/belief/candidates.hpp>
#include <string>
#include <vector>

namespace faultloom::belief {

/// A candidate with its posterior probability.
struct Weighted {
  Candidate candidate;
  double probability = 0;
};

/// What one entry of the job says.
struct EntryReport {
  std::size_t entry = 0;  ///< index into the entries as given
  bool used = false;      ///< false for "not sure" and "can't reach"
  double misreading = 0;  ///< P(not a proper reading | everything)
  double predictive = 1;  ///< P(this outcome | all other entries)
  double marginal = 1;    ///< P(this outcome) before any evidence
  std::vector<double>
      decibans;  ///< by component: 10 log10 of the odds with the entry over the odds without
};

/// Exact posterior over no fault, every single and every pair of fault modes and "not in the model".
/// All probabilities are conditional on the truth being among these; `bound` limits what is outside.
struct Posterior {
  double no_fault = 0;
  double not_in_model = 0;
  /// P(outside what was summed | evidence) is at most this: three or more faults, and candidates left
  /// out because they could not matter.
  double bound = 0;
  double log_evidence = 0;  ///< natural log of P(evidence and enumerated)
  double conflict = 0;      ///< log10 of prod P(e_j) / P(e); above 0 the readings disagree
  std::size_t candidates_summed = 0;
  std::vector<double> modes;         ///< by mode
  std::vector<double> components;    ///< by component
  std::vector<double> wires;         ///< by wire: conductor and both terminations together
  std::vector<Weighted> candidates;  ///< most probable first; ties by number
  std::vector<EntryReport> entries;  ///< in the order given
};

}  // namespace faultloom::belief
