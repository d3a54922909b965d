#include <faultloom/documents/answers.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/documents/version.hpp>
#include <faultloom/documents/wording.hpp>
#include <nlohmann/json.hpp>
#include <numeric>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

json mode_list(const vehicle::Vehicle& vehicle, const belief::Candidates& candidates,
               const belief::Candidate& c) {
  json list = json::array();
  for (const auto index : {c.a, c.b}) {
    if (index < 0) continue;
    json members = json::array();
    for (const auto m : candidates.classes()[at(index)].modes)
      members.push_back(vehicle::mode_name(vehicle, m));
    list.push_back(members.size() == 1 ? members.front() : members);
  }
  return list;
}

/// Indices sorted by value, greatest first, ties by index.
std::vector<std::size_t> descending(std::span<const double> values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return values[a] > values[b]; });
  return order;
}

json component_json(const vehicle::Vehicle& vehicle, const belief::Posterior& posterior,
                    std::size_t c) {
  const auto& component = vehicle.components[c];
  json item{{"id", component.id},
            {"title", component.title},
            {"kind", component.kind},
            {"probability", posterior.components[c]}};
  if (component.zone != vehicle::none) item["zone"] = vehicle.zones[at(component.zone)].id;
  if (component.loom != vehicle::none) item["loom"] = vehicle.looms[at(component.loom)].id;
  json modes = json::array();
  auto sorted = component.modes;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [&](auto a, auto b) { return posterior.modes[at(a)] > posterior.modes[at(b)]; });
  for (const auto m : sorted)
    modes.push_back({{"id", vehicle.modes[at(m)].id},
                     {"title", vehicle.modes[at(m)].title},
                     {"probability", posterior.modes[at(m)]}});
  item["modes"] = std::move(modes);
  return item;
}

json entries_json(const AnswerContext& context, const belief::Posterior& posterior) {
  json list = json::array();
  for (const auto& report : posterior.entries) {
    json item{{"id", context.job.entries[report.entry].id},
              {"text", context.job.entry_texts[report.entry]},
              {"used", report.used}};
    if (report.used) {
      item["misreading"] = report.misreading;
      item["predictive"] = report.predictive;
    }
    list.push_back(std::move(item));
  }
  return list;
}

json heading(std::string_view format, const AnswerContext& context) {
  return {{"format", format},
          {"version", "1.0"},
          {"library", library_version},
          {"job", context.job.id},
          {"vehicle", context.vehicle.id}};
}

json state_json(const vehicle::Vehicle& vehicle, const vehicle::ControlState& state) {
  json item = json::object();
  for (std::size_t c = 0; c < state.size(); ++c)
    item[vehicle.controls[c].id] = vehicle.controls[c].positions[at(state[c])];
  return item;
}

}  // namespace

json ranking_json(const AnswerContext& context, const belief::Candidates& candidates,
                  const belief::Posterior& posterior, std::size_t top) {
  const auto& vehicle = context.vehicle;
  json answer = heading("faultloom.ranking", context);
  answer["entries"] = entries_json(context, posterior);
  answer["no_fault"] = posterior.no_fault;
  answer["not_in_model"] = posterior.not_in_model;
  answer["bound"] = posterior.bound;
  answer["log_evidence"] = posterior.log_evidence;
  answer["conflict"] = posterior.conflict;
  answer["candidates_evaluated"] = posterior.candidates_summed;

  json components = json::array();
  for (const auto c : descending(posterior.components)) {
    if (components.size() == top) break;
    components.push_back(component_json(vehicle, posterior, c));
  }
  answer["components"] = std::move(components);

  json wires = json::array();
  for (const auto w : descending(posterior.wires)) {
    if (wires.size() == top) break;
    const auto& component = vehicle.components[at(vehicle.wires[w].component)];
    wires.push_back(
        {{"id", component.id}, {"title", component.title}, {"probability", posterior.wires[w]}});
  }
  answer["wires"] = std::move(wires);

  json list = json::array();
  for (const auto& item : posterior.candidates) {
    if (list.size() == top) break;
    list.push_back({{"modes", mode_list(vehicle, candidates, item.candidate)},
                    {"probability", item.probability}});
  }
  answer["candidates"] = std::move(list);

  json groups = json::array();
  for (const auto& group : candidates.classes()) {
    double probability = 0;
    json members = json::array();
    for (const auto m : group.modes) {
      probability += posterior.modes[at(m)];
      members.push_back(vehicle::mode_name(vehicle, m));
    }
    if (group.modes.size() > 1 && probability >= 1e-3)
      groups.push_back({{"members", std::move(members)}, {"probability", probability}});
  }
  std::stable_sort(groups.begin(), groups.end(), [](const json& a, const json& b) {
    return a["probability"].get<double>() > b["probability"].get<double>();
  });
  answer["groups"] = std::move(groups);
  return answer;
}

