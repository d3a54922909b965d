#pragma once

#include <faultloom/belief/cues.hpp>
#include <faultloom/belief/faults.hpp>
#include <faultloom/belief/looks.hpp>
#include <faultloom/rates/rates.hpp>
#include <span>
#include <string>
#include <vector>

namespace faultloom::belief {

/// Probability of every set of faults before any electrical evidence: rates and exposure, what looks and
/// cues say of single components, and events that damage several members of a loom or connector.
///
/// What a repair left is faulty with the chance that repairs go wrong, in the mode that its rates make
/// likeliest; what hit the looms did so before the first repair.
///
/// Given which event hit each bundle (or none), variables are independent; the event is summed over. So
/// the probability of a set is a product over free variables and, for each bundle, a mixture of products.
class Prior {
 public:
  Prior(const FaultSpace& space, const rates::Rates& rates, const rates::Exposure& exposure,
        const Looks& looks, const Cues& cues);

  /// Contexts of a variable: 1, or 1 + events that can hit its bundle. Context 0 is "no event".
  [[nodiscard]] std::size_t contexts(std::int32_t variable) const {
    return offsets_[static_cast<std::size_t>(variable)].contexts;
  }
  /// P(fault | context).
  [[nodiscard]] double of(std::int32_t fault, std::size_t context) const;
  /// P(the variable is good | context).
  [[nodiscard]] double good(std::int32_t variable, std::size_t context) const;
  /// P(fault), contexts summed over.
  [[nodiscard]] double of(std::int32_t fault) const;

  /// An event that can hit a bundle.
  struct Event {
    std::string id;     ///< key in the rates
    double weight = 0;  ///< P(this event hit the bundle | looks and cues)
  };
  /// Events of a bundle; the first has an empty id and stands for none.
  [[nodiscard]] const std::vector<Event>& events(std::int32_t bundle) const {
    return events_[static_cast<std::size_t>(bundle)];
  }
  /// Splits a fault over the modes it stands for: P(mode of the variable | fault, context), in the order
  /// of the components' modes, other modes hidden behind a graver one included.
  struct ModeShare {
    Index mode = none;
    double share = 0;
  };
  [[nodiscard]] std::vector<ModeShare> modes_given(std::int32_t fault, std::size_t context) const;

  /// Of a mode that is there in a context of its variable: P(it came about by itself | there), 1 without an
  /// event.
  [[nodiscard]] double by_itself(Index mode, std::int32_t variable, std::size_t context) const;

  /// Number of (variable, context) pairs, and the number of one of them.
  [[nodiscard]] std::size_t slot_count() const noexcept { return slots_; }
  [[nodiscard]] std::size_t slot(std::int32_t variable, std::size_t context) const {
    return offsets_[static_cast<std::size_t>(variable)].slot + context;
  }
  /// Number of (fault, context) places, and the place of one of them.
  [[nodiscard]] std::size_t place_count() const noexcept { return probability_.size(); }
  [[nodiscard]] std::size_t place(std::int32_t fault, std::size_t context) const;
  /// Number of (bundle, event) pairs, and the number of one of them.
  [[nodiscard]] std::size_t event_count() const noexcept { return event_count_; }
  [[nodiscard]] std::size_t event_slot(std::int32_t bundle, std::size_t event) const {
    return event_slots_[static_cast<std::size_t>(bundle)] + event;
  }
  /// ln P(looks and cues), cues relative to "otherwise".
  [[nodiscard]] double log_scale() const noexcept { return log_scale_; }
  [[nodiscard]] const FaultSpace& space() const noexcept { return *space_; }
  /// Prior probability of each mode by rates alone.
  [[nodiscard]] const std::vector<double>& mode_priors() const noexcept { return mode_priors_; }

