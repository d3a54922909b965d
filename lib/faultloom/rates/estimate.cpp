#include <faultloom/rates/estimate.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>
#include <map>

namespace faultloom::rates {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Rates as they stand at some turn.
struct State {
  std::vector<double> rate;                 ///< by line
  std::vector<std::vector<double>> shares;  ///< by line and mode
  std::vector<double> multiplier;           ///< by environment

  [[nodiscard]] double hazard(const Way& way) const {
    return rate[at(way.line)] * multiplier[at(way.environment)] * way.exposure;
  }
  /// P(failed this way) / P(good).
  [[nodiscard]] double odds(const Way& way) const {
    return shares[at(way.line)][at(way.mode)] * std::expm1(hazard(way));
  }
  [[nodiscard]] double expected(const AtRisk& risk) const {
    return rate[at(risk.line)] * shares[at(risk.line)][at(risk.mode)] *
           multiplier[at(risk.environment)] * risk.exposure;
  }
};

/// What one turn adds up.
struct Counts {
  std::vector<std::vector<double>> modes;  ///< failures by line and mode
  std::vector<double> doubt;               ///< by line: variance of its count given the cases
  std::vector<double> environments;        ///< failures by environment
  double log_gain = 0;
};

class Learner {
 public:
  Learner(const std::vector<Line>& lines, const std::vector<Surroundings>& environments,
          const std::vector<Case>& cases, const EstimateOptions& options)
      : lines_(lines), environments_(environments), cases_(cases), options_(options) {
    for (const auto& line : lines) {
      state_.rate.push_back(line.prior.mean());
      state_.shares.push_back(line.shares);
      shapes_ += line.prior.shape;
    }
    for (const auto& e : environments) state_.multiplier.push_back(e.multiplier);
    start_ = state_;
    for (std::size_t i = 0; i < lines.size(); ++i)
      if (options.pool && !lines[i].group.empty()) groups_[lines[i].group].push_back(i);
  }

  HistoryEstimate run(const Progress& progress) {
    HistoryEstimate result;
    result.settled = false;
    for (; result.turns < options_.most_turns && !result.settled; ++result.turns) {
      report(progress, std::min(0.95, result.turns / (result.turns + 20.0)));
      count();
      const auto before = state_.rate;
      maximize();
      if (options_.only_broken_seen) scale();
      double change = 0;
      for (std::size_t i = 0; i < before.size(); ++i)
        change = std::max(change, std::abs(std::log(state_.rate[i] / before[i])));
      result.settled = change <= options_.tolerance;
    }
    count();
    finish(result);
    report(progress, 1);
    return result;
  }

 private:
  /// Moments of a line's count in one case, gathered cause by cause.
  struct Moments {
    double mean_here = 0;
    double variance_here = 0;
    double mean = 0;
    double square = 0;

    void take(double probability) {
      mean += probability * mean_here;
      square += probability * (variance_here + mean_here * mean_here);
      mean_here = 0;
      variance_here = 0;
    }
  };

  void count();
  void count_case(const Case& one);
  /// How much more probable a way is by the line's own rate than at the start.
  [[nodiscard]] double own_ratio(const Way& way) const {
    return way.share * way.counted * state_.odds(way) / start_.odds(way);
  }
  /// The same of a failure, what events did included: that does not depend on the rates.
  [[nodiscard]] double ratio_of(const std::vector<Way>& failure) const {
    double ratio = 0;
    for (const auto& way : failure) ratio += own_ratio(way) + way.share * (1 - way.counted);
    return ratio;
  }
  [[nodiscard]] double exposure_of(std::size_t line) const;
  [[nodiscard]] Spread update(std::size_t line) const;
  [[nodiscard]] std::vector<PoolMember> pool_of(const std::vector<std::size_t>& members) const;
  [[nodiscard]] LawDensity law_prior(const std::vector<std::size_t>& members) const;
  void maximize();
  void scale();
  void finish(HistoryEstimate& result) const;
  /// How many vehicles worked where is not known if only broken ones are seen.
  [[nodiscard]] bool learns_environments() const {
    return options_.learn_environments && !options_.only_broken_seen;
  }
  [[nodiscard]] double failures_of(std::size_t line) const {
    double sum = 0;
    for (const double n : counts_.modes[line]) sum += n;
    return sum;
  }

