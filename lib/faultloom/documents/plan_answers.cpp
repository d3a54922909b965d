#include <fmt/format.h>

#include <algorithm>
#include <faultloom/documents/plan_answers.hpp>
#include <faultloom/documents/wording.hpp>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

using advice::Standing;
using nlohmann::json;
using Type = advice::Step::Type;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

constexpr const char* standing_names[] = {"step", "runs", "repair", "verify", "ask_again", "stuck"};

/// What to do after an outcome, in words.
std::string then_text(const AnswerContext& context, const advice::PlanBranch& branch) {
  switch (branch.standing) {
    case Standing::goes_on:
      return fmt::format("go on at step {}", branch.step + 1);
    case Standing::runs:
      return "done: make the checks due after a repair, then close the job";
    case Standing::repair: {
      const auto& c = context.vehicle.components[at(branch.component)];
      return fmt::format("{} {} and prove it under load; if it does not run, ask again",
                         words_of(c.repair.action), c.id);
    }
    case Standing::verify:
      return "nothing looks broken: prove that it runs";
    case Standing::ask_again:
      return "ask again with what was found";
    case Standing::stuck:
      return "nothing more can be done within these limits: allow a place, a tool or more time";
  }
  return "";
}

/// With a no-break space, so that a line does not end before the sign.
std::string percent_text(double probability) {
  const double hundredfold = 100 * probability;
  if (hundredfold < 1) return "<1\u00a0%";
  return fmt::format("{:.0f}\u00a0%", hundredfold);
}

std::string minutes_text(double minutes) {
  return fmt::format("{:.{}f} min", minutes, minutes < 9.95 ? 1 : 0);
}

/// "K1.coil_feed (main contactor)": the point and what it is on.
std::string point_text(const vehicle::Vehicle& v, vehicle::Index terminal) {
  const auto& t = v.terminals[at(terminal)];
  if (t.component == vehicle::none) return t.name;
  const auto title = inside_sentence(v.components[at(t.component)].title);
  return title.empty() ? t.name : fmt::format("{} ({})", t.name, title);
}
/// The place to work at: zones of the probes, or of the part.
std::string where_text(const vehicle::Vehicle& v, const advice::Step& step) {
  std::vector<vehicle::Index> zones;
  const auto add = [&](vehicle::Index zone) {
    if (zone != vehicle::none && std::find(zones.begin(), zones.end(), zone) == zones.end())
      zones.push_back(zone);
  };
  for (const auto t : {step.red, step.black})
    if (t != vehicle::none) add(v.terminals[at(t)].zone);
  for (const auto c : {step.component, step.lifted})
    if (c != vehicle::none) add(v.components[at(c)].zone);
  add(step.wiggled_zone);
  std::string text;
  for (const auto z : zones) text += (text.empty() ? "" : "; ") + v.zones[at(z)].title;
  if (!text.empty()) return text;
  return step.type == Type::sign || step.type == Type::verify ? "At the controls"
                                                              : "At the vehicle";
}

std::string watch_text(const vehicle::Vehicle& v, const advice::Step& step) {
  const auto& sign = v.signs[at(step.sign)];
  return fmt::format("Watch and listen: {} ({}).", sign.title, thing_text(v, sign.component));
}

std::string repair_text(const vehicle::Vehicle& v, const advice::Step& step) {
  const auto text = fmt::format("{} {}, then prove it under load.",
                                words_of(v.components[at(step.component)].repair.action),
                                thing_text(v, step.component));
  if (step.type == Type::repair) return first_capital(text);
  return fmt::format("Ask first, {:.0f} USD is more than was authorized: {}", step.cost_usd, text);
}

/// What to do with hands, eyes and ears. A name that has to be cut must not cost what comes after it, so
/// each probe has its own paragraph.
std::vector<std::string> deed_texts(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  std::vector<std::string> texts;
  switch (step.type) {
    case Type::lift:
      texts.push_back(fmt::format("Take off {}.", thing_text(v, step.lifted)));
      [[fallthrough]];
    case Type::reading: {
      const auto& used = context.instruments.instruments[static_cast<std::size_t>(step.instrument)];
      texts.push_back(fmt::format("{}: red probe on {},", used.title, point_text(v, step.red)));
      texts.push_back(fmt::format("black probe on {}.", point_text(v, step.black)));
      break;
    }
    case Type::bridge:
      texts.push_back(fmt::format("Fused lead across {}: from {}", thing_text(v, step.component),
                                  point_text(v, step.red)));
      texts.push_back(fmt::format("to {}.", point_text(v, step.black)));
      [[fallthrough]];
    case Type::sign:
      if (step.wiggled_zone != vehicle::none)
        texts.push_back(fmt::format("Move wires and plugs by hand at {} meanwhile.",
                                    inside_sentence(v.zones[at(step.wiggled_zone)].title)));
      texts.push_back(watch_text(v, step));
      break;
    case Type::look:
      texts.push_back(fmt::format("Look at {}.", thing_text(v, step.component)));
      break;
    case Type::repair:
    case Type::authorize:
      texts.push_back(repair_text(v, step));
      break;
    case Type::verify:
      texts.emplace_back("Nothing looks broken now: prove that it runs.");
      break;
  }
  return texts;
}

