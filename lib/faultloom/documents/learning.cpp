#include <faultloom/documents/learning.hpp>

#include <faultloom/advice/prices.hpp>
#include <faultloom/documents/answers.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/history_reader.hpp>
#include <faultloom/documents/learned_rates.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/options.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/learning/cases.hpp>
#include <faultloom/learning/sensitivity.hpp>
#include <faultloom/rates/scores.hpp>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <set>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::string text_of(const json& answer) { return answer.dump(2) + "\n"; }

void check_models(Models models) {
  if (models.empty()) throw Error(Code::argument, "There must be one model at least");
  std::set<std::string> ids;
  for (const auto* model : models) {
    if (!ids.insert(model->parts().vehicle.id).second)
      throw Error(Code::argument,
                  fmt::format("There are two models of vehicle '{}'", model->parts().vehicle.id));
    if (model->parts().rates_text != models.front()->parts().rates_text)
      throw Error(Code::argument, "The models have different rates documents; build all with one");
  }
}

/// One posterior of a job, by the means of a ranking.
belief::Posterior weigh(const Model::Parts& parts, const belief::Evidence& evidence,
                        const RankOptions& options, const Progress& progress) {
  belief::Options how;
  how.search = options.search();
  how.judge_entries = false;
  how.note_as_found = true;
  return parts.borrow()->posterior(evidence, how, progress);
}

/// What becomes of the jobs of a history on their way to cases.
struct Gathered {
  std::vector<rates::Case> cases;
  std::size_t confirmed = 0;
  std::size_t weighed = 0;
  double running_hours = 0;
  json skipped = json::array();
};

Gathered gather(Models models, const History& history, const learning::Lines& lines,
                const LearningOptions& options, const Progress& progress) {
  std::vector<learning::CaseMaker> makers;
  for (std::size_t m = 0; m < models.size(); ++m) {
    const auto& parts = models[m]->parts();
    const auto share = static_cast<double>(m) / static_cast<double>(models.size());
    report(progress, 0.1 * share);
    makers.emplace_back(
        parts.vehicle, parts.rates, lines,
        learning::noticed_modes(parts.space, parts.instruments, options.noticed_otherwise));
  }
  Gathered result;
  for (std::size_t j = 0; j < history.jobs.size(); ++j) {
    const auto& past = history.jobs[j];
    const auto count = static_cast<double>(history.jobs.size());
    const auto part = part_of(progress, 0.1 + 0.9 * static_cast<double>(j) / count,
                              0.1 + 0.9 * static_cast<double>(j + 1) / count);
    report(part, 0);
    const auto& maker = makers[past.model];
    if (past.is_confirmed) {
      ++result.confirmed;
      result.cases.push_back(maker.confirmed(past.confirmed, past.job.exposure));
    } else if (past.verdict == "no_fault_found" && past.job.entries.empty()) {
      ++result.confirmed;
      result.cases.push_back(maker.confirmed({}, past.job.exposure));
    } else if (past.job.entries.empty()) {
      result.skipped.push_back({{"id", past.id}, {"why", "neither entries nor a confirmed cause"}});
    } else {
      ++result.weighed;
      const belief::Evidence evidence{past.job.entries, past.job.exposure, past.job.repairs};
      const auto posterior = weigh(models[past.model]->parts(), evidence, options.rank, part);
      result.cases.push_back(maker.weighed(posterior, past.job.exposure));
    }
  }
  for (const auto& running : history.running) {
    rates::Case one;
    one.at_risk = makers[running.model].at_risk(running.exposure, false);
    result.running_hours += running.exposure.hours;
    result.cases.push_back(std::move(one));
  }
  return result;
}

// ---- calibration ------------------------------------------------------------------------------

json estimate_json(const rates::Estimate& estimate) {
  return {{"mean", estimate.mean}, {"standard_error", estimate.standard_error}};
}

