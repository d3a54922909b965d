#pragma once

#include <faultloom/vehicle/vehicle.hpp>
#include <vector>

namespace faultloom::belief {

/// Nodes and weights for the mean of a function over a Beta distribution (Gauss-Jacobi quadrature): exact
/// for polynomials of degree below twice the number of nodes. Weights sum to one.
struct BetaRule {
  std::vector<double> nodes;
  std::vector<double> weights;
};

/// The rule with 24 nodes, enough for 47 tries. `a` and `b` must be above zero.
[[nodiscard]] BetaRule beta_rule(const vehicle::Beta& beta);

}  // namespace faultloom::belief
