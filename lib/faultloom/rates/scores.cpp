#include <faultloom/rates/scores.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <map>
#include <numbers>

namespace faultloom::rates {
namespace {

constexpr double least_probability = 1e-12;

double safe_log(double p) { return std::log(std::max(p, least_probability)); }

double loss_of(const Claim& claim) {
  return -safe_log(claim.happened ? claim.probability : 1 - claim.probability);
}

double entropy_of(double p) { return -p * safe_log(p) - (1 - p) * safe_log(1 - p); }

Estimate estimate(std::span<const double> values) {
  Estimate result;
  const auto n = static_cast<double>(values.size());
  if (values.empty()) return result;
  for (const double v : values) result.mean += v / n;
  if (values.size() < 2) return result;
  double square = 0;
  for (const double v : values) square += (v - result.mean) * (v - result.mean);
  result.standard_error = std::sqrt(square / (n - 1) / n);
  return result;
}

/// Cuts claims in ascending order into bins of about equal numbers.
std::vector<std::span<const Claim>> cut(std::span<const Claim> sorted, std::size_t bins) {
  std::vector<std::span<const Claim>> result;
  std::size_t from = 0;
  for (std::size_t b = 0; b < bins && from < sorted.size(); ++b) {
    std::size_t to = std::max(from + 1, sorted.size() * (b + 1) / bins);
    while (to < sorted.size() && sorted[to].probability == sorted[to - 1].probability) ++to;
    result.push_back(sorted.subspan(from, to - from));
    from = to;
  }
  return result;
}

void score_bins(std::span<const Claim> sorted, std::size_t bins, Scores& scores) {
  const auto n = static_cast<double>(sorted.size());
  double happened = 0;
  for (const auto& claim : sorted) happened += claim.happened ? 1 / n : 0;
  scores.uncertainty = happened * (1 - happened);
  for (const auto& group : cut(sorted, bins)) {
    const auto size = static_cast<double>(group.size());
    ReliabilityBin bin;
    bin.low = group.front().probability;
    bin.high = group.back().probability;
    bin.claims = group.size();
    double variance = 0;
    for (const auto& claim : group) {
      bin.mean_probability += claim.probability / size;
      bin.share_happened += claim.happened ? 1 / size : 0;
      variance += claim.probability * (1 - claim.probability) / size;
    }
    const double off = bin.mean_probability - bin.share_happened;
    const double apart = bin.share_happened - happened;
    scores.reliability += size / n * off * off;
    scores.resolution += size / n * apart * apart;
    scores.calibration_error += size / n * std::abs(off);
    scores.noise_floor += size / n * std::sqrt(2 * variance / (std::numbers::pi * size));
    scores.bins.push_back(bin);
  }
}

}  // namespace

Scores score(std::span<const Claim> claims, std::size_t bins) {
  if (claims.empty() || bins == 0)
    throw Error(Code::value, "Scoring needs a claim and a bin at least");
  std::map<std::size_t, std::pair<double, double>> by_job;  // loss, entropy
  Scores scores;
  scores.claims = claims.size();
  for (const auto& claim : claims) {
    if (!(claim.probability >= 0 && claim.probability <= 1))
      throw Error(Code::value, "A claim's probability must be from 0 to 1");
    auto& [loss, entropy] = by_job[claim.job];
    loss += loss_of(claim);
    entropy += entropy_of(claim.probability);
    const double off = claim.probability - (claim.happened ? 1 : 0);
    scores.brier += off * off / static_cast<double>(claims.size());
  }
  std::vector<double> losses;
  std::vector<double> entropies;
  std::vector<double> differences;
  for (const auto& [job, both] : by_job) {
    losses.push_back(both.first);
    entropies.push_back(both.second);
    differences.push_back(both.first - both.second);
  }
  scores.jobs = by_job.size();
  scores.log_loss = estimate(losses);
  scores.entropy = estimate(entropies);
  scores.excess = estimate(differences);
  std::vector<Claim> sorted(claims.begin(), claims.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const Claim& a, const Claim& b) { return a.probability < b.probability; });
  score_bins(sorted, bins, scores);
  return scores;
}

std::vector<double> job_losses(std::span<const Claim> claims) {
  std::map<std::size_t, double> by_job;
  for (const auto& claim : claims) by_job[claim.job] += loss_of(claim);
  std::vector<double> losses;
  losses.reserve(by_job.size());
  for (const auto& [job, loss] : by_job) losses.push_back(loss);
  return losses;
}

Estimate paired_difference(std::span<const double> first, std::span<const double> second) {
  if (first.size() != second.size())
    throw Error(Code::value, "Only equally many numbers can be compared in pairs");
  std::vector<double> differences;
  differences.reserve(first.size());
  for (std::size_t i = 0; i < first.size(); ++i) differences.push_back(first[i] - second[i]);
  return estimate(differences);
}

}  // namespace faultloom::rates