// ---- next step ---------------------------------------------------------------------------------

namespace {

json leaders_json(const vehicle::Vehicle& vehicle,
                  const std::vector<advice::Step::Leader>& leaders) {
  json list = json::array();
  for (const auto& leader : leaders) {
    if (leader.component == vehicle::none) {
      list.push_back(
          {{"id", ""}, {"title", "nothing broken"}, {"probability", leader.probability}});
    } else {
      const auto& c = vehicle.components[at(leader.component)];
      list.push_back({{"id", c.id}, {"title", c.title}, {"probability", leader.probability}});
    }
  }
  return list;
}

std::string meaning(const json& leaders) {
  std::string text;
  for (const auto& leader : leaders) {
    const auto percent = std::lround(100 * leader["probability"].get<double>());
    if (percent < 1) continue;
    if (!text.empty()) text += ", ";
    const auto id = leader["id"].get<std::string>();
    text += (id.empty() ? leader["title"].get<std::string>() : id) + " " + std::to_string(percent) +
            " %";
  }
  return text;
}

/// Cautions of everything a step touches, the most serious first, each once.
json cautions_json(const AnswerContext& context, const advice::Step& step) {
  const auto& vehicle = context.vehicle;
  std::vector<std::string> ids;
  const auto add = [&](const std::vector<std::string>& more) {
    for (const auto& id : more)
      if (std::find(ids.begin(), ids.end(), id) == ids.end()) ids.push_back(id);
  };
  using Type = advice::Step::Type;
  const bool works_on_it = step.type == Type::repair;
  const bool live = !step.isolated && (step.type == Type::reading || step.type == Type::sign);
  const bool moved = !step.state.empty() && step.state != vehicle.rest_state();
  if (moved || works_on_it || step.type == Type::verify) add({"wheels_clear"});
  if (live) add({"live_with_key_off"});
  if (step.isolated || works_on_it) add({"pack_isolated", "capacitors_discharged"});
  if (works_on_it || step.type == Type::verify) add({"interlock_restored"});
  if (step.instrument >= 0)
    add(context.instruments.instruments[static_cast<std::size_t>(step.instrument)].cautions);
  std::vector<vehicle::Index> zones = step.zones_to_open;
  for (const auto t : {step.red, step.black}) {
    if (t == vehicle::none) continue;
    zones.push_back(vehicle.terminals[at(t)].zone);
    add(vehicle.components[at(vehicle.terminals[at(t)].component)].cautions);
  }
  if (step.component != vehicle::none) {
    zones.push_back(vehicle.components[at(step.component)].zone);
    add(vehicle.components[at(step.component)].cautions);
  }
  for (const auto z : zones)
    if (z != vehicle::none) add(vehicle.zones[at(z)].cautions);
  // What a component warns of for work with the pack off would contradict a live reading at it.
  if (live) std::erase(ids, "pack_isolated");
  json list = json::array();
  for (const auto word : {"DANGER", "WARNING", "CAUTION", "NOTICE"})
    for (const auto& id : ids)
      if (const auto found = context.cautions.find(id); found != context.cautions.end())
        if (found->second.signal_word == word)
          list.push_back({{"id", id}, {"signal_word", word}, {"text", found->second.text}});
  return list;
}

std::string step_text(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  const auto with_state = [&](const std::string& text) {
    return text + "; " + state_text(v, step.state);
  };
  switch (step.type) {
    case advice::Step::Type::reading: {
      const auto& i = context.instruments.instruments[static_cast<std::size_t>(step.instrument)];
      return with_state(i.title + ": red probe on " + v.terminals[at(step.red)].name +
                        ", black on " + v.terminals[at(step.black)].name) +
             (step.isolated ? ", pack isolated" : "");
    }
    case advice::Step::Type::sign: {
      const auto& sign = v.signs[at(step.sign)];
      return with_state("Watch and listen: " + sign.title + " (" +
                        v.components[at(sign.component)].id + ")");
    }
    case advice::Step::Type::look:
      return "Look at " + v.components[at(step.component)].id + ", " +
             v.components[at(step.component)].title;
    case advice::Step::Type::repair: {
      const auto& c = v.components[at(step.component)];
      auto action = c.repair.action;
      if (!action.empty())
        action.front() =
            static_cast<char>(std::toupper(static_cast<unsigned char>(action.front())));
      return action + " " + c.id + ", " + c.title + ", then prove it under load";
    }
    case advice::Step::Type::verify:
      return with_state("Nothing looks broken now: prove that it runs");
  }
  return "";
}

json one_step(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  constexpr const char* names[] = {"reading", "sign", "look", "repair", "verify"};
  json item{{"type", names[static_cast<int>(step.type)]},
            {"text", step_text(context, step)},
            {"minutes", step.minutes},
            {"cost_usd", step.cost_usd},
            {"expected_total_usd", step.expected_total_usd},
            {"helper", step.needs_helper}};
  if (step.instrument >= 0)
    item["instrument"] =
        context.instruments.instruments[static_cast<std::size_t>(step.instrument)].id;
  if (step.red != vehicle::none) item["red"] = v.terminals[at(step.red)].name;
  if (step.black != vehicle::none) item["black"] = v.terminals[at(step.black)].name;
  if (!step.state.empty()) item["state"] = state_json(v, step.state);
  if (step.isolated) item["isolated"] = true;
  if (step.sign != vehicle::none) {
    item["sign"] = v.signs[at(step.sign)].id;
    item["component"] = v.components[at(v.signs[at(step.sign)].component)].id;
  }
  if (step.component != vehicle::none) {
    item["component"] = v.components[at(step.component)].id;
    if (step.type == advice::Step::Type::repair)
      item["action"] = v.components[at(step.component)].repair.action;
  }
  json zones = json::array();
  for (const auto z : step.zones_to_open)
    zones.push_back({{"id", v.zones[at(z)].id}, {"title", v.zones[at(z)].title}});
  item["zones_to_open"] = std::move(zones);
  json outcomes = json::array();
  for (const auto& result : step.results) {
    auto leaders = leaders_json(v, result.leaders);
    auto means = meaning(leaders);
    outcomes.push_back({{"outcome", result.label},
                        {"probability", result.probability},
                        {"means", std::move(means)},
                        {"leaders", std::move(leaders)}});
  }
  item["outcomes"] = std::move(outcomes);
  item["cautions"] = cautions_json(context, step);
  return item;
}

}  // namespace

