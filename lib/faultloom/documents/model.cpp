#include <faultloom/documents/model.hpp>

#include <faultloom/circuit/observability.hpp>
#include <faultloom/documents/answers.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/options.hpp>
#include <faultloom/documents/plan_answers.hpp>
#include <faultloom/documents/reach_answers.hpp>
#include <faultloom/documents/situation_reader.hpp>
#include <faultloom/documents/verification_answers.hpp>
#include <faultloom/report/plan_card.hpp>
#include <faultloom/report/spice_deck.hpp>
#include <faultloom/vehicle/lint.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <chrono>

namespace faultloom::documents {
namespace {

std::string text_of(const nlohmann::json& answer) { return answer.dump(2) + "\n"; }

AnswerContext context_of(const Model::Parts& parts, const Job& job) {
  return {parts.vehicle, parts.instruments, parts.cautions, job};
}

/// Instruments that the job lists.
std::vector<int> at_hand(const Model::Parts& parts, const Job& job) {
  std::vector<int> list;
  for (const auto& id : job.instruments) list.push_back(parts.instruments.find(id));
  return list;
}

belief::Evidence evidence_of(const Job& job) { return {job.entries, job.exposure, job.repairs}; }

/// What the planner is asked with.
struct Planning {
  belief::Belief& belief;
  advice::PredictionStore& store;
  const belief::Posterior& posterior;
  const advice::Prices& prices;
  const advice::Constraints& constraints;
};

/// Of a budget in seconds, before steps are compared.
constexpr double share_for_belief = 0.5;

/// What is left of a budget, a little kept to put the answer into words. 0 stays 0, which is none.
double within(double budget_seconds, double used_seconds) {
  constexpr double for_words = 0.05;
  if (budget_seconds <= 0) return 0;
  return std::max(budget_seconds * (1 - for_words) - used_seconds, 1e-6);
}

/// Gives `answer` the belief of a job, its prices, and the constraints with what was done already.
template <typename Answer>
auto with_posterior(const Model::Parts& parts, const Job& job, const NextOptions& options,
                    const Progress& progress, const Answer& answer) {
  if (!job.verdict.empty())
    throw Error(Code::no_step,
                "The job is closed, so nothing is left to do; take 'closing' out to go on with it",
                "/closing");
  const auto started = std::chrono::steady_clock::now();
  const auto belief = parts.borrow();
  belief::Options how;
  how.judge_entries = false;
  how.find_swings = true;
  how.search.most_sets = options.budget_sets;
  how.search.most_sets_if_poor = options.budget_sets_if_poor;
  how.search.most_seconds = share_for_belief * options.constraints.budget_seconds;
  const auto posterior = belief->posterior(evidence_of(job), how, part_of(progress, 0, 0.5));
  auto constraints = options.constraints;
  const std::chrono::duration<double> used = std::chrono::steady_clock::now() - started;
  constraints.budget_seconds = within(options.constraints.budget_seconds, used.count());
  constraints.open_zones = job.opened_zones;
  // What was tried before the last repair may be worth trying again, but for looks at what no repair has
  // touched: they show the same.
  const auto still_shows = [&](const readings::Entry& entry) {
    if (entry.type != readings::Entry::Type::look) return false;
    return std::none_of(job.repairs.begin(), job.repairs.end(), [&](const belief::Repair& repair) {
      return repair.component == entry.component && repair.epoch > entry.epoch;
    });
  };
  for (const auto& entry : job.entries)
    if (entry.type != readings::Entry::Type::repair &&
        (entry.epoch == job.entries.back().epoch || still_shows(entry)))
      constraints.made.push_back(entry);
  if (constraints.instruments.empty()) constraints.instruments = at_hand(parts, job);
  advice::Prices prices;
  if (job.labour_usd_per_hour > 0) prices.labour_usd_per_hour = job.labour_usd_per_hour;
  prices.comeback_usd = options.comeback_usd.value_or(prices.comeback_usd);
  prices.good_part_loss = options.good_part_loss.value_or(prices.good_part_loss);
  prices.good_part_usd = options.good_part_usd.value_or(prices.good_part_usd);
  const Planning planning{*belief, belief.store(), posterior, prices, constraints};
  return answer(planning, part_of(progress, 0.5, 1));
}

advice::Plan unrolled(const Model::Parts& parts, const Job& job, const PlanRequest& request,
                      const Progress& progress) {
  return with_posterior(parts, job, request.next, progress,
                        [&](const Planning& p, const Progress& rest) {
                          const advice::StepTable table(p.belief, p.store, p.posterior, p.prices,
                                                        p.constraints, part_of(rest, 0, 0.3));
                          return advice::make_plan(table, request.plan, part_of(rest, 0.3, 1));
                        });
}

struct Proof {
  belief::Posterior posterior;
  std::vector<advice::Check> checks;
};

/// What the entries of a job say of the vehicle as it stands, and of what has to be proved.
Proof proof_of(const Model::Parts& parts, const Job& job, const Progress& progress) {
  belief::Options how;
  how.judge_entries = false;
  const auto belief = parts.borrow();
  circuit::Solver solver(parts.circuit);
  return {belief->posterior(evidence_of(job), how, progress),
          advice::checks_due(solver, parts.instruments, job.entries)};
}

}  // namespace

Model::Model(const ModelSources& sources, const Progress& progress)
    : parts_(std::make_shared<const Parts>(sources, progress)) {}

std::string Model::summary_json() const { return text_of(summary_of(parts_->vehicle)); }

std::vector<Problem> Model::lint(const Progress& progress) const {
  auto problems = vehicle::lint(parts_->vehicle);
  for (auto& problem : circuit::silent_modes(parts_->circuit, progress))
    problems.push_back(std::move(problem));
  return problems;
}

std::vector<std::string> Model::terminal_names() const {
  std::vector<std::string> names;
  for (const auto& terminal : parts_->vehicle.terminals) names.push_back(terminal.name);
  return names;
}

std::vector<std::string> Model::mode_names() const {
  std::vector<std::string> names;
  for (std::size_t m = 0; m < parts_->vehicle.modes.size(); ++m)
    names.push_back(vehicle::mode_name(parts_->vehicle, static_cast<vehicle::Index>(m)));
  return names;
}

std::vector<double> Model::mode_priors(std::string_view job_text) const {
  rates::Exposure exposure;
  if (!job_text.empty()) exposure = parts_->job(job_text).exposure;
  return rates::mode_priors(parts_->vehicle, parts_->rates, exposure);
}

std::vector<double> Model::terminal_volts(std::string_view situation_text) const {
  const auto situation = read_situation(situation_text, parts_->vehicle);
  const auto overrides = circuit::overrides_of(parts_->circuit, situation.modes);
  const auto settings = circuit::settings_of(parts_->vehicle, situation.modes);
  circuit::Solver solver(parts_->circuit);
  const auto stage =
      solver.stage(situation.state, situation.lifted_elements, situation.bridged_elements);
  solver.begin(overrides, settings);
  solver.enter(stage);
  std::vector<double> volts(parts_->vehicle.terminals.size());
  solver.volts(volts);
  return volts;
}

std::string Model::solve_json(std::string_view situation_text) const {
  const auto situation = read_situation(situation_text, parts_->vehicle);
  const auto overrides = circuit::overrides_of(parts_->circuit, situation.modes);
  const auto settings = circuit::settings_of(parts_->vehicle, situation.modes);
  circuit::Solver solver(parts_->circuit);
  const auto stage =
      solver.stage(situation.state, situation.lifted_elements, situation.bridged_elements);
  solver.begin(overrides, settings);
  return text_of(solution_of(solver, stage));
}

std::string Model::spice_deck(std::string_view situation_text) const {
  const auto situation = read_situation(situation_text, parts_->vehicle);
  circuit::Solver solver(parts_->circuit);
  return reports::spice_deck(solver, situation.state, situation.modes, situation.lifted_elements,
                             situation.bridged_elements);
}

std::string Model::rank_json(std::string_view job_text, std::string_view options_text,
                             const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto options = read_rank_options(options_text);
  const auto belief = parts_->borrow();
  belief::Options how;
  how.search = options.search();
  const auto posterior = belief->posterior(evidence_of(job), how, progress);
  return text_of(ranking_json(context_of(*parts_, job), *belief, posterior, options.top));
}

std::vector<double> Model::mode_posteriors(std::string_view job_text,
                                           const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto belief = parts_->borrow();
  belief::Options how;
  how.judge_entries = false;
  return belief->posterior(evidence_of(job), how, progress).modes;
}

std::string Model::next_json(std::string_view job_text, std::string_view options_text,
                             const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto options = read_next_options(options_text, parts_->vehicle, parts_->instruments);
  return text_of(
      with_posterior(*parts_, job, options, progress, [&](const Planning& p, const Progress& rest) {
        const auto advice =
            advice::next_step(p.belief, p.store, p.posterior, p.prices, p.constraints, rest);
        return step_json(context_of(*parts_, job), advice);
      }));
}

std::string Model::plan_json(std::string_view job_text, std::string_view options_text,
                             const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto request = read_plan_options(options_text, parts_->vehicle, parts_->instruments);
  return text_of(documents::plan_json(context_of(*parts_, job),
                                      unrolled(*parts_, job, request, progress), request.plan));
}

std::string Model::plan_card(std::string_view job_text, std::string_view options_text,
                             const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto request = read_plan_options(options_text, parts_->vehicle, parts_->instruments);
  return reports::plan_card_svg(
      card_of(context_of(*parts_, job), unrolled(*parts_, job, request, progress)));
}

std::string Model::explain_json(std::string_view job_text, std::string_view options_text,
                                const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto options = read_rank_options(options_text, 6);
  const auto belief = parts_->borrow();
  belief::Options how;
  how.search = options.search();
  how.weigh_entries = true;
  const auto posterior = belief->posterior(evidence_of(job), how, progress);
  return text_of(explanation_json(context_of(*parts_, job), *belief, posterior, options.top));
}

std::string Model::ambiguity_json(std::string_view job_text, std::string_view options_text,
                                  const Progress& progress) const {
  const auto job = parts_->job(job_text);
  auto options = read_reach_options(options_text, parts_->vehicle, parts_->instruments);
  if (options.reach.instruments.empty()) options.reach.instruments = at_hand(*parts_, job);
  belief::Options how;
  how.judge_entries = false;
  std::vector<double> probabilities;
  {
    const auto belief = parts_->borrow();
    probabilities = belief->posterior(evidence_of(job), how, part_of(progress, 0, 0.4)).faults;
  }
  return text_of(ambiguity_of(context_of(*parts_, job), parts_->space, options, probabilities,
                              part_of(progress, 0.4, 1)));
}

std::string Model::testability_json(std::string_view options_text, const Progress& progress) const {
  const auto options = read_reach_options(options_text, parts_->vehicle, parts_->instruments);
  const auto modes = rates::mode_priors(parts_->vehicle, parts_->rates, {});
  std::vector<double> probabilities(parts_->space.faults().size());
  for (std::size_t m = 0; m < modes.size(); ++m)
    for (const auto& cell : parts_->space.cells_of(static_cast<vehicle::Index>(m)))
      probabilities[static_cast<std::size_t>(cell.fault)] += modes[m] * cell.share;
  const Job no_job;
  return text_of(
      testability_of(context_of(*parts_, no_job), parts_->space, options, probabilities, progress));
}

std::string Model::verification_json(std::string_view job_text, const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto [posterior, checks] = proof_of(*parts_, job, progress);
  return text_of(documents::verification_json(context_of(*parts_, job), posterior, checks));
}

std::string Model::close_json(std::string_view job_text, std::string_view closing_text,
                              const Progress& progress) const {
  const auto job = parts_->job(job_text);
  const auto closing = read_closing(closing_text);
  const auto [posterior, checks] = proof_of(*parts_, job, progress);
  return closed_job(job_text, context_of(*parts_, job), posterior, checks, closing);
}

std::string problems_json(const std::vector<Problem>& problems) {
  nlohmann::json list = nlohmann::json::array();
  for (const auto& p : problems)
    list.push_back({{"code", name_of(p.code)},
                    {"number", static_cast<int>(p.code)},
                    {"message", p.message},
                    {"pointer", p.pointer}});
  // Messages quote the input, which may not be UTF-8.
  return list.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

}  // namespace faultloom::documents