  const std::vector<Line>& lines_;
  const std::vector<Surroundings>& environments_;
  const std::vector<Case>& cases_;
  const EstimateOptions& options_;
  std::map<std::string, std::vector<std::size_t>> groups_;
  State start_;
  State state_;
  Counts counts_;
  std::vector<double> exposure_;                    ///< by line, with noticing and environment
  std::vector<std::vector<double>> mode_exposure_;  ///< by line and mode, with environment
  std::vector<double> environment_expected_;        ///< by environment, at a multiplier of one
  double shapes_ = 0;
  std::vector<Moments> scratch_;  ///< by line
};

/// Adds the failures of one case, each cause by its probability under the present rates.
void Learner::count_case(const Case& one) {
  // What is common to all causes in the model: how probable it is that everything else is good.
  double log_good = 0;
  for (const auto& risk : one.at_risk) log_good -= state_.expected(risk) - start_.expected(risk);
  std::vector<double> weights;
  double whole = one.outside;
  for (const auto& cause : one.causes) {
    double weight = cause.probability * std::exp(log_good);
    for (const auto& failure : cause.failures) weight *= ratio_of(failure);
    weights.push_back(weight);
    whole += weight;
  }
  counts_.log_gain += std::log(whole);
  scratch_.assign(lines_.size(), {});
  for (std::size_t c = 0; c < weights.size(); ++c) {
    const double p = weights[c] / whole;
    for (const auto& failure : one.causes[c].failures) {
      const double all = ratio_of(failure);
      for (const auto& way : failure) {
        const double share = all > 0 ? own_ratio(way) / all : 0;
        auto& line = scratch_[at(way.line)];
        line.mean_here += share;
        line.variance_here += share * (1 - share);
        counts_.modes[at(way.line)][at(way.mode)] += p * share;
        counts_.environments[at(way.environment)] += p * share;
      }
    }
    for (const auto& failure : one.causes[c].failures)
      for (const auto& way : failure) scratch_[at(way.line)].take(p);
  }
  for (std::size_t i = 0; i < lines_.size(); ++i)
    counts_.doubt[i] += std::max(0.0, scratch_[i].square - scratch_[i].mean * scratch_[i].mean);
}

void Learner::count() {
  counts_ = {};
  for (const auto& line : lines_) counts_.modes.emplace_back(line.shares.size(), 0.0);
  counts_.doubt.assign(lines_.size(), 0);
  counts_.environments.assign(environments_.size(), 0);
  exposure_.assign(lines_.size(), 0);
  environment_expected_.assign(environments_.size(), 0);
  mode_exposure_.clear();
  for (const auto& line : lines_) mode_exposure_.emplace_back(line.shares.size(), 0.0);
  for (const auto& one : cases_) {
    if (!one.causes.empty()) count_case(one);
    double expected = 0;
    for (const auto& risk : one.at_risk) expected += state_.expected(risk);
    // Given that a vehicle broke, what broke is as probable as its share of all the failures expected. That is
    // the likelihood of 1 / expected such vehicles, of which one broke.
    const double seen = options_.only_broken_seen && expected > 0 ? expected : 1;
    for (const auto& risk : one.at_risk) {
      const double exposure = risk.exposure / seen;
      mode_exposure_[at(risk.line)][at(risk.mode)] +=
          exposure * state_.multiplier[at(risk.environment)];
      environment_expected_[at(risk.environment)] +=
          state_.expected(risk) / seen / state_.multiplier[at(risk.environment)];
    }
  }
  for (std::size_t i = 0; i < lines_.size(); ++i) exposure_[i] = exposure_of(i);
}

double Learner::exposure_of(std::size_t line) const {
  double sum = 0;
  for (std::size_t m = 0; m < mode_exposure_[line].size(); ++m)
    sum += state_.shares[line][m] * mode_exposure_[line][m];
  return sum;
}

Spread Learner::update(std::size_t line) const {
  const auto after = lines_[line].prior.after(failures_of(line), exposure_[line]);
  return {after.mean(), after.variance()};
}

std::vector<PoolMember> Learner::pool_of(const std::vector<std::size_t>& members) const {
  std::vector<PoolMember> pool;
  pool.reserve(members.size());
  for (const auto i : members)
    pool.push_back({failures_of(i), exposure_[i] * lines_[i].prior.mean(), lines_[i].prior.shape});
  return pool;
}

LawDensity Learner::law_prior(const std::vector<std::size_t>& members) const {
  // A common factor is known about as well as all the failures behind the members tell.
  double shapes = 0;
  for (const auto i : members) shapes += lines_[i].prior.shape;
  return about_one(std::min(std::log(3.0), 1 / std::sqrt(shapes)), options_.log_dispersion_sigma);
}

void Learner::maximize() {
  for (std::size_t i = 0; i < lines_.size(); ++i)
    if (!options_.pool || lines_[i].group.empty()) state_.rate[i] = update(i).mean;
  for (const auto& [id, members] : groups_) {
    const auto group = pooled(pool_of(members), law_prior(members), Precision::quick);
    for (std::size_t k = 0; k < members.size(); ++k)
      state_.rate[members[k]] = group.members[k].mean * lines_[members[k]].prior.mean();
  }
  if (learns_environments())
    for (std::size_t e = 0; e < environments_.size(); ++e) {
      const auto& known = environments_[e];
      if (!known.learned) continue;
      const double weight = options_.environment_weight;
      state_.multiplier[e] = known.multiplier * (weight + counts_.environments[e]) /
                             (weight + environment_expected_[e] * known.multiplier);
    }
  if (!options_.learn_shares) return;
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    if (lines_[i].shares.size() < 2 || failures_of(i) <= 0) continue;
    // What failed without being noticed has to be put back before shares are taken.
    const double most = *std::max_element(mode_exposure_[i].begin(), mode_exposure_[i].end());
    std::vector<double> weights;
    weights.reserve(lines_[i].shares.size());
    double sum = 0;
    for (std::size_t m = 0; m < lines_[i].shares.size(); ++m) {
      const double hidden =
          std::max(0.0, most - mode_exposure_[i][m]) * state_.rate[i] * state_.shares[i][m];
      weights.push_back(options_.share_weight * lines_[i].shares[m] + counts_.modes[i][m] + hidden);
      sum += weights.back();
    }
    for (std::size_t m = 0; m < weights.size(); ++m) state_.shares[i][m] = weights[m] / sum;
  }
}

