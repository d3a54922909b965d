#include <faultloom/documents/verification_answers.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <faultloom/base/error.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/wording.hpp>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

using advice::Check;
using nlohmann::json;
using vehicle::Component;

std::size_t at(vehicle::Index i) { return static_cast<std::size_t>(i); }

/// Earlier work below this is no finding.
constexpr double worth_telling = 0.05;
/// From here on it counts as found.
constexpr double found = 0.5;

const char* name_of(Check::Result result) {
  switch (result) {
    case Check::Result::passed:
      return "passed";
    case Check::Result::failed:
      return "failed";
    case Check::Result::open:
      break;
  }
  return "open";
}

std::string control_part(const vehicle::Vehicle& vehicle, const Check& check) {
  if (check.control == vehicle::none) return "";
  const auto& control = vehicle.controls[at(check.control)];
  return "_" + control.id + "_" + control.positions[at(check.state[at(check.control)])];
}

std::string id_of(const vehicle::Vehicle& vehicle, const Check& check) {
  switch (check.type) {
    case Check::Type::drives:
      return "drives" + control_part(vehicle, check);
    case Check::Type::interlock:
      return "interlock" + control_part(vehicle, check);
    case Check::Type::drop:
      break;
  }
  return "drop_" + vehicle.components[at(check.component)].id;
}

std::string text_of(const vehicle::Vehicle& vehicle, const Check& check) {
  const auto state = state_text(vehicle, check.state);
  switch (check.type) {
    case Check::Type::drives:
      return fmt::format("It drives: {}", state);
    case Check::Type::interlock: {
      const auto& control = vehicle.controls[at(check.control)];
      return fmt::format("It does not drive with the {} {}: {}", inside_sentence(control.title),
                         control.positions[at(check.state[at(check.control)])], state);
    }
    case Check::Type::drop:
      break;
  }
  return fmt::format("At most {} from {} to {}, {}", quantity_text(check.limit_volt, "V"),
                     vehicle.terminals[at(check.red)].name, vehicle.terminals[at(check.black)].name,
                     state);
}

/// The step that makes a check, for its cautions.
advice::Step step_of(const AnswerContext& context, const Check& check) {
  advice::Step step;
  step.state = check.state;
  if (check.type != Check::Type::drop) {
    step.type = advice::Step::Type::verify;
    return step;
  }
  step.type = advice::Step::Type::reading;
  step.red = check.red;
  step.black = check.black;
  double most = 0;  // of the voltmeters the one that loads least
  const auto& list = context.instruments.instruments;
  for (std::size_t i = 0; i < list.size(); ++i) {
    if (list[i].type != readings::Instrument::Type::voltmeter || list[i].resistance_ohm <= most)
      continue;
    most = list[i].resistance_ohm;
    step.instrument = static_cast<int>(i);
  }
  return step;
}

json check_json(const AnswerContext& context, const Check& check) {
  const auto& v = context.vehicle;
  constexpr std::array<const char*, 3> types{"drives", "drop", "interlock"};
  const auto step = step_of(context, check);
  json item{
      {"id", id_of(v, check)},           {"type", types[static_cast<std::size_t>(check.type)]},
      {"text", text_of(v, check)},       {"state", state_json(v, check.state)},
      {"result", name_of(check.result)}, {"cautions", cautions_json(context, step)}};
  if (check.entry) item["entry"] = context.job.entries[*check.entry].id;
  if (check.type == Check::Type::drop) {
    item["component"] = v.components[at(check.component)].id;
    if (step.instrument >= 0)
      item["instrument"] =
          context.instruments.instruments[static_cast<std::size_t>(step.instrument)].id;
    item["red"] = v.terminals[at(check.red)].name;
    item["black"] = v.terminals[at(check.black)].name;
    item["expected_volt"] = check.expected_volt;
    item["limit_volt"] = check.limit_volt;
    item["before_volt"] = check.before_volt ? json(*check.before_volt) : json(nullptr);
    item["after_volt"] = check.after_volt ? json(*check.after_volt) : json(nullptr);
  } else {
    const auto& sign = v.signs[at(check.sign)];
    item["part"] = v.components[at(sign.component)].id;
    item["sign"] = sign.id;
    item["expected"] = check.type == Check::Type::drives ? "yes" : "no";
  }
  return item;
}

/// What earlier hands did that is still there, by component, likeliest first.
std::vector<std::size_t> earlier_work(const vehicle::Vehicle& vehicle,
                                      const belief::Posterior& posterior, double least) {
  std::vector<std::size_t> list;
  for (std::size_t c = 0; c < vehicle.components.size(); ++c)
    if (vehicle.components[c].type == Component::Type::earlier_work &&
        posterior.components[c] >= least)
      list.push_back(c);
  std::stable_sort(list.begin(), list.end(), [&](std::size_t a, std::size_t b) {
    return posterior.components[a] > posterior.components[b];
  });
  return list;
}