 private:
  friend class Assignment;
  struct Offset {
    std::size_t contexts = 1;
    std::size_t slot = 0;  ///< number of (variable, context) pairs before
    std::size_t first =
        0;  ///< into probability_: context * (count + 1), good first, then the faults
  };
  /// Distribution of one component in one context.
  struct Single {
    double good = 1;
    std::vector<double> modes;
  };
  [[nodiscard]] Single single(Index component, std::int32_t variable, std::size_t context) const;
  void find_events(const rates::Rates& rates, const rates::Exposure& exposure);
  double fill(std::int32_t variable, std::size_t context);

  const FaultSpace* space_;
  const Looks* looks_;
  const Cues* cues_;
  std::vector<double> mode_priors_;
  rates::RepairRisk repair_;
  std::vector<Offset> offsets_;
  std::vector<double> probability_;
  std::vector<double> good_;              ///< by slot
  std::vector<std::int32_t> slot_event_;  ///< by slot: number of its (bundle, event), -1 if none
  std::size_t slots_ = 0;
  std::vector<std::vector<Event>> events_;
  std::vector<std::size_t> event_slots_;  ///< by bundle: number of events of the bundles before
  std::size_t event_count_ = 0;
  /// By bundle and event: P(the event alone puts the member into the mode), by mode.
  std::vector<std::vector<std::vector<double>>> damage_;
  double log_scale_ = 0;
};

/// What has been decided of a set of faults: some are there, some are not, the rest is open.
class Assignment {
 public:
  explicit Assignment(const Prior& prior);

  /// P(what has been decided).
  [[nodiscard]] double mass() const noexcept { return mass_; }
  /// P(fault | decided so far), for a fault not yet decided.
  [[nodiscard]] double chance(std::int32_t fault) const;
  /// Decides that a fault is there, and with it that all others of its variable are not.
  void include(std::int32_t fault);
  /// Decides that a fault is not there.
  void exclude(std::int32_t fault);
  /// P(at least, or exactly, `count` of some faults of different variables are there | decided so far).
  /// The variables lie in one bundle, or each in none.
  [[nodiscard]] double chance_of(std::span<const std::int32_t> faults, std::size_t count,
                                 bool exactly) const;
  /// Decides that so many of them are there, without saying which. Returns, by context (one if the
  /// variables lie in no bundle) and fault, P(the fault is one of them).
  std::vector<std::vector<double>> include_some(std::span<const std::int32_t> faults,
                                                std::size_t count, bool exactly);
  /// P(no fault of the variable is among those included | context k).
  [[nodiscard]] double spare(std::int32_t variable, std::size_t k) const;
  /// P(event k hit the bundle | decided so far).
  [[nodiscard]] double event(std::int32_t bundle, std::size_t k) const;
  /// P(context k of the variable | decided so far).
  [[nodiscard]] double context(std::int32_t variable, std::size_t k) const;
  /// P(what is not excluded of the variable | context k); 1 before anything was decided.
  [[nodiscard]] double open(std::int32_t variable, std::size_t k) const;
  [[nodiscard]] bool included(std::int32_t variable) const {
    return included_[static_cast<std::size_t>(variable)];
  }
  /// P(no fault but those included | decided so far). O(slots).
  [[nodiscard]] double nothing_else() const;
  /// The same for faults that no repair has mended: P(nothing but those included is wrong now).
  [[nodiscard]] double nothing_left() const;
  /// By slot: P(context and the variable is spare | decided so far) / P(what is open of it | context);
  /// times Prior::of() it is the chance of an open fault in that context. 0 where a fault of the
  /// variable is included. O(slots).
  void factors(std::vector<double>& out) const;
  /// By fault: chance() of each as if it were open, from factors(). O(places).
  void chances(std::span<const double> factors, std::vector<double>& out) const;

 private:
  const Prior* prior_;
  double mass_ = 1;
  [[nodiscard]] double chance_in(std::int32_t fault, std::size_t k) const;
  [[nodiscard]] double nothing_of(bool lasting_only) const;
  void close(std::int32_t fault);

  std::vector<double> open_;    ///< by variable and context
  std::vector<double> spare_;   ///< by variable and context
  std::vector<double> events_;  ///< by bundle and context: P(event | decided so far)
  std::vector<bool> included_;
};

}  // namespace faultloom::belief