json step_json(const AnswerContext& context, const advice::Advice& advice) {
  json answer = heading("faultloom.step", context);
  answer["step"] = one_step(context, advice.best);
  json others = json::array();
  for (const auto& step : advice.alternatives) others.push_back(one_step(context, step));
  answer["alternatives"] = std::move(others);
  answer["repair_only_usd"] = advice.repair_only_usd;
  answer["steps_compared"] = advice.steps_compared;
  return answer;
}

// ---- explanation -------------------------------------------------------------------------------

namespace {

/// What an entry should have been under a candidate, in words.
std::string expected_text(const AnswerContext& context, belief::Belief& belief,
                          const readings::Entry& entry, const circuit::Overrides& overrides) {
  auto& solver = belief.solver();
  const auto stage = solver.stage(entry.state, entry.lifted_elements);
  solver.begin(overrides);
  solver.enter(stage);
  if (entry.type == readings::Entry::Type::sign) {
    return outcome_text(readings::outcome_of(readings::sign_truth(solver, entry.sign, stage)));
  }
  const auto& instrument =
      context.instruments.instruments[static_cast<std::size_t>(entry.instrument)];
  const readings::Thevenin port = instrument.type == readings::Instrument::Type::clamp
                                      ? readings::Thevenin{solver.ampere(entry.element), 0}
                                      : solver.port(entry.red, entry.black);
  return shown_text(context.instruments, instrument, port);
}

}  // namespace

