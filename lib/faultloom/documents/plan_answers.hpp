#pragma once

#include <faultloom/advice/plan.hpp>
#include <faultloom/documents/answers.hpp>
#include <faultloom/report/plan_card.hpp>

/// The advice unrolled, as JSON and as a page to print. Shapes are described in README.md.
namespace faultloom::documents {

/// JSON faultloom.plan. Steps are a flat list with ids from 1, so that a reader needs no recursion, any depth
/// stays readable, and the numbers are those of the card.
[[nodiscard]] nlohmann::json plan_json(const AnswerContext& context, const advice::Plan& plan,
                                       const advice::PlanOptions& options);

/// The same in the words of the card; how many steps fit is the card's affair.
[[nodiscard]] reports::PlanCard card_of(const AnswerContext& context, const advice::Plan& plan);

}  // namespace faultloom::documents
