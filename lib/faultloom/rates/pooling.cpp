#include <faultloom/rates/pooling.hpp>

#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <boost/math/tools/minima.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <limits>

namespace faultloom::rates {
namespace {

constexpr double least_log_shape = -4.605170185988091;  // ln 0.01
constexpr double most_log_shape = 9.210340371976184;    // ln 10,000
constexpr int minimum_bits = 40;
constexpr int rough_bits = 12;  // enough to see where a surface ends

using Function = std::function<double(double)>;

/// Where a function is largest, and its value there.
std::pair<double, double> peak(const Function& f, double from, double to, int bits = minimum_bits) {
  const auto [x, negative] =
      boost::math::tools::brent_find_minima([&](double at) { return -f(at); }, from, to, bits);
  return {x, -negative};
}

/// Visits nodes and weights of a rule over an interval.
template <unsigned Nodes, typename Visit>
void for_nodes_of(double from, double to, const Visit& visit) {
  using Rule = boost::math::quadrature::gauss<double, Nodes>;
  const auto& nodes = Rule::abscissa();
  const auto& weights = Rule::weights();
  const double half = 0.5 * (to - from);
  const double middle = 0.5 * (to + from);
  for (std::size_t i = 0; i < nodes.size(); ++i)
    for (const double side : {-1.0, 1.0}) visit(middle + side * half * nodes[i], weights[i] * half);
}

/// How far from its peak a log-density falls by `drop`, in the direction of `step`.
double reach(const Function& f, double x, double top, double step, double drop, double limit) {
  double far = 0;
  while (std::abs(far) < limit && top - f(x + far) < drop) far += step;
  return far;
}

/// ln of the weight of ln(dispersion) and ln(mean).
struct Surface {
  std::span<const PoolMember> members;
  const LawDensity& prior;

