#pragma once

#include <cstdint>
#include <faultloom/belief/belief.hpp>
#include <map>
#include <span>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace faultloom::fleet {

/// What is thought of each fault before any electrical reading, by running hours and environment.
///
/// A Prior takes as long to make as many jobs may take in all, so there is one for each of a row of hours, and
/// what lies between two of them is interpolated: chances are nearly linear in the hours.
/// The answer depends on the question alone. One per thread; keeps references to its arguments.
class OddsTable {
 public:
  OddsTable(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
            const rates::Rates& rates);

  OddsTable(const OddsTable&) = delete;
  OddsTable& operator=(const OddsTable&) = delete;
  OddsTable(OddsTable&&) = default;
  OddsTable& operator=(OddsTable&&) = default;
  ~OddsTable() = default;

  /// Modes that a fault stands for, shares summing to one. A view of the table's own memory.
  using Modes = std::span<const belief::Prior::ModeShare>;
  /// A fault that an event makes much likelier.
  struct Member {
    std::int32_t fault = -1;
    std::int32_t variable = -1;
    double odds = 0;  ///< against its variable being good, given the event
    Modes modes;      ///< what it stands for then
  };
  /// An event in a bundle.
  struct Event {
    std::int32_t bundle = -1;
    double weight = 0;  ///< P(it, and all members good) over P(no event, and all members good)
    std::vector<Member> members;
  };
  /// The odds of one exposure, and what the entries say of single components.
  struct Odds {
    std::vector<double> fault;  ///< by fault, without an event, against its variable being good
    std::vector<Event> events;
    /// Weights of single faults in the marginals of the entries; the rest is the sound vehicle.
    std::vector<std::pair<std::int32_t, double>> typical;
    double sound = 1;     ///< P(no event and nothing wrong) before looks and cues
    double unlooked = 1;  ///< P(looks) in general over P(looks | all good)
  };
  /// Valid until the next call. @throws Error reference  unknown environment
  /// O(faults); with a new exposure also one or two Priors.
  [[nodiscard]] const Odds& find(const belief::Evidence& evidence);

  /// What a fault stands for without an event.
  [[nodiscard]] Modes modes_of(std::int32_t fault) const {
    return of(modes_[static_cast<std::size_t>(fault)]);
  }

 private:
  struct Node {
    Odds odds;
    std::vector<double> modes;  ///< prior of each mode by its rate alone
  };
  const Node& node(const std::string& environment, double hours);
  void fill(const belief::Prior& prior, Odds& odds) const;
  [[nodiscard]] double little_harm(const belief::Prior& prior, std::int32_t fault) const;
  void add_events(const belief::Prior& prior, Odds& odds) const;
  void add_looks_and_cues(const belief::Evidence& evidence, const Node& low, Odds& out) const;

  const belief::FaultSpace* space_;
  double repeat_correlation_;
  const rates::Rates* rates_;
  std::map<std::pair<std::string, double>, Node> nodes_;
  /// A part of `shares_`.
  struct Part {
    std::size_t first = 0;
    std::size_t count = 0;
  };
  [[nodiscard]] Modes of(const Part& part) const {
    return {shares_.data() + part.first, part.count};
  }
  [[nodiscard]] std::vector<belief::Prior::ModeShare> modes_of(const belief::Prior& prior,
                                                               std::int32_t fault) const;
  [[nodiscard]] Part kept(const std::vector<belief::Prior::ModeShare>& modes);
  std::vector<belief::Prior::ModeShare> shares_;  ///< of all faults, one after another
  std::vector<Part> modes_;                       ///< by fault
  /// By bundle, event and fault: those that an event makes likelier.
  std::map<std::tuple<std::int32_t, std::size_t, std::int32_t>, Part> event_modes_;
  Odds present_;
};

}  // namespace faultloom::fleet
