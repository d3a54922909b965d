#include <faultloom/documents/learned_rates.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <string_view>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// What a source was before any learning.
std::string first_source(const std::string& source) {
  constexpr std::string_view mark = "; before: ";
  const auto found = source.find(mark);
  return found == std::string::npos ? source : source.substr(found + mark.size());
}

json quantiles(const rates::Gamma& gamma) {
  return {{"mean", six_digits(gamma.mean())},
          {"low", six_digits(gamma.quantile(0.05))},
          {"high", six_digits(gamma.quantile(0.95))}};
}

/// Shares with six decimals that sum to one.
std::vector<double> tidy(const std::vector<double>& shares) {
  std::vector<double> result;
  std::size_t largest = 0;
  for (std::size_t i = 0; i < shares.size(); ++i) {
    result.push_back(std::round(shares[i] * 1e6) / 1e6);
    if (result[i] > result[largest]) largest = i;
  }
  result[largest] += 1 - std::accumulate(result.begin(), result.end(), 0.0);
  result[largest] = std::round(result[largest] * 1e6) / 1e6;
  return result;
}

bool has_data(const rates::LineEstimate& line) { return line.failures > 0 || line.exposure > 0; }

std::string why(const rates::LineEstimate& line) {
  const double expected = line.before.mean() * line.exposure;
  return fmt::format("{:.3g} failures where {:.3g} were expected", line.failures, expected);
}

/// A kind's line of `changes`.
json change_of(const learning::Lines& lines, std::size_t i, const rates::LineEstimate& line) {
  json modes = json::array();
  for (std::size_t m = 0; m < line.shares.size(); ++m)
    modes.push_back({{"mode", lines.modes[i][m]},
                     {"before", six_digits(lines.lines[i].shares[m])},
                     {"after", six_digits(line.shares[m])},
                     {"failures", six_digits(line.mode_failures[m])}});
  return {{"kind", lines.lines[i].id},
          {"class", lines.lines[i].group},
          {"before", quantiles(line.before)},
          {"after", quantiles(line.after)},
          {"factor", six_digits(line.after.mean() / line.before.mean())},
          {"failures", six_digits(line.failures)},
          {"certain_failures", six_digits(line.certain)},
          {"exposure_million_hours", six_digits(line.exposure)},
          {"why", why(line)},
          {"modes", std::move(modes)}};
}

/// What stands against relying on a kind's number; "" if nothing.
std::string doubt_of(const rates::LineEstimate& line) {
  if (!has_data(line))
    return "none of these was at risk in this history; the number is the one before";
  if (line.failures < 0.5)
    return fmt::format(
        "no failure yet where {:.2g} were expected: the history only says that the rate is no "
        "higher",
        line.before.mean() * line.exposure);
  if (line.certain < 0.5 * line.failures)
    return "the causes of these jobs are too uncertain; confirm by sight what was wrong";
  if (line.certain < 3)
    return "fewer than three failures: the number is still mostly the one before";
  return "";
}

json classes_of(const rates::HistoryEstimate& estimate) {
  json list = json::array();
  for (const auto& group : estimate.groups) {
    json row{{"class", group.id},
             {"factor", six_digits(group.mean.mean)},
             {"factor_sigma", six_digits(std::sqrt(group.mean.variance))},
             {"dispersion", six_digits(group.dispersion.mean)}};
    if (group.has_law)
      row["most_probable"] = {{"factor", six_digits(group.law.mean)},
                              {"dispersion", six_digits(group.law.dispersion)},
                              {"spread", group.law.spread}};
    list.push_back(std::move(row));
  }
  return list;
}

}  // namespace

double six_digits(double value) {
  if (value == 0 || !std::isfinite(value)) return value;
  const double scale = std::pow(10.0, 5 - std::floor(std::log10(std::abs(value))));
  return std::isfinite(scale) ? std::round(value * scale) / scale : value;
}

json learned_rates(const json& document, const learning::Lines& lines,
                   const rates::HistoryEstimate& estimate, const std::string& learned_from) {
  json result = document;
  result["source"] = fmt::format("Learned from {}; before: {}", learned_from,
                                 first_source(document.value("source", "no source given")))
                         .substr(0, 2000);
  for (std::size_t i = 0; i < lines.kind_count; ++i) {
    const auto& line = estimate.lines[i];
    if (!has_data(line)) continue;
    auto& kind = result["kinds"][lines.lines[i].id];
    kind["gamma_shape"] = six_digits(line.after.shape);
    kind["gamma_rate_million_hours"] = six_digits(line.after.rate);
    const auto shares = tidy(line.shares);
    for (std::size_t m = 0; m < shares.size(); ++m) kind["modes"][lines.modes[i][m]] = shares[m];
    if (kind.contains("handbook")) kind["handbook"]["used"] = false;
    kind["source"] = fmt::format("learned from {}: {}; before: {}", learned_from, why(line),
                                 first_source(kind["source"].get<std::string>()))
                         .substr(0, 2000);
  }
  for (const auto& [id, i] : lines.per_visit) {
    const auto& line = estimate.lines[static_cast<std::size_t>(i)];
    if (has_data(line)) result["per_visit"][id] = six_digits(std::min(0.5, line.after.mean()));
  }
  for (const auto& environment : estimate.environments)
    if (environment.before.learned)
      result["environments"][environment.before.id] =
          six_digits(environment.before.multiplier * environment.factor.mean());
  return result;
}

json learning_report(const learning::Lines& lines, const rates::HistoryEstimate& estimate,
                     bool only_broken_seen) {
  json report{{"changes", json::array()},
              {"per_visit", json::array()},
              {"classes", classes_of(estimate)},
              {"environments", json::array()},
              {"cannot_say", json::array()}};
  for (std::size_t i = 0; i < lines.kind_count; ++i) {
    const auto& line = estimate.lines[i];
    if (has_data(line)) report["changes"].push_back(change_of(lines, i, line));
    if (auto doubt = doubt_of(line); !doubt.empty())
      report["cannot_say"].push_back({{"about", lines.lines[i].id}, {"why", std::move(doubt)}});
  }
  for (const auto& [id, i] : lines.per_visit) {
    const auto& line = estimate.lines[static_cast<std::size_t>(i)];
    report["per_visit"].push_back({{"id", id},
                                   {"before", quantiles(line.before)},
                                   {"after", quantiles(line.after)},
                                   {"found", six_digits(line.failures)},
                                   {"places_visited", six_digits(line.exposure)}});
  }
  for (const auto& environment : estimate.environments) {
    if (!environment.before.learned) continue;
    const double before = environment.before.multiplier;
    report["environments"].push_back(
        {{"environment", environment.before.id},
         {"before", before},
         {"after", six_digits(before * environment.factor.mean())},
         {"low", six_digits(before * environment.factor.quantile(0.05))},
         {"high", six_digits(before * environment.factor.quantile(0.95))},
         {"failures", six_digits(environment.failures)}});
    if (environment.failures < 5)
      report["cannot_say"].push_back({{"about", "environment " + environment.before.id},
                                      {"why", "fewer than five failures in these surroundings"}});
  }
  if (only_broken_seen)
    report["cannot_say"].push_back(
        {{"about", "all rates"},
         {"why",
          "only broken vehicles are in this history: it tells how often one thing fails compared "
          "with another, not how often; note the hours of those that ran"}});
  report["cannot_say"].push_back(
      {{"about", "events, cues, instruments"},
       {"why",
        "they are not learned; what hit several members of a loom or connector at once is left "
        "to them"}});
  return report;
}

}  // namespace faultloom::documents