json explanation_json(const AnswerContext& context, belief::Belief& belief,
                      const belief::Posterior& posterior, std::size_t top) {
  const auto& vehicle = context.vehicle;
  json answer = heading("faultloom.explanation", context);
  const auto prior_odds = belief.prior_odds(context.job.exposure);
  std::vector<std::size_t> suspects;
  json list = json::array();
  for (const auto c : descending(posterior.components)) {
    if (suspects.size() == top || posterior.components[c] < 1e-6) break;
    suspects.push_back(c);
    double before = 0;
    for (const auto m : vehicle.components[c].modes) before += prior_odds[at(m)];
    const double after = posterior.components[c] / std::max(1 - posterior.components[c], 1e-300);
    list.push_back({{"id", vehicle.components[c].id},
                    {"title", vehicle.components[c].title},
                    {"probability", posterior.components[c]},
                    {"decibans", 10 * std::log10(after / before)}});
  }
  answer["suspects"] = std::move(list);
  answer["no_fault"] = posterior.no_fault;
  answer["not_in_model"] = posterior.not_in_model;
  answer["bound"] = posterior.bound;

  std::vector<belief::Weighted> leading(
      posterior.candidates.begin(),
      posterior.candidates.begin() +
          static_cast<std::ptrdiff_t>(std::min<std::size_t>(3, posterior.candidates.size())));
  json entries = entries_json(context, posterior);
  circuit::Overrides overrides;
  for (std::size_t i = 0; i < posterior.entries.size(); ++i) {
    const auto& report = posterior.entries[i];
    if (!report.used) continue;
    json weights = json::array();
    for (const auto c : suspects)
      if (!report.decibans.empty())
        weights.push_back(
            {{"component", vehicle.components[c].id}, {"decibans", report.decibans[c]}});
    entries[i]["weights"] = std::move(weights);
    const auto& entry = context.job.entries[report.entry];
    if (entry.type == readings::Entry::Type::look) continue;
    json expected = json::array();
    const auto expect = [&](const belief::Candidate& candidate, double probability) {
      belief.candidates().overrides(candidate, overrides);
      expected.push_back({{"modes", mode_list(vehicle, belief.candidates(), candidate)},
                          {"probability", probability},
                          {"text", expected_text(context, belief, entry, overrides)}});
    };
    for (const auto& item : leading) expect(item.candidate, item.probability);
    if (std::none_of(leading.begin(), leading.end(),
                     [](const auto& item) { return item.candidate.a < 0; }))
      expect({}, posterior.no_fault);
    entries[i]["expected"] = std::move(expected);
  }
  answer["entries"] = std::move(entries);
  return answer;
}

// ---- vehicle and circuit -----------------------------------------------------------------------

