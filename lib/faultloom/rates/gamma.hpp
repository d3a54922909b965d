#pragma once

#include <span>
#include <vector>

/// Conjugate arithmetic of failure counts: Gamma for rates, Beta for chances per visit, Dirichlet for the
/// shares of modes. Distributions and quantiles are those of Boost.Math. Unless stated, numbers out of
/// range throw Error(value); everything is O(1).
namespace faultloom::rates {

/// Gamma distribution of a rate. The unit of `rate` is the exposure's, that of the mean its inverse.
struct Gamma {
  double shape = 1;  ///< > 0: failures behind it, may be fractional
  double rate = 1;   ///< > 0: exposure behind it

  [[nodiscard]] double mean() const { return shape / rate; }
  [[nodiscard]] double variance() const { return shape / (rate * rate); }
  /// Value that lies above the rate with this probability. @param probability  between 0 and 1
  [[nodiscard]] double quantile(double probability) const;
  /// P(no failure in an exposure) = (rate / (rate + exposure))^shape.
  [[nodiscard]] double survival(double exposure) const;
  /// After `failures` in `exposure`, which may come to an end without one.
  [[nodiscard]] Gamma after(double failures, double exposure) const {
    return {shape + failures, rate + exposure};
  }
  /// With this mean and variance, both above 0.
  [[nodiscard]] static Gamma with_moments(double mean, double variance);
  /// Jeffreys' prior, updated: (failures + 1/2) / exposure.
  [[nodiscard]] static Gamma jeffreys(double failures, double exposure) {
    return {failures + 0.5, exposure};
  }
  /// With two quantiles, 0 < low < high; `low_probability` < `high_probability`.
  /// @throws Error value  no Gamma distribution with a shape from 1e-3 to 1e6 has them
  [[nodiscard]] static Gamma with_quantiles(double low, double low_probability, double high,
                                            double high_probability);
};

/// Beta distribution of a chance.
struct Beta {
  double a = 0.5;  ///< > 0
  double b = 0.5;  ///< > 0

  [[nodiscard]] double mean() const { return a / (a + b); }
  [[nodiscard]] double quantile(double probability) const;
  [[nodiscard]] Beta after(double times, double tries) const {
    return {a + times, b + tries - times};
  }
  /// With this mean and variance.
  [[nodiscard]] static Beta with_moments(double mean, double variance);
};

/// Dirichlet distribution of shares; the marginal of each is a Beta.
struct Dirichlet {
  std::vector<double> weights;  ///< each > 0, or 0 for a share that is none

  [[nodiscard]] double total() const;
  [[nodiscard]] double mean(std::size_t i) const { return weights[i] / total(); }
  [[nodiscard]] Beta marginal(std::size_t i) const { return {weights[i], total() - weights[i]}; }
  [[nodiscard]] Dirichlet after(std::span<const double> counts) const;
};

}  // namespace faultloom::rates
