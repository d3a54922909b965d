#pragma once

#include <faultloom/advice/next_step.hpp>
#include <faultloom/belief/belief.hpp>
#include <faultloom/documents/cautions_reader.hpp>
#include <faultloom/documents/job_reader.hpp>
#include <nlohmann/json_fwd.hpp>

/// The library's answers as JSON. Shapes are described in README.md.
namespace faultloom::documents {

/// What every answer needs to put names to numbers.
struct AnswerContext {
  const vehicle::Vehicle& vehicle;
  const readings::InstrumentSet& instruments;
  const Cautions& cautions;
  const Job& job;
};

/// "W7, wire W7 from ..."; a setting by what it sets: "charge plug".
/// What to do until a sign fails to come; the step has such a sign.
[[nodiscard]] std::string until_text(const vehicle::Vehicle& vehicle, const advice::Step& step);
[[nodiscard]] std::string thing_text(const vehicle::Vehicle& vehicle, vehicle::Index component);
/// The members that every answer to a job begins with.
[[nodiscard]] nlohmann::json heading(std::string_view format, const AnswerContext& context);
/// Position of every control, by id.
[[nodiscard]] nlohmann::json state_json(const vehicle::Vehicle& vehicle,
                                        const vehicle::ControlState& state);
/// Cautions of everything a step touches, the most serious first, each once.
[[nodiscard]] nlohmann::json cautions_json(const AnswerContext& context, const advice::Step& step);

/// What each repair made has mended, in their order.
[[nodiscard]] nlohmann::json repairs_json(const AnswerContext& context,
                                          const belief::Posterior& posterior);
[[nodiscard]] nlohmann::json ranking_json(const AnswerContext& context,
                                          const belief::Belief& belief,
                                          const belief::Posterior& posterior, std::size_t top);
/// One step as it is in faultloom.step.
[[nodiscard]] nlohmann::json one_step_json(const AnswerContext& context, const advice::Step& step);
[[nodiscard]] nlohmann::json step_json(const AnswerContext& context, const advice::Advice& advice);
[[nodiscard]] nlohmann::json explanation_json(const AnswerContext& context, belief::Belief& belief,
                                              const belief::Posterior& posterior, std::size_t top);
[[nodiscard]] nlohmann::json summary_of(const vehicle::Vehicle& vehicle);
[[nodiscard]] nlohmann::json solution_of(circuit::Solver& solver, circuit::Stage stage);

}  // namespace faultloom::documents
