#pragma once

#include <faultloom/rates/gamma.hpp>
#include <functional>
#include <span>
#include <vector>

/// Partial pooling: what the members of a class say about each other.
///
/// The rate of member i is Gamma distributed with shape `dispersion` * weight_i and a mean that all
/// members share. So its count of failures is negative binomial, and mean and dispersion are estimated from
/// the counts (type-II maximum likelihood), or summed over.
namespace faultloom::rates {

/// One member of a class.
struct PoolMember {
  double failures = 0;  ///< may be fractional, >= 0
  double exposure = 0;  ///< in a unit of which the common mean is the inverse, >= 0
  double weight = 1;    ///< > 0: the larger, the closer the member keeps to the common mean
};

struct PoolLaw {
  double dispersion = 1;  ///< shape of a member of weight one
  double mean = 1;        ///< common mean
  double log_likelihood = 0;
  /// False: the counts spread no more than chance alone would have them, and the shape is at its limit.
  bool spread = true;

  [[nodiscard]] double rate() const { return dispersion / mean; }
  /// What the law and its own count say of a member.
  [[nodiscard]] Gamma member(const PoolMember& of) const {
    return Gamma{dispersion * of.weight, dispersion * of.weight / mean}.after(of.failures,
                                                                              of.exposure);
  }
};

/// ln P(counts | law), by the negative binomial distribution. O(members).
[[nodiscard]] double pool_log_likelihood(std::span<const PoolMember> members, double dispersion,
                                         double mean);

/// The law under which the counts are most probable. Shapes from 0.01 to 10,000.
/// @throws Error value  no failure, or no exposure, in any member. O(members), some thousands of times.
[[nodiscard]] PoolLaw type_two_law(std::span<const PoolMember> members);

/// ln of a prior density over ln(dispersion) and ln(mean), up to a constant.
using LawDensity = std::function<double(double dispersion, double mean)>;

/// Prior of the law where a document's own rates are the unit of the mean: the mean is log-normal with an
/// expectation of one and a sigma of the log of `log_mean_sigma`; ln(dispersion) is normal about 0 with
/// `log_dispersion_sigma`.
[[nodiscard]] LawDensity about_one(double log_mean_sigma, double log_dispersion_sigma);

/// What is known of a number.
struct Spread {
  double mean = 0;
  double variance = 0;
};

struct PooledClass {
  std::vector<Spread> members;  ///< rate of each member
  Spread dispersion;
  Spread mean;  ///< common mean
};

enum class Precision {
  quick,  ///< three digits or more; 30 nodes each way
  full    ///< five digits or more; 80 nodes each way
};

/// The members' rates with the law summed over, not only at its best. Gauss-Legendre quadrature on
/// ln(dispersion) and ln(mean) about the peak. @throws Error value  no member.
/// O(members) some 3,000 times, or 10,000.
[[nodiscard]] PooledClass pooled(std::span<const PoolMember> members, const LawDensity& prior,
                                 Precision precision = Precision::full);

}  // namespace faultloom::rates
