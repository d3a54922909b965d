#pragma once

#include <faultloom/vehicle/vehicle.hpp>
#include <limits>

namespace faultloom::belief {

/// A repair made during the job. It cuts the job into epochs: entries before the first repair are of
/// epoch 0, those after the n-th one of epoch n.
struct Repair {
  vehicle::Index component = vehicle::none;
  int epoch = 1;  ///< first epoch after it

  friend auto operator<=>(const Repair&, const Repair&) = default;  // NOLINT
};

/// Epochs in which a fault is there, if it is there at all.
struct Lifetime {
  int from = 0;
  int until = std::numeric_limits<int>::max();  ///< the first one without it

  [[nodiscard]] bool covers(int epoch) const { return from <= epoch && epoch < until; }
  /// Not mended by any repair.
  [[nodiscard]] bool lasting() const { return until == std::numeric_limits<int>::max(); }
  friend auto operator<=>(const Lifetime&, const Lifetime&) = default;  // NOLINT
};

}  // namespace faultloom::belief
