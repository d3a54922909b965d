#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace faultloom::reports {

struct CardCaution {
  std::string signal_word;  ///< DANGER, WARNING, CAUTION or NOTICE
  std::string text;
};

struct CardOutcome {
  std::string label;
  std::string share;     ///< how probable it is, "62 %"
  std::string means;     ///< leading suspects after it; may be empty
  std::string then;      ///< what to do if no step of the card follows
  std::size_t step = 0;  ///< number of the step that follows, from 1; 0: none
};

struct CardStep {
  std::string where;              ///< place
  std::vector<std::string> what;  ///< what to do, a paragraph each
  std::string price;              ///< minutes and expected costs
  std::vector<CardCaution> cautions;
  std::vector<CardOutcome> outcomes;  ///< the likeliest first
};

/// What a plan says, ready to be laid out. Text is UTF-8, of any length and content.
struct PlanCard {
  std::string title;
  std::string subject;             ///< job and vehicle
  std::vector<std::string> notes;  ///< complaint, expected costs
  std::vector<CardStep> steps;     ///< numbered from 1 in this order
};

/// One A4 page in portrait as SVG, lengths in millimeters, for print in black and white: a heading, boxes of
/// numbered steps in two columns, and at the foot every caution that they refer to by a letter.
///
/// As many steps are shown, in their order, as fit in whole; an outcome whose step is not shown says to go
/// on with a new plan. Text is wrapped by the widths of a wide sans serif, so that narrower ones
/// fit too, and cut with an ellipsis where it would take more lines than a box has. Nothing is loaded
/// from elsewhere. What XML does not allow, and marks that change the direction of writing, become "?".
/// Same argument, same bytes. Complexity: linear in the text for each number of steps tried, at most 24.
[[nodiscard]] std::string plan_card_svg(const PlanCard& card);

}  // namespace faultloom::reports
