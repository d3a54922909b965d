#pragma once

#include <faultloom/readings/forecast.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace faultloom::belief {

/// The electrical entries of a job in an order that does not depend on how they were given, cut into
/// groups: a reading and its repeats by the same hand.
class Observations {
 public:
  Observations(circuit::Solver& solver, const readings::InstrumentSet& instruments,
               std::span<const readings::Entry> entries);

  [[nodiscard]] readings::Forecast& forecast() const { return *forecast_; }
  [[nodiscard]] std::size_t group_count() const { return forecast_->group_count(); }
  /// Index, in the entries as given, of an entry of the forecast.
  [[nodiscard]] std::size_t given(std::size_t entry) const { return given_[entry]; }
  /// First entry of a group.
  [[nodiscard]] const readings::Entry& first(std::size_t group) const {
    return forecast_->entries()[forecast_->group(group).front()];
  }
  /// The sign that told when an entry was noticed: its group, and its place there.
  struct Companion {
    std::size_t group = 0;
    std::size_t place = 0;
    friend bool operator==(const Companion&, const Companion&) = default;
  };
  /// Null if an entry was noticed at no particular moment.
  [[nodiscard]] const Companion* companion(std::size_t entry) const {
    return companions_[entry] ? &*companions_[entry] : nullptr;
  }
  /// By member of a group.
  [[nodiscard]] std::vector<std::optional<Companion>> companions(std::size_t group) const;
  /// Whether an entry of the group was noticed at a moment that a sign told.
  [[nodiscard]] bool told_when(std::size_t group) const;
  /// Everything about a group that its predictions depend on.
  [[nodiscard]] const std::string& key(std::size_t group) const { return keys_[group]; }
  [[nodiscard]] double ceiling(std::size_t group) const { return forecast_->group_ceiling(group); }

 private:
  void find_companions();

  std::vector<std::size_t> given_;
  std::unique_ptr<readings::Forecast> forecast_;
  std::vector<std::string> keys_;
  std::vector<std::optional<Companion>> companions_;  ///< by entry
};

}  // namespace faultloom::belief
