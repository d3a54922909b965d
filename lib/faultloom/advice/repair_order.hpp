#pragma once

#include <faultloom/advice/prices.hpp>
#include <faultloom/belief/posterior.hpp>
#include <faultloom/circuit/solver.hpp>
#include <faultloom/rates/rates.hpp>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace faultloom::advice {

using vehicle::Index;

/// One way the truth could be: a set of components to repair. `live` says which electrical
/// candidate predicts its readings; several hypotheses share one when no reading tells them apart.
struct Hypothesis {
  double weight = 0;  ///< probability among the live ones
  std::int32_t live = 0;
  std::vector<Index> components;  ///< what to repair; empty: nothing is broken
  std::vector<Index> modes;

  /// What comes and goes is at work under this one, or keeps quiet.
  struct Swing {
    std::int32_t lively = 0;      ///< candidate with everything at work
    std::int32_t quiet = 0;       ///< candidate without what comes and goes
    double shows = 1;             ///< P(at work in the next try)
    std::vector<double> wiggled;  ///< by zone: P(at work while things are wiggled there)
    double caught = 1;  ///< P(at work in one at least of Predictions::catching_tries tries)
  };
  std::optional<Swing> swing{};  ///< none if nothing comes and goes
};

/// The candidates worth planning for, split into hypotheses.
struct LiveSet {
  std::vector<belief::Candidate> candidates;
  std::vector<Hypothesis> hypotheses;  ///< weights sum to one
  double covered = 0;  ///< posterior probability they stand for, "not in the model" aside
};

struct LiveOptions {
  double coverage = 0.9995;
  std::size_t most_candidates = 64;
  std::size_t most_hypotheses = 160;
  /// A variant, with what comes and goes at work or not, of less than this share is left out.
  double least_variant = 1e-3;
};

/// `solver` tells which faults stop the vehicle: of several in which only some do, only those have to be
/// repaired before the job is done.
[[nodiscard]] LiveSet live_set(const belief::FaultSpace& space, circuit::Solver& solver,
                               const belief::Posterior& posterior, const LiveOptions& options = {});

/// What one repair costs in money [USD]: labour and verification, part, and the zone if it is closed.
class RepairCosts {
 public:
  RepairCosts(const vehicle::Vehicle& vehicle, const Prices& prices, rates::RepairRisk risk = {})
      : vehicle_(&vehicle), prices_(prices), risk_(std::move(risk)) {}

  /// Labour, verification and what is lost if the part was good.
  [[nodiscard]] double attempt(Index component) const;
  /// What the part costs beyond that, owed when it was really bad; may be below zero.
  [[nodiscard]] double part_rest(Index component) const;
  /// Chance that a repair mends nothing although the component was the faulty one.
  [[nodiscard]] double not_taken(Index component) const;
  /// Opening and closing a zone.
  [[nodiscard]] double zone(Index zone) const;
  [[nodiscard]] const Prices& prices() const noexcept { return prices_; }
  [[nodiscard]] const vehicle::Vehicle& vehicle() const noexcept { return *vehicle_; }
  /// Cost of repairing exactly what is broken under a hypothesis, from the zones that are open.
  [[nodiscard]] double fix(const Hypothesis& hypothesis, const std::vector<bool>& open_zones) const;

 private:
  [[nodiscard]] double loss(Index component) const;

  const vehicle::Vehicle* vehicle_;
  Prices prices_;
  rates::RepairRisk risk_;
};

/// Repairs in the order of probability over cost, zones taken as blocks whose opening is paid once
/// (Kadane and Simon 1977; Ottosen and Jensen 2010 for cost clusters that need not be closed to test).
struct RepairOrder {
  std::vector<Index> components;  ///< what to repair first, second ...
  double expected_usd = 0;        ///< until everything broken is repaired, verifying after each
};

/// `weights[h]` for each hypothesis, need not be normalised; the expectation is per unit of weight.
/// O(n log n) per zone for n components.
[[nodiscard]] RepairOrder repair_order(std::span<const Hypothesis> hypotheses,
                                       std::span<const double> weights, const RepairCosts& costs,
                                       const std::vector<bool>& open_zones);

}  // namespace faultloom::advice
