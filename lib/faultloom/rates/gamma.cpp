#include <faultloom/rates/gamma.hpp>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/gamma.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <cmath>
#include <faultloom/base/error.hpp>
#include <numeric>

namespace faultloom::rates {
namespace {

void above_zero(const char* what, double value) {
  if (!(value > 0 && std::isfinite(value)))
    throw Error(Code::value, std::string(what) + " must be above 0");
}

void probability_inside(double probability) {
  if (!(probability > 0 && probability < 1))
    throw Error(Code::value, "A probability must lie between 0 and 1");
}

double unit_quantile(double shape, double probability) {
  return boost::math::quantile(boost::math::gamma_distribution<>(shape, 1), probability);
}

}  // namespace

double Gamma::quantile(double probability) const {
  above_zero("The shape", shape);
  above_zero("The rate", rate);
  probability_inside(probability);
  return unit_quantile(shape, probability) / rate;
}

double Gamma::survival(double exposure) const {
  return std::exp(-shape * std::log1p(exposure / rate));
}

Gamma Gamma::with_moments(double mean, double variance) {
  above_zero("The mean", mean);
  above_zero("The variance", variance);
  return {mean * mean / variance, mean / variance};
}

Gamma Gamma::with_quantiles(double low, double low_probability, double high,
                            double high_probability) {
  above_zero("The quantile", low);
  probability_inside(low_probability);
  probability_inside(high_probability);
  if (!(high > low && high_probability > low_probability))
    throw Error(Code::value, "The second quantile must be above the first");
  // The ratio of two quantiles falls with the shape and knows nothing of the rate.
  const double ratio = std::log(high / low);
  const auto excess = [&](double log_shape) {
    const double tried = std::exp(log_shape);
    return std::log(unit_quantile(tried, high_probability)) -
           std::log(unit_quantile(tried, low_probability)) - ratio;
  };
  double least = std::log(1e-3);
  // Below that a quantile may underflow.
  while (!std::isfinite(excess(least)) && least < 0) least += 0.5;
  const double most = std::log(1e6);
  if (!(excess(least) >= 0 && excess(most) <= 0))
    throw Error(Code::value, "No Gamma distribution has these two quantiles");
  std::uintmax_t steps = 200;
  const auto [from, to] = boost::math::tools::toms748_solve(
      excess, least, most, boost::math::tools::eps_tolerance<double>(48), steps);
  const double found = std::exp(0.5 * (from + to));
  return {found, unit_quantile(found, high_probability) / high};
}

double Beta::quantile(double probability) const {
  above_zero("The first weight", a);
  above_zero("The second weight", b);
  probability_inside(probability);
  return boost::math::quantile(boost::math::beta_distribution<>(a, b), probability);
}

Beta Beta::with_moments(double mean, double variance) {
  probability_inside(mean);
  above_zero("The variance", variance);
  const double total = mean * (1 - mean) / variance - 1;
  if (!(total > 0)) throw Error(Code::value, "No chance has that large a variance");
  return {mean * total, (1 - mean) * total};
}

double Dirichlet::total() const { return std::accumulate(weights.begin(), weights.end(), 0.0); }

Dirichlet Dirichlet::after(std::span<const double> counts) const {
  if (counts.size() != weights.size())
    throw Error(Code::value, "There must be a count for each share");
  auto result = *this;
  for (std::size_t i = 0; i < counts.size(); ++i) result.weights[i] += counts[i];
  return result;
}

}  // namespace faultloom::rates
