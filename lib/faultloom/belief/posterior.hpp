#pragma once

#include <array>
#include <faultloom/belief/predictions.hpp>
#include <faultloom/belief/prior.hpp>
#include <string>
#include <vector>

namespace faultloom::belief {

/// A candidate with its posterior probability: these faults are there, and of all others only ones that
/// neither the readings so far nor the vehicle's running depend on.
struct Weighted {
  Candidate candidate;
  double probability = 0;
};

/// A candidate with faults that come and go, and how these stand at the end of the entries.
struct Swinging {
  Candidate candidate;
  Predictions::Swing swing;
};

/// What one entry of the job says.
struct EntryReport {
  std::size_t entry = 0;  ///< index into the entries as given
  bool used = false;      ///< false for "not sure" and "can't reach"
  double misreading = 0;  ///< P(not a proper reading | everything)
  /// P(each way it may have come about | everything), by readings::Slip; zero for looks and cues.
  std::array<double, readings::slip_count> by_slip{};
  double marginal = 1;    ///< P(this outcome) before any evidence
  double predictive = 1;  ///< P(this outcome | all other entries); only if asked for
  std::vector<double>
      decibans;  ///< by component: 10 log10 of the odds with the entry over the odds without
};

/// An event that may have hit a bundle.
struct EventReport {
  std::int32_t bundle = -1;
  std::string id;  ///< key in the rates
  double probability = 0;
};

/// What is known of the resistance that a fault adds.
struct Resistance {
  std::int32_t variable = -1;
  double probability = 0;  ///< P(the variable has such a fault | everything)
  double median_ohm = 0;   ///< given that it has
  double low_ohm = 0;      ///< 5 % quantile
  double high_ohm = 0;     ///< 95 % quantile
};

/// What a repair mended.
struct RepairReport {
  Repair repair;
  double was_faulty = 0;                ///< P(the component was faulty until then | everything)
  std::vector<Prior::ModeShare> modes;  ///< P(mode until then | everything), most probable first
};

/// One mode that a fault may have been as the vehicle came in.
struct ModeAsFound {
  Index mode = none;
  double share = 0;  ///< P(the mode | the fault was there); the shares of a fault sum to one
  double by_itself =
      1;  ///< of that, the part that came about by itself and not by an event in its bundle
};

/// Posterior over sets of faults of any size and "not in the model". Probabilities are relative to what
/// was found; `bound` limits what was not. They speak of the vehicle as it is after the repairs made.
struct Posterior {
  double no_fault = 0;  ///< P(nothing is wrong, or nothing any more)
  double not_in_model = 0;
  /// P(what the search did not look at | evidence) is at most this.
  double bound = 0;
  /// What the last widening of the search by a factor of some three added, as a share of everything: an
  /// idea, not a bound, of what is still missing.
  double growth = 0;
  bool complete =
      true;  ///< false: a budget ended the search before the bound asked for was reached
  double quadrature_error = 0;  ///< estimated relative error from integrating over resistances
  /// Natural log of P(evidence and found). It ends some 700 below what the readings could say at best, as
  /// `conflict` does: no number is smaller.
  double log_evidence = 0;
  double conflict = 0;               ///< log10 of prod P(e_j) / P(e); above 0 the readings disagree
  std::size_t sets = 0;              ///< sets of faults looked at
  std::vector<double> faults;        ///< by fault
  std::vector<double> modes;         ///< by mode
  std::vector<double> components;    ///< by component
  std::vector<double> wires;         ///< by wire: conductor and both terminations together
  std::vector<Weighted> candidates;  ///< most probable first; ties by faults
  /// Of the leading candidates those with faults that come and go, by candidate.
  std::vector<Swinging> swings;
  std::vector<EventReport> events;      ///< most probable first
  std::vector<Resistance> resistances;  ///< most probable first
  std::vector<EntryReport> entries;     ///< in the order given
  std::vector<RepairReport> repairs;    ///< in the order given
  /// What was wrong as the vehicle came in, before the repairs made; without repairs the candidates.
  std::vector<Weighted> as_found;
  /// By fault, of those in `as_found`.
  std::vector<std::vector<ModeAsFound>> modes_as_found;
  /// By fault: its modes and their shares, given that it is there.
  std::vector<std::vector<Prior::ModeShare>> mode_shares;
};

}  // namespace faultloom::belief