json scores_json(const rates::Scores& scores) {
  json bins = json::array();
  for (const auto& bin : scores.bins)
    bins.push_back({{"low", bin.low},
                    {"high", bin.high},
                    {"mean_probability", bin.mean_probability},
                    {"share_happened", bin.share_happened},
                    {"claims", bin.claims}});
  return {{"log_loss", estimate_json(scores.log_loss)},
          {"entropy", estimate_json(scores.entropy)},
          {"excess", estimate_json(scores.excess)},
          {"brier", scores.brier},
          {"reliability", scores.reliability},
          {"resolution", scores.resolution},
          {"uncertainty", scores.uncertainty},
          {"calibration_error", scores.calibration_error},
          {"noise_floor", scores.noise_floor},
          {"claims", scores.claims},
          {"diagram", std::move(bins)}};
}

/// Chances of all components of the jobs that have a confirmed cause and entries, beside what was so.
std::vector<rates::Claim> claims_of(Models models, const History& history,
                                    const CalibrationOptions& options, const Progress& progress) {
  std::vector<rates::Claim> claims;
  for (std::size_t j = 0; j < history.jobs.size(); ++j) {
    const auto& past = history.jobs[j];
    const auto count = static_cast<double>(history.jobs.size());
    const auto part =
        part_of(progress, static_cast<double>(j) / count, static_cast<double>(j + 1) / count);
    report(part, 0);
    if (!past.is_confirmed) continue;
    // What was found while repairing must not speak for itself.
    belief::Evidence evidence{{}, past.job.exposure, {}};
    for (const auto& entry : past.job.entries)
      if (entry.epoch == 0 && entry.type != readings::Entry::Type::repair)
        evidence.entries.push_back(entry);
    if (evidence.entries.empty()) continue;
    const auto& parts = models[past.model]->parts();
    const auto posterior = weigh(parts, evidence, options.rank, part);
    std::vector<bool> wrong(parts.vehicle.components.size(), false);
    for (const auto& modes : past.confirmed)
      for (const auto m : modes)
        wrong[static_cast<std::size_t>(
            parts.vehicle.modes[static_cast<std::size_t>(m)].component)] = true;
    for (std::size_t c = 0; c < wrong.size(); ++c)
      claims.push_back({std::clamp(posterior.components[c], 0.0, 1.0), wrong[c], j});
  }
  return claims;
}

}  // namespace

std::string learn_rates(Models models, std::string_view history_text, std::string_view options_text,
                        const Progress& progress) {
  check_models(models);
  const auto options = read_learning_options(options_text);
  const auto history = read_history(history_text, models);
  const auto& parts = models.front()->parts();
  const auto lines = learning::lines_of(parts.rates);
  const auto gathered = gather(models, history, lines, options, part_of(progress, 0, 0.9));
  auto how = options.estimate;
  how.only_broken_seen = history.only_broken_seen;
  const auto estimate = rates::estimate_rates(lines.lines, lines.environments, gathered.cases, how,
                                              part_of(progress, 0.9, 1));
  const auto learned_from =
      fmt::format("{} jobs{}", gathered.confirmed + gathered.weighed,
                  history.title.empty() ? "" : fmt::format(" of '{}'", history.title));
  auto answer = learning_report(lines, estimate, history.only_broken_seen);
  answer["format"] = "faultloom.learning";
  answer["version"] = "1.0";
  answer["history"] = {{"title", history.title},
                       {"jobs", history.jobs.size()},
                       {"confirmed", gathered.confirmed},
                       {"weighed", gathered.weighed},
                       {"skipped", gathered.skipped},
                       {"running_hours", gathered.running_hours},
                       {"only_broken_seen", history.only_broken_seen}};
  answer["rates"] = learned_rates(parse_text(parts.rates_text), lines, estimate, learned_from);
  answer["turns"] = estimate.turns;
  answer["settled"] = estimate.settled;
  answer["log_gain_nat"] = six_digits(estimate.log_gain);
  answer["common_sigma"] = six_digits(estimate.common_sigma);
  return text_of(answer);
}

