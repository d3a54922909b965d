#pragma once

#include "unit/belief/bench.hpp"

#include <string>
#include <string_view>
#include <vector>

/// A technician's visit to a shipped vehicle with a known fault: readings are what that vehicle shows.
namespace faultloom::test {

struct Case {
  std::string vehicle;
  std::vector<std::string> truth;  ///< modes
};

class Visit {
 public:
  explicit Visit(const Case& about) : bench(about.vehicle), truth_(bench.modes(about.truth)) {}

  /// Wire ends in `lifted` are taken off for the reading.
  void read(std::string_view instrument, std::string_view red, const vehicle::ControlState& state,
            std::string_view black = "BAT1.negative", const std::vector<std::string>& lifted = {});
  /// Ohms with all controls at rest, the pack isolated and further wire ends taken off.
  void read_ohms(std::string_view red, std::string_view black,
                 const std::vector<std::string>& lifted);
  void notice(std::string_view part, std::string_view sign, const vehicle::ControlState& state,
              const std::vector<std::string>& lifted = {});
  /// The contactor when its coil should get its voltage. On the tug that takes the key alone; the carts
  /// want the pedal too.
  void listen_for_the_click();
  /// What the driver complained of, tried by whoever has to repair it: it does not go.
  void try_to_drive();
  void look(std::string_view component, readings::Outcome outcome);
  void ask(std::string_view cue, readings::Outcome answer);
  /// The component is repaired, or the setting put right; what was entered before was before.
  void repair(std::string_view component);
  /// A glance at every control: none was left where it should not be.
  void check_settings();
  [[nodiscard]] const readings::Entry& last() const { return entries_.back(); }

  /// Everything so far.
  void think();
  [[nodiscard]] double of(std::string_view component) const;
  [[nodiscard]] double of_mode(const std::string& mode) const;
  /// P(at least one failed); a wire's name stands for it and both its terminations.
  [[nodiscard]] double any(const std::vector<std::string>& names) const;
  /// Component with the greatest probability.
  [[nodiscard]] std::string leader() const;
  /// Mode with the greatest probability.
  [[nodiscard]] std::string leading_mode() const;
  /// Entries and leading modes, for a failure's message.
  [[nodiscard]] std::string shown() const;

  Bench bench;
  belief::Posterior posterior;
  /// Sets of faults that think() may look at.
  std::size_t most_sets = belief::SearchOptions{}.most_sets;

 private:
  [[nodiscard]] std::vector<Index> elements_of(const std::vector<std::string>& wire_ends) const;
  void add(readings::Entry entry);

  std::vector<Index> truth_;
  std::vector<readings::Entry> entries_;
  std::vector<belief::Repair> repairs_;
};

/// A budget of sets with which a handful of readings must do: less than what is shipped, and quick.
inline constexpr std::size_t few_sets = 500;

/// Expects that the modes, which no reading made so far tells apart, are together more probable than not,
/// that the first of them is more probable than any mode outside, and that the leading candidate is one
/// of them alone.
void expect_leads(const Visit& visit, const std::vector<std::string>& group);

/// Names of the vehicle's modes with this `per_visit`, sorted.
[[nodiscard]] std::vector<std::string> modes_left_by(const Bench& bench,
                                                     std::string_view per_visit);

}  // namespace faultloom::test