/// Cases seen only because something failed say nothing of a common factor on all rates: it stays where the
/// prior is most probable.
void Learner::scale() {
  double prior_rate = 0;
  for (std::size_t i = 0; i < lines_.size(); ++i)
    prior_rate += lines_[i].prior.rate * state_.rate[i];
  for (auto& rate : state_.rate) rate *= shapes_ / prior_rate;
}

void Learner::finish(HistoryEstimate& result) const {
  const double common = options_.only_broken_seen ? 1 / shapes_ : 0;
  result.common_sigma = std::sqrt(common);
  std::vector<Spread> rates(lines_.size());
  for (std::size_t i = 0; i < lines_.size(); ++i) rates[i] = update(i);
  for (const auto& [id, members] : groups_) {
    const auto pool = pool_of(members);
    const auto group = pooled(pool, law_prior(members));
    GroupEstimate estimate{id, group.mean, group.dispersion, false, {}};
    double failures = 0;
    double exposure = 0;
    for (std::size_t k = 0; k < members.size(); ++k) {
      const double unit = lines_[members[k]].prior.mean();
      rates[members[k]] = {group.members[k].mean * unit, group.members[k].variance * unit * unit};
      failures += pool[k].failures;
      exposure += pool[k].exposure;
    }
    if (failures > 0 && exposure > 0) {
      estimate.has_law = true;
      estimate.law = type_two_law(pool);
    }
    result.groups.push_back(std::move(estimate));
  }
  for (std::size_t i = 0; i < lines_.size(); ++i) {
    LineEstimate line;
    line.before = lines_[i].prior;
    line.failures = failures_of(i);
    line.exposure = exposure_[i];
    line.shares = state_.shares[i];
    line.mode_failures = counts_.modes[i];
    const double doubt = std::min(counts_.doubt[i], line.failures);
    line.certain = line.failures - doubt;
    if (line.failures <= 0 && line.exposure <= 0) {
      line.after = line.before;  // nothing of its own: the document's number stays
    } else {
      const double mean = state_.rate[i];
      const double relative = rates[i].variance / (rates[i].mean * rates[i].mean);
      const double shape =
          std::max(1 / relative - doubt, std::min(1 / relative, line.before.shape));
      line.after = Gamma::with_moments(mean, mean * mean * (1 / shape + common));
    }
    result.lines.push_back(std::move(line));
  }
  for (std::size_t e = 0; e < environments_.size(); ++e) {
    const double weight = options_.environment_weight;
    EnvironmentEstimate environment{environments_[e], {weight, weight}, counts_.environments[e]};
    if (environments_[e].learned && learns_environments())
      environment.factor = Gamma{weight, weight}.after(
          counts_.environments[e], environment_expected_[e] * environments_[e].multiplier);
    result.environments.push_back(environment);
  }
  std::size_t jobs = 0;
  for (const auto& one : cases_) jobs += one.causes.empty() ? 0 : 1;
  if (jobs > 0) result.log_gain = counts_.log_gain / static_cast<double>(jobs);
}

}  // namespace

HistoryEstimate estimate_rates(const std::vector<Line>& lines,
                               const std::vector<Surroundings>& environments,
                               const std::vector<Case>& cases, const EstimateOptions& options,
                               const Progress& progress) {
  for (const auto& line : lines)
    if (!(line.prior.shape > 0 && line.prior.rate > 0))
      throw Error(Code::value, "Line '" + line.id + "' has no rate to start from");
  return Learner(lines, environments, cases, options).run(progress);
}

}  // namespace faultloom::rates
