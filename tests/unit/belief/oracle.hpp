#pragma once

#include <faultloom/belief/belief.hpp>

#include <map>
#include <memory>
#include <set>
#include <vector>

/// A corner of a shipped vehicle in which only a few components can fail, and every set of faults of it
/// looked at by definition: no search, no caches, no classes.
namespace faultloom::test {

using vehicle::Index;

/// A vehicle of which only some components can fail, with everything that refers to it.
class Corner {
 public:
  struct Choice {
    bool intermittent = false;  ///< keep faults that come and go
    bool spread = false;        ///< keep log-normal resistances; otherwise their medians count
  };
  Corner(const vehicle::Vehicle& whole, readings::InstrumentSet instruments, rates::Rates rates,
         const std::set<Index>& components, Choice choice);

  [[nodiscard]] const vehicle::Vehicle& vehicle() const { return *vehicle_; }
  [[nodiscard]] const belief::FaultSpace& space() const { return *space_; }
  [[nodiscard]] const readings::InstrumentSet& instruments() const { return instruments_; }
  [[nodiscard]] const rates::Rates& rates() const { return rates_; }
  [[nodiscard]] belief::Belief belief() const { return {*space_, instruments_, rates_}; }
  /// The entry with an outcome drawn from what the faults predict, slips included.
  [[nodiscard]] readings::Entry drawn(readings::Entry entry, const std::vector<Index>& truth,
                                      double luck) const;
  /// The entry with what a flawless hand would note down.
  [[nodiscard]] readings::Entry answered(readings::Entry entry,
                                         const std::vector<Index>& truth) const;

 private:
  std::unique_ptr<vehicle::Vehicle> vehicle_;
  std::unique_ptr<circuit::Circuit> circuit_;
  std::unique_ptr<belief::FaultSpace> space_;
  readings::InstrumentSet instruments_;
  rates::Rates rates_;
};

/// What the definition says.
struct Exact {
  double log_evidence = 0;  ///< ln P(evidence and in the model)
  double no_fault = 0;      ///< shares of the evidence
  std::vector<double> modes;
  std::map<std::set<Index>, double> sets;  ///< by modes, the hidden ones of a wire left out
  std::vector<double> was_faulty;          ///< by repair: the component just before it
};

/// Sums over every set of modes of different components with at most `most_faults` of them. Looks, loom
/// events, intermittent faults (two at most in a set) and repairs included; entries must not repeat a
/// reading. All but `was_faulty` speaks of the time after the last repair.
[[nodiscard]] Exact enumerate(const Corner& corner, const belief::Evidence& evidence,
                              std::size_t most_faults = 99);

}  // namespace faultloom::test
