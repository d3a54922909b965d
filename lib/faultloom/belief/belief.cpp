#include <faultloom/belief/belief.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <faultloom/base/error.hpp>
#include <faultloom/belief/looks.hpp>
#include <faultloom/belief/marginals.hpp>
#include <limits>
#include <numeric>
#include <tuple>

namespace faultloom::belief {
namespace {

using readings::Entry;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

auto content(const Entry& e) {
  return std::tie(e.type, e.state, e.lifted_elements, e.instrument, e.red, e.black, e.element,
                  e.sign, e.component, e.outcome, e.number, e.id);
}

/// Everything about a group of entries that its column of numbers depends on.
std::string column_key(const readings::Forecast& forecast, std::size_t group) {
  std::string key;
  const auto add = [&](const auto& value) {
    std::array<char, sizeof(value)> bytes;
    std::memcpy(bytes.data(), &value, sizeof(value));
    key.append(bytes.data(), bytes.size());
  };
  for (const auto i : forecast.group(group)) {
    const auto& e = forecast.entries()[i];
    add(e.type);
    add(e.instrument);
    add(e.red);
    add(e.black);
    add(e.element);
    add(e.sign);
    add(e.outcome);
    add(e.number);
    add(e.state.size());
    for (const auto position : e.state) add(position);
    for (const auto lifted : e.lifted_elements) add(lifted);
    key += '|';
  }
  return key;
}

/// Decibans for each component: odds with the entry over odds without it. `rest` is the sum that the
/// component sums without it belong to.
void weigh(std::span<const double> with, std::span<const double> without, double rest,
           EntryReport& entry) {
  const auto odds_of = [](double p, double whole) { return p / std::max(whole - p, 1e-300); };
  entry.decibans.resize(with.size());
  for (std::size_t k = 0; k < with.size(); ++k) {
    const double after = odds_of(with[k], 1);
    const double before = odds_of(without[k], rest);
    entry.decibans[k] = after > 0 && before > 0 ? 10 * std::log10(after / before) : 0;
  }
}

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

}  // namespace

/// One computation of a posterior.
struct Belief::Work {
  const Evidence* evidence = nullptr;
  std::vector<std::size_t> electrical;  ///< entries as given, in canonical order
  std::unique_ptr<readings::Forecast> forecast;
  std::vector<Column*> columns;
  Looks looks;
  double all_good = 1;             ///< P(no component failed)
  double outside_prior = 0;        ///< P(three or more failed)
  std::vector<double> prior_odds;  ///< by mode, before looks
  std::vector<double> odds;        ///< by mode, looks included
  std::vector<double> class_odds;
  std::vector<double> group_marginals;  ///< relative to the ceilings
  std::vector<Term> terms;
  double singles_sum = 0;
  double cutoff = 0;
  std::size_t left_out = 0;
  std::vector<Candidate> list;  ///< candidates of the terms
  std::vector<double> weights;  ///< posterior weights of the terms, not normalised
  double unmodelled = 0;        ///< weight of "not in the model", same unit
  double total = 0;
  std::unique_ptr<MarginalSum> marginals;
  circuit::Overrides overrides;
};

Belief::Belief(const Candidates& candidates, const readings::InstrumentSet& instruments,
               const rates::Rates& rates)
    : candidates_(&candidates),
      instruments_(&instruments),
      rates_(&rates),
      solver_(candidates.circuit()) {}

std::vector<double> Belief::prior_odds(const rates::Exposure& exposure) const {
  const auto& vehicle = candidates_->circuit().vehicle();
  auto odds = rates::mode_priors(vehicle, *rates_, exposure);
  const auto failed = rates::component_priors(vehicle, odds);
  for (std::size_t m = 0; m < odds.size(); ++m)
    odds[m] /= 1 - failed[at(vehicle.modes[m].component)];
  return odds;
}

std::vector<Belief::Column*> Belief::columns_for(const readings::Forecast& forecast) {
  std::vector<Column*> columns;
  ++clock_;
  for (std::size_t g = 0; g < forecast.group_count(); ++g) {
    auto& slot = columns_[column_key(forecast, g)];
    if (!slot) {
      slot = std::make_unique<Column>();
      slot->stride = 1 + 2 * forecast.group(g).size();
      slot->values.assign(slot->stride * candidates_->count(), unknown);
    }
    slot->last_used = clock_;
    columns.push_back(slot.get());
  }
  forget_old_columns();
  return columns;
}

void Belief::forget_old_columns() {
  constexpr std::size_t most = 48;
  while (columns_.size() > most) {
    const auto oldest = std::min_element(
        columns_.begin(), columns_.end(),
        [](const auto& a, const auto& b) { return a.second->last_used < b.second->last_used; });
    if (oldest->second->last_used == clock_) return;
    columns_.erase(oldest);
  }
}

bool Belief::likelihood(Work& work, const Candidate& candidate, double weight, double cutoff,
                        double& out) {
  const auto number = candidates_->number_of(candidate);
  const auto& forecast = *work.forecast;
  Bits needed(std::max<std::size_t>(forecast.group_count(), 1));
  double known = weight;
  bool complete = true;
  for (std::size_t g = 0; g < work.columns.size(); ++g) {
    const double value = work.columns[g]->values[number * work.columns[g]->stride];
    if (std::isnan(value)) {
      needed.set(g);
      complete = false;
    } else {
      known *= value / forecast.group_ceiling(g);
    }
  }
  if (known < cutoff) return false;
  if (!complete) {
    candidates_->overrides(candidate, work.overrides);
    const auto store = [&](std::size_t g, std::span<const readings::EntryProbability> entries) {
      double* values = work.columns[g]->values.data() + number * work.columns[g]->stride;
      values[0] = forecast.group_probability(g, entries);
      for (std::size_t i = 0; i < forecast.group(g).size(); ++i) {
        values[1 + 2 * i] = forecast.group_probability(g, entries, forecast.group(g)[i]);
        values[2 + 2 * i] = forecast.group_proper(g, forecast.group(g)[i], entries);
      }
      return values[0];
    };
    if (!work.forecast->evaluate_groups(work.overrides, needed, known, cutoff, store)) return false;
  }
  // Multiplied in one fixed order, so that the sum does not depend on what was known beforehand.
  out = 1;
  for (std::size_t g = 0; g < work.columns.size(); ++g)
    out *= work.columns[g]->values[number * work.columns[g]->stride] / forecast.group_ceiling(g);
  return true;
}

void Belief::sum_singles(Work& work) {
  const auto n = static_cast<std::int32_t>(candidates_->single_count());
  work.group_marginals.assign(work.columns.size(), 0);
  double prior_sum = 0;
  for (std::int32_t c = -1; c < n; ++c) {
    const Candidate candidate{c, -1};
    double value = 0;
    likelihood(work, candidate, 1, 0, value);
    work.terms.push_back({candidate, value});
    work.singles_sum += (c < 0 ? 1 : work.class_odds[at(c)]) * value;

    double prior = 1;
    if (c >= 0) {
      prior = 0;
      for (const auto m : candidates_->classes()[at(c)].modes) prior += work.prior_odds[at(m)];
    }
    prior_sum += prior;
    const auto number = candidates_->number_of(candidate);
    for (std::size_t g = 0; g < work.columns.size(); ++g)
      work.group_marginals[g] += prior * work.columns[g]->values[number * work.columns[g]->stride] /
                                 work.forecast->group_ceiling(g);
  }
  for (auto& m : work.group_marginals) m /= prior_sum;
}

void Belief::sum_pairs(Work& work, const Options& options, const Progress& progress) {
  const auto n = static_cast<std::int32_t>(candidates_->single_count());
  const double pair_count = 0.5 * n * (n + 1.0);
  work.cutoff = options.prune * work.singles_sum / std::max(1.0, pair_count);
  for (std::int32_t a = 0; a < n; ++a) {
    report(progress, a / static_cast<double>(n));
    for (std::int32_t b = a; b < n; ++b) {
      const double weight = candidates_->pair_odds(a, b, work.odds, work.class_odds);
      if (weight == 0) continue;
      double value = 0;
      // Kept by its full weight, not by when the search gave up: the same sum whatever was cached.
      if (likelihood(work, {a, b}, weight, work.cutoff, value) && weight * value >= work.cutoff) {
        work.terms.push_back({{a, b}, value});
      } else {
        ++work.left_out;
      }
    }
  }
}

Posterior Belief::posterior(const Evidence& evidence, const Options& options,
                            const Progress& progress) {
  const auto& vehicle = candidates_->circuit().vehicle();
  Work work;
  work.evidence = &evidence;
  for (std::size_t i = 0; i < evidence.entries.size(); ++i)
    if (evidence.entries[i].informative() && evidence.entries[i].type != Entry::Type::look)
      work.electrical.push_back(i);
  std::sort(work.electrical.begin(), work.electrical.end(), [&](std::size_t a, std::size_t b) {
    return content(evidence.entries[a]) < content(evidence.entries[b]);
  });
  std::vector<Entry> electrical;
  for (const auto i : work.electrical) electrical.push_back(evidence.entries[i]);
  work.forecast =
      std::make_unique<readings::Forecast>(solver_, *instruments_, std::move(electrical));
  work.columns = columns_for(*work.forecast);

  const auto priors = rates::mode_priors(vehicle, *rates_, evidence.exposure);
  const auto failed = rates::component_priors(vehicle, priors);
  for (const double p : failed) work.all_good *= 1 - p;
  work.outside_prior = rates::probability_of_more_than(failed, options.pairs ? 2 : 1);
  work.prior_odds = prior_odds(evidence.exposure);
  work.looks = Looks(vehicle, evidence.entries, priors, instruments_->repeat_correlation);
  work.odds = work.looks.updated(work.prior_odds);
  work.class_odds = class_odds(*candidates_, work.odds);

  sum_singles(work);
  if (options.pairs) sum_pairs(work, options, progress);
  Posterior result;
  finish(work, options, result);
  report(progress, 1);
  return result;
}

void Belief::finish(Work& work, const Options& options, Posterior& result) {
  add_up(work, result);
  split_over_modes(work, result);
  const auto& entries = work.evidence->entries;
  result.entries.resize(entries.size());
  for (std::size_t i = 0; i < entries.size(); ++i) result.entries[i].entry = i;
  for (std::size_t g = 0; g < work.columns.size(); ++g)
    for (std::size_t i = 0; i < work.forecast->group(g).size(); ++i)
      report_reading(work, options, g, i, result);
  for (std::size_t i = 0; i < entries.size(); ++i)
    if (entries[i].type == Entry::Type::look && entries[i].informative())
      report_look(work, options, i, result);
}

void Belief::add_up(Work& work, Posterior& result) const {
  // All sums are relative to: ceilings of the readings * P(all good) * P(looks | all good) * P(in model).
  const double in_model = 1 - rates_->not_in_model;
  const double scale = in_model * work.all_good * work.looks.if_healthy();
  double sum = 0;
  for (const auto& term : work.terms) {
    work.list.push_back(term.candidate);
    work.weights.push_back(prior_weight(*candidates_, term.candidate, work.odds, work.class_odds) *
                           term.likelihood);
    sum += work.weights.back();
  }
  work.unmodelled = rates_->not_in_model * work.looks.marginal() / scale;
  for (const double m : work.group_marginals) work.unmodelled *= m;
  work.total = sum + work.unmodelled;
  const double outside = in_model * work.outside_prior * work.looks.ceiling() / scale +
                         static_cast<double>(work.left_out) * work.cutoff;

  result.bound = outside / (work.total + outside);
  result.no_fault = work.weights.front() / work.total;
  result.not_in_model = work.unmodelled / work.total;
  result.candidates_summed = work.terms.size();
  result.log_evidence = std::log(work.total) + std::log(scale);
  double marginals_log = std::log(work.looks.marginal());
  for (std::size_t g = 0; g < work.columns.size(); ++g) {
    result.log_evidence += std::log(work.forecast->group_ceiling(g));
    marginals_log += std::log(work.group_marginals[g] * work.forecast->group_ceiling(g));
  }
  result.conflict = (marginals_log - result.log_evidence) / std::log(10.0);
  for (std::size_t t = 0; t < work.list.size(); ++t)
    result.candidates.push_back({work.list[t], work.weights[t] / work.total});
  std::stable_sort(
      result.candidates.begin(), result.candidates.end(),
      [](const Weighted& a, const Weighted& b) { return a.probability > b.probability; });
}

void Belief::split_over_modes(Work& work, Posterior& result) const {
  work.marginals = std::make_unique<MarginalSum>(*candidates_, work.list);
  result.modes = work.marginals->modes(work.weights, work.odds, work.class_odds);
  for (auto& p : result.modes) p /= work.total;
  result.components = work.marginals->components(result.modes);
  result.wires = work.marginals->wires(work.weights, work.odds, work.class_odds);
  for (auto& p : result.wires) p /= work.total;
}

void Belief::report_reading(Work& work, const Options& options, std::size_t g, std::size_t i,
                            Posterior& result) const {
  const auto& column = *work.columns[g];
  const auto& group = work.forecast->group(g);
  auto& entry = result.entries[work.electrical[group[i]]];
  std::vector<double> without(work.weights.size());
  double misread = 0;
  double rest = 0;
  for (std::size_t t = 0; t < work.list.size(); ++t) {
    const double* values =
        column.values.data() + candidates_->number_of(work.list[t]) * column.stride;
    if (values[0] <= 0) continue;
    without[t] = work.weights[t] / values[0] * values[1 + 2 * i];
    rest += without[t];
    misread += work.weights[t] * (1 - values[2 + 2 * i] / values[0]);
  }
  entry.used = true;
  // A repeated reading's marginal is its share of the group's; a single one's is exact.
  entry.marginal = std::pow(work.group_marginals[g] * work.forecast->group_ceiling(g),
                            1.0 / static_cast<double>(group.size()));
  entry.misreading = misread / work.total;
  // The weights carry the ceilings as their unit; without the entry its own ceiling stays in both sums.
  rest += work.unmodelled / entry.marginal;
  entry.predictive = work.total / rest;
  if (!options.weigh_entries) return;
  const auto modes = work.marginals->modes(without, work.odds, work.class_odds);
  weigh(result.components, work.marginals->components(modes), rest, entry);
}

void Belief::report_look(Work& work, const Options& options, std::size_t i,
                         Posterior& result) const {
  auto& entry = result.entries[i];
  const auto others = work.looks.without(i);
  const auto odds = others.updated(work.prior_odds);
  const auto sums = class_odds(*candidates_, odds);
  const double factor = others.if_healthy() / work.looks.if_healthy();
  std::vector<double> without(work.weights.size());
  double rest = 0;
  for (std::size_t t = 0; t < work.list.size(); ++t) {
    without[t] =
        factor * prior_weight(*candidates_, work.list[t], odds, sums) * work.terms[t].likelihood;
    rest += without[t];
  }
  entry.used = true;
  entry.marginal = work.looks.marginal() / others.marginal();
  entry.misreading = work.looks.misreading(i, result.modes, result.components);
  rest += work.unmodelled / entry.marginal;
  entry.predictive = work.total / rest;
  if (options.weigh_entries)
    weigh(result.components, work.marginals->components(work.marginals->modes(without, odds, sums)),
          rest, entry);
}

}  // namespace faultloom::belief
