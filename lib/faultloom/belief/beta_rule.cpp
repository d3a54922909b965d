#include <boost/math/special_functions/jacobi.hpp>
#include <cmath>
#include <faultloom/belief/beta_rule.hpp>
#include <numbers>

namespace faultloom::belief {
namespace {

constexpr unsigned points = 24;

}  // namespace

BetaRule beta_rule(const vehicle::Beta& beta) {
  const double alpha = beta.b - 1;
  const double other = beta.a - 1;
  BetaRule rule;
  // Zeros of the Jacobi polynomial by Newton's method, those found divided out.
  std::vector<double> zeros;
  double sum = 0;
  for (unsigned i = 0; i < points; ++i) {
    double x = -std::cos(std::numbers::pi * (i + 0.75) / (points + 0.5));
    for (int step = 0; step < 100; ++step) {
      const double value = boost::math::jacobi(points, alpha, other, x);
      const double slope = boost::math::jacobi_prime(points, alpha, other, x);
      double deflated = slope / value;
      for (const double zero : zeros) deflated -= 1 / (x - zero);
      const double move = 1 / deflated;
      x -= move;
      if (std::abs(move) < 1e-15) break;
    }
    zeros.push_back(x);
    const double slope = boost::math::jacobi_prime(points, alpha, other, x);
    rule.nodes.push_back((1 + x) / 2);
    rule.weights.push_back(1 / ((1 - x * x) * slope * slope));
    sum += rule.weights.back();
  }
  for (auto& weight : rule.weights) weight /= sum;
  return rule;
}

}  // namespace faultloom::belief