  [[nodiscard]] double at(double log_dispersion, double log_mean) const {
    const double dispersion = std::exp(log_dispersion);
    const double mean = std::exp(log_mean);
    return pool_log_likelihood(members, dispersion, mean) + prior(dispersion, mean);
  }
};

}  // namespace

double pool_log_likelihood(std::span<const PoolMember> members, double dispersion, double mean) {
  using boost::math::lgamma;
  double sum = 0;
  for (const auto& m : members) {
    const double shape = dispersion * m.weight;
    const double expected = m.exposure * mean;
    // Gamma(shape + n) / Gamma(shape) * (rate / (rate + E))^shape * (E / (rate + E))^n / n!
    if (m.failures > 0)
      sum += lgamma(shape + m.failures) - lgamma(shape) - lgamma(m.failures + 1) +
             m.failures * (std::log(expected / shape) - std::log1p(expected / shape));
    sum -= shape * std::log1p(expected / shape);
  }
  return sum;
}

LawDensity about_one(double log_mean_sigma, double log_dispersion_sigma) {
  return [log_mean_sigma, log_dispersion_sigma](double dispersion, double mean) {
    const double m = std::log(mean) / log_mean_sigma + 0.5 * log_mean_sigma;
    const double d = std::log(dispersion) / log_dispersion_sigma;
    return -0.5 * (m * m + d * d);
  };
}

PoolLaw type_two_law(std::span<const PoolMember> members) {
  double failures = 0;
  double exposure = 0;
  for (const auto& m : members) {
    failures += m.failures;
    exposure += m.exposure;
  }
  if (!(failures > 0 && exposure > 0))
    throw Error(Code::value, "Pooling needs a failure and an exposure in one of the members");
  const double about = std::log(failures / exposure);
  const auto best_mean = [&](double log_dispersion) {
    return peak(
        [&](double log_mean) {
          return pool_log_likelihood(members, std::exp(log_dispersion), std::exp(log_mean));
        },
        about - 12, about + 12);
  };
  const auto profile = [&](double log_dispersion) { return best_mean(log_dispersion).second; };
  // Two humps are possible: start from the best of a coarse grid.
  constexpr int cells = 28;
  const double width = (most_log_shape - least_log_shape) / cells;
  int best = 0;
  double top = -std::numeric_limits<double>::infinity();
  for (int i = 0; i <= cells; ++i) {
    const double value = profile(least_log_shape + i * width);
    if (value <= top) continue;
    top = value;
    best = i;
  }
  const double from = least_log_shape + std::max(0, best - 1) * width;
  const double to = least_log_shape + std::min(cells, best + 1) * width;
  const auto [log_dispersion, value] = peak(profile, from, to);
  PoolLaw law;
  law.dispersion = std::exp(log_dispersion);
  law.mean = std::exp(best_mean(log_dispersion).first);
  law.log_likelihood = value;
  law.spread = log_dispersion < most_log_shape - 2 * width;
  return law;
}

PooledClass pooled(std::span<const PoolMember> members, const LawDensity& prior,
                   Precision precision) {
  if (members.empty()) throw Error(Code::value, "A class without members can't be pooled");
  const Surface surface{members, prior};
  double about = 0;
  for (const auto& m : members)
    about += m.exposure > 0 && m.failures > 0 ? std::log(m.failures / m.exposure) : 0;
  about /= static_cast<double>(members.size());
  // Up and down in turns to the peak; the surface has no long crooked ridges.
  double d = 0;
  double m = about;
  double top = 0;
  for (int turn = 0; turn < 8; ++turn) {
    const double before = top;
    m = peak([&](double x) { return surface.at(d, x); }, m - 8, m + 8).first;
    std::tie(d, top) =
        peak([&](double x) { return surface.at(x, m); }, least_log_shape, most_log_shape);
    if (turn > 0 && std::abs(top - before) < 1e-6) break;
  }
  // As far out as e^-18 of the peak in each direction, along the profile.
  constexpr double drop = 18;
  const auto ridge_d = [&](double x) {
    return peak([&](double y) { return surface.at(x, y); }, m - 10, m + 10, rough_bits).second;
  };
  const auto ridge_m = [&](double y) {
    return peak([&](double x) { return surface.at(x, y); }, least_log_shape, most_log_shape,
                rough_bits)
        .second;
  };
  const double d_low = d + reach(ridge_d, d, top, -0.5, drop, 12);
  const double d_high = d + reach(ridge_d, d, top, 0.5, drop, 12);
  const double m_low = m + reach(ridge_m, m, top, -0.25, drop, 14);
  const double m_high = m + reach(ridge_m, m, top, 0.25, drop, 14);

  PooledClass result;
  result.members.resize(members.size());
  double whole = 0;
  const auto add = [&](double log_dispersion, double log_mean, double area) {
    const double weight = area * std::exp(surface.at(log_dispersion, log_mean) - top);
    if (weight <= 0) return;
    PoolLaw law;
    law.dispersion = std::exp(log_dispersion);
    law.mean = std::exp(log_mean);
    whole += weight;
    const auto note = [&](Spread& spread, double mean, double square) {
      spread.mean += weight * mean;
      spread.variance += weight * square;
    };
    for (std::size_t i = 0; i < members.size(); ++i) {
      const auto gamma = law.member(members[i]);
      note(result.members[i], gamma.mean(), gamma.variance() + gamma.mean() * gamma.mean());
    }
    note(result.dispersion, law.dispersion, law.dispersion * law.dispersion);
    note(result.mean, law.mean, law.mean * law.mean);
  };
  const auto for_nodes = [&](double from, double to, const auto& visit) {
    if (precision == Precision::full) {
      for_nodes_of<80>(from, to, visit);
    } else {
      for_nodes_of<30>(from, to, visit);
    }
  };
  for_nodes(d_low, d_high, [&](double log_dispersion, double width) {
    for_nodes(m_low, m_high, [&](double log_mean, double height) {
      add(log_dispersion, log_mean, width * height);
    });
  });
  const auto finish = [&](Spread& spread) {
    spread.mean /= whole;
    spread.variance = std::max(0.0, spread.variance / whole - spread.mean * spread.mean);
  };
  for (auto& member : result.members) finish(member);
  finish(result.dispersion);
  finish(result.mean);
  return result;
}

}  // namespace faultloom::rates