json summary_of(const vehicle::Vehicle& v) {
  using Type = vehicle::Component::Type;
  const auto count = [&](Type type) {
    return std::count_if(v.components.begin(), v.components.end(),
                         [&](const auto& c) { return c.type == type; });
  };
  std::vector<std::string> connectors;
  for (const auto& c : v.components)
    if (c.type == Type::contact &&
        std::find(connectors.begin(), connectors.end(), c.connector) == connectors.end())
      connectors.push_back(c.connector);
  json answer{{"format", "faultloom.summary"},
              {"version", "1.0"},
              {"id", v.id},
              {"title", v.title},
              {"nominal_volt", v.nominal_volt}};
  answer["counts"] = {{"terminals", v.terminals.size()},  {"parts", count(Type::part)},
                      {"wires", v.wires.size()},          {"looms", v.looms.size()},
                      {"zones", v.zones.size()},          {"connectors", connectors.size()},
                      {"contacts", count(Type::contact)}, {"elements", v.elements.size()},
                      {"modes", v.modes.size()},          {"controls", v.controls.size()}};
  json controls = json::array();
  for (const auto& c : v.controls)
    controls.push_back({{"id", c.id},
                        {"title", c.title},
                        {"positions", c.positions},
                        {"rest", c.positions[at(c.rest)]}});
  answer["controls"] = std::move(controls);
  json terminals = json::array();
  for (const auto& t : v.terminals) terminals.push_back(t.name);
  answer["terminals"] = std::move(terminals);
  json components = json::array();
  for (const auto& c : v.components) {
    json item{{"id", c.id}, {"title", c.title}, {"kind", c.kind}};
    if (c.zone != vehicle::none) item["zone"] = v.zones[at(c.zone)].id;
    if (c.loom != vehicle::none) item["loom"] = v.looms[at(c.loom)].id;
    components.push_back(std::move(item));
  }
  answer["components"] = std::move(components);
  json modes = json::array();
  for (std::size_t m = 0; m < v.modes.size(); ++m)
    modes.push_back({{"name", vehicle::mode_name(v, static_cast<vehicle::Index>(m))},
                     {"title", v.modes[m].title},
                     {"component", v.components[at(v.modes[m].component)].id}});
  answer["modes"] = std::move(modes);
  return answer;
}

json solution_of(circuit::Solver& solver, circuit::Stage stage) {
  const auto& circuit = solver.circuit();
  const auto& v = circuit.vehicle();
  const auto settled = solver.settle(stage);
  solver.enter(stage);
  json answer{{"format", "faultloom.solution"},
              {"version", "1.0"},
              {"vehicle", v.id},
              {"chatters", settled.chatters}};
  json volts = json::object();
  for (std::size_t t = 0; t < v.terminals.size(); ++t)
    volts[v.terminals[t].name] = solver.volt(static_cast<vehicle::Index>(t));
  json amps = json::object();
  for (std::size_t e = 0; e < v.elements.size(); ++e)
    amps[v.elements[e].name] = solver.ampere(static_cast<vehicle::Index>(e));
  json contacts = json::object();
  for (std::size_t c = 0; c < circuit.contacts().size(); ++c)
    contacts[v.elements[at(circuit.contacts()[c])].name] = settled.chattering.test(c) ? "chatters"
                                                           : settled.closed.test(c)   ? "closed"
                                                                                      : "open";
  json signs = json::object();
  for (std::size_t s = 0; s < v.signs.size(); ++s)
    signs[v.components[at(v.signs[s].component)].id + "." + v.signs[s].id] = readings::name_of(
        readings::outcome_of(readings::sign_truth(solver, static_cast<vehicle::Index>(s), stage)));
  answer["volts"] = std::move(volts);
  answer["amps"] = std::move(amps);
  answer["contacts"] = std::move(contacts);
  answer["signs"] = std::move(signs);
  return answer;
}

}  // namespace faultloom::documents