std::string calibration(Models models, Models against, std::string_view history_text,
                        std::string_view options_text, const Progress& progress) {
  check_models(models);
  if (!against.empty()) check_models(against);
  const auto options = read_calibration_options(options_text);
  const auto history = read_history(history_text, models);
  const double half = against.empty() ? 1 : 0.5;
  const auto claims = claims_of(models, history, options, part_of(progress, 0, half));
  if (claims.empty())
    throw Error(
        Code::value,
        "No job of the history has both entries before a repair and a confirmed cause; give "
        "'confirmed' where somebody saw what was wrong",
        "/jobs");
  const auto scores = rates::score(claims, options.bins);
  json answer = scores_json(scores);
  answer["format"] = "faultloom.calibration";
  answer["version"] = "1.0";
  answer["jobs"] = scores.jobs;
  answer["jobs_left_out"] = history.jobs.size() - scores.jobs;
  if (!against.empty()) {
    const auto other_history = read_history(history_text, against);
    const auto others = claims_of(against, other_history, options, part_of(progress, half, 1));
    answer["against"] = scores_json(rates::score(others, options.bins));
    answer["log_loss_difference"] = estimate_json(
        rates::paired_difference(rates::job_losses(claims), rates::job_losses(others)));
  }
  report(progress, 1);
  return text_of(answer);
}

std::string sensitivity(const Model& model, std::string_view job_text,
                        std::string_view options_text, const Progress& progress) {
  const auto& parts = model.parts();
  const auto job = parts.job(job_text);
  const auto options = read_rank_options(options_text, 10);
  const auto posterior =
      weigh(parts, {job.entries, job.exposure, job.repairs}, options, part_of(progress, 0, 0.8));
  const auto lines = learning::lines_of(parts.rates);
  const learning::CaseMaker maker(parts.vehicle, parts.rates, lines,
                                  std::vector<double>(parts.vehicle.modes.size(), 1));
  const auto one = maker.weighed(posterior, job.exposure);
  const learning::Reweighing weighing(lines, one, parts.vehicle.components.size());
  const auto chances = weighing.components(0, 1);
  std::vector<std::size_t> order(chances.size());
  for (std::size_t c = 0; c < order.size(); ++c) order[c] = c;
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return chances[a] > chances[b]; });
  const double labor =
      job.labour_usd_per_hour > 0 ? job.labour_usd_per_hour : advice::Prices{}.labour_usd_per_hour;
  std::vector<double> costs;
  for (const auto& component : parts.vehicle.components)
    costs.push_back(
        std::max(0.01, component.repair.price_usd + labor / 60 * component.repair.minutes));
  json answer{{"format", "faultloom.sensitivity"},
              {"version", "1.0"},
              {"leader", parts.vehicle.components[order.front()].id},
              {"rates", json::array()},
              {"components", json::array()}};
  const auto used = weighing.lines();
  std::vector<json> rows(std::min(options.top, order.size()), json::array());
  for (std::size_t u = 0; u < used.size(); ++u) {
    report(progress, 0.8 + 0.2 * static_cast<double>(u) / static_cast<double>(used.size()));
    const auto line = used[u];
    const auto& known = lines.lines[static_cast<std::size_t>(line)];
    const auto slope = weighing.derivative(line);
    const auto interval =
        leader_interval(weighing, line, static_cast<vehicle::Index>(order.front()));
    const double sigma = 1 / std::sqrt(known.prior.shape);
    const auto limit = [](const std::optional<double>& factor) {
      return factor ? json(six_digits(*factor)) : json(nullptr);
    };
    answer["rates"].push_back(
        {{"rate", known.id},
         {"mean", six_digits(known.prior.mean())},
         {"relative_sigma", six_digits(sigma)},
         {"leader_changes_below", limit(interval.low)},
         {"leader_changes_above", limit(interval.high)},
         {"value_of_knowing_usd", six_digits(value_of_knowing(weighing, lines, line, costs))}});
    for (std::size_t r = 0; r < rows.size(); ++r)
      if (std::abs(slope[order[r]]) > 1e-7)
        rows[r].push_back({{"rate", known.id},
                           {"derivative", six_digits(slope[order[r]])},
                           {"swing", six_digits(slope[order[r]] * sigma)}});
  }
  for (std::size_t r = 0; r < rows.size(); ++r)
    answer["components"].push_back({{"component", parts.vehicle.components[order[r]].id},
                                    {"probability", six_digits(chances[order[r]])},
                                    {"by_rate", std::move(rows[r])}});
  report(progress, 1);
  return text_of(answer);
}

}  // namespace faultloom::documents