json earlier_work_json(const vehicle::Vehicle& vehicle, const belief::Posterior& posterior) {
  json list = json::array();
  for (const auto c : earlier_work(vehicle, posterior, worth_telling)) {
    auto modes = vehicle.components[c].modes;
    std::stable_sort(modes.begin(), modes.end(), [&](vehicle::Index a, vehicle::Index b) {
      return posterior.modes[at(a)] > posterior.modes[at(b)];
    });
    json names = json::array();
    for (const auto m : modes)
      if (posterior.modes[at(m)] >= worth_telling)
        names.push_back({{"id", vehicle.modes[at(m)].id},
                         {"title", vehicle.modes[at(m)].title},
                         {"probability", posterior.modes[at(m)]}});
    list.push_back({{"id", vehicle.components[c].id},
                    {"title", vehicle.components[c].title},
                    {"probability", posterior.components[c]},
                    {"modes", std::move(names)}});
  }
  return list;
}

/// What speaks against closing the job in this way.
std::vector<Problem> objections(const AnswerContext& context, const belief::Posterior& posterior,
                                const std::vector<Check>& checks, const Closing& closing) {
  std::vector<Problem> problems;
  const auto add = [&](std::string message) {
    problems.push_back({Code::not_verified, std::move(message), ""});
  };
  if (closing.verdict == "not_repaired") return problems;
  const auto& v = context.vehicle;
  const bool any_repair = !context.job.repairs.empty();
  if (closing.verdict == "repaired" && !any_repair)
    add("No repair is recorded; record it, or close as fixed_itself or no_fault_found");
  if (closing.verdict != "repaired" && any_repair)
    add(fmt::format("A repair is recorded; withdraw it, or close as repaired instead of {}",
                    closing.verdict));
  for (const auto& check : checks) {
    const auto what = text_of(v, check);
    const bool by_word = closing.by == "word" && check.type != Check::Type::interlock;
    if (check.result == Check::Result::failed) {
      add(fmt::format("Failed: {}; go on with the job", what));
    } else if (check.result == Check::Result::open && !by_word) {
      add(fmt::format("Not proved yet: {}; {}", what,
                      check.type == Check::Type::interlock
                          ? "an interlock is proved, nobody's word stands for it"
                          : "prove it, or close by word"));
    }
  }
  // What may be unsafe is never let pass in silence.
  for (const auto c : earlier_work(v, posterior, found))
    add(fmt::format("{} is probably still there ({:.0f} %); put it right, or close as not_repaired",
                    v.components[c].title, 100 * posterior.components[c]));
  return problems;
}

}  // namespace

json verification_json(const AnswerContext& context, const belief::Posterior& posterior,
                       const std::vector<Check>& checks) {
  json answer = heading("faultloom.verification", context);
  answer["result"] = name_of(advice::overall(checks));
  answer["repairs"] = repairs_json(context, posterior);
  answer["checks"] = json::array();
  for (const auto& check : checks) answer["checks"].push_back(check_json(context, check));
  answer["earlier_work"] = earlier_work_json(context.vehicle, posterior);
  if (!context.job.verdict.empty()) answer["verdict"] = context.job.verdict;
  return answer;
}

Closing read_closing(std::string_view text) {
  std::vector<Problem> problems;
  Closing closing;
  const auto value = parse_text(text);
  const auto choose = [&](const char* key, std::initializer_list<std::string_view> words,
                          std::string& out) {
    if (!value.contains(key)) {
      if (out.empty())
        problems.push_back({Code::schema, fmt::format("The closing needs '{}'", key), ""});
      return;
    }
    const auto pointer = std::string("/") + key;
    const auto word = value[key].is_string() ? value[key].get<std::string>() : "";
    if (std::find(words.begin(), words.end(), word) != words.end()) {
      out = word;
      return;
    }
    std::string list;
    for (const auto w : words) list += (list.empty() ? "" : ", ") + std::string(w);
    problems.push_back({Code::value, fmt::format("'{}' must be one of {}", key, list), pointer});
  };
  if (!value.is_object()) {
    problems.push_back({Code::schema, "The closing must be an object", ""});
    throw Error(std::move(problems));
  }
  for (const auto& [key, item] : value.items())
    if (key != "verdict" && key != "by" && key != "note")
      problems.push_back({Code::schema, "Unknown member '" + key + "'", "/" + pointer_token(key)});
  choose("verdict", {"repaired", "fixed_itself", "no_fault_found", "not_repaired"},
         closing.verdict);
  choose("by", {"verification", "word"}, closing.by);
  if (value.contains("note")) {
    constexpr std::size_t longest = 2000;
    if (value["note"].is_string() && value["note"].get<std::string>().size() <= longest) {
      closing.note = value["note"].get<std::string>();
    } else {
      problems.push_back({Code::value,
                          fmt::format("'note' must be a text of at most {} characters", longest),
                          "/note"});
    }
  }
  throw_if_any(std::move(problems));
  return closing;
}

std::string closed_job(std::string_view job_text, const AnswerContext& context,
                       const belief::Posterior& posterior, const std::vector<Check>& checks,
                       const Closing& closing) {
  auto problems = objections(context, posterior, checks, closing);
  if (!problems.empty()) throw Error(std::move(problems));
  auto document = parse_ordered(job_text);
  nlohmann::ordered_json item{{"verdict", closing.verdict}, {"by", closing.by}};
  if (!closing.note.empty()) item["note"] = closing.note;
  auto reported = nlohmann::ordered_json::array();
  for (const auto c : earlier_work(context.vehicle, posterior, worth_telling))
    reported.push_back(context.vehicle.components[c].id);
  if (!reported.empty()) item["reported"] = std::move(reported);
  document["closing"] = std::move(item);
  return document.dump(2) + "\n";
}

}  // namespace faultloom::documents