std::vector<std::string> what_texts(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  std::vector<std::string> texts;
  if (!step.zones_to_open.empty()) {
    std::string open;
    for (const auto z : step.zones_to_open)
      open += (open.empty() ? "" : ", ") + inside_sentence(v.zones[at(z)].title);
    texts.push_back("Open: " + open + ".");
  }
  if (!step.state.empty() || step.isolated) {
    std::string state = "Controls: ";
    state += step.state.empty() ? "all at rest" : state_text(v, step.state);
    if (step.isolated) state += "; pack isolated, capacitors discharged";
    if (step.needs_helper) state += "; with a helper";
    texts.push_back(state + ".");
  }
  for (auto& text : deed_texts(context, step)) texts.push_back(std::move(text));
  if (step.when_sign != vehicle::none) texts.push_back(until_text(v, step) + ".");
  return texts;
}

/// A setting is not damaged or clean, but set wrong or right.
std::string label_text(const vehicle::Vehicle& v, const advice::Step& step, std::string label) {
  const bool setting = step.type == Type::look &&
                       v.components[at(step.component)].type == vehicle::Component::Type::setting;
  if (setting && label == "damage") return "set wrong";
  if (setting && label == "clean") return "set right";
  return words_of(std::move(label));
}

std::string means_text(const vehicle::Vehicle& v, const advice::Step::Result& result) {
  std::string text;
  for (const auto& leader : result.leaders) {
    constexpr double worth_naming = 0.05;
    if (leader.probability < worth_naming) continue;
    if (!text.empty()) text += ", ";
    text += (leader.component == vehicle::none ? std::string("nothing broken")
                                               : v.components[at(leader.component)].id) +
            "\u00a0" + percent_text(leader.probability);
  }
  return text;
}

}  // namespace

json plan_json(const AnswerContext& context, const advice::Plan& plan,
               const advice::PlanOptions& options) {
  json answer = heading("faultloom.plan", context);
  answer["depth"] = options.depth;
  answer["residual"] = options.residual;
  answer["expected_usd"] = plan.expected_usd;
  answer["repair_only_usd"] = plan.repair_only_usd;
  answer["open_share"] = plan.open_share;
  answer["cut_short"] = plan.cut_short;
  json steps = json::array();
  for (const auto& node : plan.steps) {
    auto item = one_step_json(context, node.step);
    item["id"] = steps.size() + 1;
    item["level"] = node.level;
    item["reach"] = node.reach;
    for (std::size_t b = 0; b < node.branches.size(); ++b) {
      const auto& branch = node.branches[b];
      auto& outcome = item["outcomes"][b];
      outcome["reach"] = branch.reach;
      outcome["expected_usd"] = branch.extra_usd + branch.to_go_usd;
      outcome["then"] = standing_names[static_cast<int>(branch.standing)];
      outcome["text"] = then_text(context, branch);
      if (branch.standing == Standing::goes_on) outcome["step"] = branch.step + 1;
      if (branch.standing == Standing::repair)
        outcome["component"] = context.vehicle.components[at(branch.component)].id;
    }
    steps.push_back(std::move(item));
  }
  answer["steps"] = std::move(steps);
  return answer;
}

reports::PlanCard card_of(const AnswerContext& context, const advice::Plan& plan) {
  const auto& v = context.vehicle;
  reports::PlanCard card;
  card.title = context.job.title.empty() ? context.job.id : context.job.title;
  card.subject = fmt::format("{}; job {}", v.title.empty() ? v.id : v.title, context.job.id);
  if (!context.job.complaint.empty()) card.notes.push_back("Complaint: " + context.job.complaint);
  card.notes.push_back(fmt::format(
      "Expected cost to the end of the job {:.0f} USD; without further tests {:.0f} USD. "
      "Figures after an outcome say how probable it is and what is then suspected.",
      plan.expected_usd, plan.repair_only_usd));
  for (const auto& node : plan.steps) {
    const auto& step = node.step;
    reports::CardStep item;
    item.where = where_text(v, step);
    item.what = what_texts(context, step);
    item.price = fmt::format("{}, {:.0f} USD; from here {:.0f} USD expected",
                             minutes_text(step.minutes), step.cost_usd, step.expected_total_usd);
    for (const auto& caution : cautions_json(context, step))
      item.cautions.push_back(
          {caution["signal_word"].get<std::string>(), caution["text"].get<std::string>()});
    for (std::size_t b = 0; b < node.branches.size(); ++b) {
      const auto& branch = node.branches[b];
      const auto& result = step.results[b];
      reports::CardOutcome outcome;
      outcome.label = label_text(v, step, result.label);
      outcome.share = percent_text(result.probability);
      outcome.means = means_text(v, result);
      outcome.then = branch.standing == Standing::ask_again
                         ? std::string("Ask again")  // the foot of the page says with what
                         : first_capital(then_text(context, branch));
      if (branch.standing == Standing::goes_on) outcome.step = at(branch.step) + 1;
      item.outcomes.push_back(std::move(outcome));
    }
    card.steps.push_back(std::move(item));
  }
  return card;
}

}  // namespace faultloom::documents
