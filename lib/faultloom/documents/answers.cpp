#include <faultloom/documents/answers.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <faultloom/documents/version.hpp>
#include <faultloom/documents/wording.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <numeric>

namespace faultloom::documents {
namespace {

using nlohmann::json;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// The modes a fault stands for, by their share, hidden ones left out.
std::vector<std::string> mode_names(const belief::FaultSpace& space,
                                    const belief::Posterior& posterior, std::int32_t fault) {
  const auto& own = space.fault(fault).modes;
  auto sorted = own;
  const auto share_of = [&](vehicle::Index m) {
    for (const auto& [mode, share] : posterior.mode_shares[at(fault)])
      if (mode == m) return share;
    return 0.0;
  };
  std::stable_sort(sorted.begin(), sorted.end(),
                   [&](auto a, auto b) { return share_of(a) > share_of(b); });
  std::vector<std::string> names;
  for (const auto m : sorted)
    if (sorted.size() == 1 || share_of(m) > 0 || names.empty())
      names.push_back(vehicle::mode_name(space.vehicle(), m));
  return names;
}

json mode_list(const belief::FaultSpace& space, const belief::Posterior& posterior,
               const belief::Candidate& candidate) {
  json list = json::array();
  for (const auto f : candidate.faults) {
    const auto names = mode_names(space, posterior, f);
    if (names.size() == 1) {
      list.push_back(names.front());
    } else {
      list.push_back(names);
    }
  }
  return list;
}

/// Candidates whose faults stand for the same modes (cells of one resistance) count as one.
json candidates_json(const belief::FaultSpace& space, const belief::Posterior& posterior,
                     std::size_t top) {
  std::vector<std::pair<json, double>> merged;
  std::map<std::string, std::size_t> place;
  for (const auto& item : posterior.candidates) {
    if (item.probability < 1e-9) break;
    auto modes = mode_list(space, posterior, item.candidate);
    const auto [entry, added] = place.emplace(modes.dump(), merged.size());
    if (added) merged.emplace_back(std::move(modes), 0.0);
    merged[entry->second].second += item.probability;
  }
  std::stable_sort(merged.begin(), merged.end(),
                   [](const auto& a, const auto& b) { return a.second > b.second; });
  json list = json::array();
  for (auto& [modes, probability] : merged) {
    if (list.size() == top) break;
    list.push_back({{"modes", std::move(modes)}, {"probability", probability}});
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

/// The way of misreading to name: one that is likelier than a proper reading, or a fair suspicion.
readings::Slip likeliest_slip(const belief::EntryReport& report) {
  constexpr double worth_naming = 0.2;
  std::size_t best = 0;
  const auto& shares = report.by_slip;
  for (std::size_t s = 1; s < shares.size(); ++s)
    if (shares[s] > worth_naming && (best == 0 || shares[s] > shares[best])) best = s;
  return static_cast<readings::Slip>(best);
}

json slips_json(const belief::EntryReport& report) {
  using readings::Slip;
  const auto share = [&](Slip slip) { return report.by_slip[index_of(slip)]; };
  return {{"no_contact", share(Slip::no_contact)},
          {"wrong_neighbour", share(Slip::wrong_neighbour)},
          {"wrong_state", share(Slip::wrong_state)},
          {"gross", share(Slip::gross)}};
}

json entries_json(const AnswerContext& context, const belief::Posterior& posterior) {
  json list = json::array();
  for (const auto& report : posterior.entries) {
    const auto& entry = context.job.entries[report.entry];
    const bool repair = entry.type == readings::Entry::Type::repair;
    json item{{"id", entry.id},
              {"text", context.job.entry_texts[report.entry]},
              {"used", report.used || repair}};
    if (report.used) {
      item["misreading"] = report.misreading;
      if (const auto slip = likeliest_slip(report); slip != readings::Slip::proper) {
        item["looks_like"] = slip_text(context.vehicle, context.instruments, entry, slip);
        item["slips"] = slips_json(report);
      }
      if (!report.decibans.empty()) item["predictive"] = report.predictive;
    }
    list.push_back(std::move(item));
  }
  return list;
}

}  // namespace

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

namespace {

/// Things of one bundle that an event may have damaged besides what is already found: to be checked before
/// the loom is closed.
json check_list(const belief::Belief& belief, const belief::Posterior& posterior,
                const belief::Bundle& bundle, const std::vector<double>& odds) {
  constexpr double worth_checking = 0.02;
  const auto& vehicle = belief.space().vehicle();
  json list = json::array();
  std::vector<std::pair<double, vehicle::Index>> members;
  for (const auto c : bundle.members) {
    double before = 0;
    for (const auto m : vehicle.components[at(c)].modes) before += odds[at(m)];
    const double now = posterior.components[at(c)];
    if (now >= worth_checking && now > 3 * before) members.emplace_back(now, c);
  }
  std::stable_sort(members.begin(), members.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  for (const auto& [probability, c] : members)
    list.push_back({{"id", vehicle.components[at(c)].id},
                    {"title", vehicle.components[at(c)].title},
                    {"probability", probability}});
  return list;
}

json events_json(const AnswerContext& context, const belief::Belief& belief,
                 const belief::Posterior& posterior) {
  constexpr double worth_telling = 0.05;
  const auto odds = belief.prior_odds(context.job.exposure);
  json list = json::array();
  for (const auto& event : posterior.events) {
    if (event.probability < worth_telling) break;
    const auto& bundle = belief.space().bundles()[at(event.bundle)];
    const auto found = belief.rates().events.find(event.id);
    const bool loom = bundle.type == belief::Bundle::Type::loom;
    list.push_back(
        {{"event", event.id},
         {"title", found == belief.rates().events.end() ? event.id : found->second.title},
         {loom ? "loom" : "connector", bundle.id},
         {"probability", event.probability},
         {"check_before_closing", check_list(belief, posterior, bundle, odds)}});
  }
  return list;
}

json resistances_json(const belief::FaultSpace& space, const belief::Posterior& posterior) {
  constexpr double worth_telling = 0.01;
  const auto& vehicle = space.vehicle();
  json list = json::array();
  for (const auto& r : posterior.resistances) {
    if (r.probability < worth_telling) break;
    const auto c = space.variables()[at(r.variable)].components.front();
    list.push_back({{"id", vehicle.components[at(c)].id},
                    {"title", vehicle.components[at(c)].title},
                    {"probability", r.probability},
                    {"median_ohm", r.median_ohm},
                    {"low_ohm", r.low_ohm},
                    {"high_ohm", r.high_ohm}});
  }
  return list;
}

/// Modes that no electrical reading tells apart, whose fault is worth a mention.
json groups_json(const belief::FaultSpace& space, const belief::Posterior& posterior) {
  std::map<std::vector<std::string>, double> sums;
  for (std::size_t f = 0; f < space.faults().size(); ++f) {
    if (posterior.faults[f] < 1e-9 || space.faults()[f].modes.size() < 2) continue;
    std::vector<std::string> members;
    for (const auto m : space.faults()[f].modes)
      members.push_back(vehicle::mode_name(space.vehicle(), m));
    sums[members] += posterior.faults[f];
  }
  // What was there before a repair and what the repair did may be there at once.
  std::vector<std::pair<double, std::vector<std::string>>> sorted;
  for (auto& [members, probability] : sums)
    if (probability >= 1e-3) sorted.emplace_back(std::min(probability, 1.0), members);
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  json groups = json::array();
  for (auto& [probability, members] : sorted)
    groups.push_back({{"members", std::move(members)}, {"probability", probability}});
  return groups;
}

}  // namespace

json repairs_json(const AnswerContext& context, const belief::Posterior& posterior) {
  constexpr double worth_telling = 0.01;
  const auto& vehicle = context.vehicle;
  json list = json::array();
  std::size_t number = 0;
  for (const auto& entry : context.job.entries) {
    if (entry.type != readings::Entry::Type::repair) continue;
    const auto& report = posterior.repairs[number++];
    const auto& component = vehicle.components[at(entry.component)];
    json modes = json::array();
    for (const auto& part : report.modes) {
      if (part.share < worth_telling) continue;
      const auto& mode = vehicle.modes[at(part.mode)];
      modes.push_back({{"id", mode.id}, {"title", mode.title}, {"probability", part.share}});
    }
    list.push_back({{"entry", entry.id},
                    {"id", component.id},
                    {"title", component.title},
                    {"action", entry.action},
                    {"was_faulty", report.was_faulty},
                    {"modes", std::move(modes)}});
  }
  return list;
}

json ranking_json(const AnswerContext& context, const belief::Belief& belief,
                  const belief::Posterior& posterior, std::size_t top) {
  const auto& vehicle = context.vehicle;
  json answer = heading("faultloom.ranking", context);
  answer["entries"] = entries_json(context, posterior);
  answer["no_fault"] = posterior.no_fault;
  answer["not_in_model"] = posterior.not_in_model;
  answer["bound"] = posterior.bound;
  answer["complete"] = posterior.complete;
  answer["growth"] = posterior.growth;
  answer["quadrature_error"] = posterior.quadrature_error;
  answer["log_evidence"] = posterior.log_evidence;
  answer["conflict"] = posterior.conflict;
  answer["candidates_evaluated"] = posterior.sets;

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
  answer["candidates"] = candidates_json(belief.space(), posterior, top);
  answer["groups"] = groups_json(belief.space(), posterior);
  answer["events"] = events_json(context, belief, posterior);
  answer["resistances"] = resistances_json(belief.space(), posterior);
  answer["repairs"] = repairs_json(context, posterior);
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

}  // namespace

std::string thing_text(const vehicle::Vehicle& v, vehicle::Index component) {
  const auto& c = v.components[at(component)];
  if (c.type == vehicle::Component::Type::setting) return words_of(c.id);
  return c.title.empty() ? c.id : fmt::format("{}, {}", c.id, inside_sentence(c.title));
}

std::string until_text(const vehicle::Vehicle& v, const advice::Step& step) {
  const auto& sign = v.signs[at(step.when_sign)];
  return fmt::format("Try it up to {} times; note what shows the first time this fails: {} ({})",
                     step.most_tries, inside_sentence(sign.title),
                     v.components[at(sign.component)].id);
}

json cautions_json(const AnswerContext& context, const advice::Step& step) {
  const auto& vehicle = context.vehicle;
  std::vector<std::string> ids;
  const auto add = [&](const std::vector<std::string>& more) {
    for (const auto& id : more)
      if (std::find(ids.begin(), ids.end(), id) == ids.end()) ids.push_back(id);
  };
  using Type = advice::Step::Type;
  const bool works_on_it = step.type == Type::repair || step.type == Type::authorize;
  const bool bridged = step.type == Type::bridge;
  const bool live =
      !step.isolated && (step.type == Type::reading || step.type == Type::sign || bridged);
  const bool moved = !step.state.empty() && step.state != vehicle.rest_state();
  if (moved || works_on_it || bridged || step.type == Type::verify) add({"wheels_clear"});
  if (live) add({"live_with_key_off"});
  if (step.isolated || works_on_it) add({"pack_isolated", "capacitors_discharged"});
  if (works_on_it || bridged || step.type == Type::verify) add({"interlock_restored"});
  if (bridged) add({"bypass"});
  if (step.instrument >= 0)
    add(context.instruments.instruments[static_cast<std::size_t>(step.instrument)].cautions);
  std::vector<vehicle::Index> zones = step.zones_to_open;
  zones.push_back(step.wiggled_zone);
  for (const auto t : {step.red, step.black}) {
    if (t == vehicle::none) continue;
    zones.push_back(vehicle.terminals[at(t)].zone);
    add(vehicle.components[at(vehicle.terminals[at(t)].component)].cautions);
  }
  for (const auto c : {step.component, step.lifted}) {
    if (c == vehicle::none) continue;
    zones.push_back(vehicle.components[at(c)].zone);
    add(vehicle.components[at(c)].cautions);
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

namespace {

std::string step_text(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  const auto with_state = [&](const std::string& text) {
    return text + "; " + state_text(v, step.state);
  };
  const auto probes = [&] {
    const auto& i = context.instruments.instruments[static_cast<std::size_t>(step.instrument)];
    return i.title + (step.when_sign == vehicle::none ? "" : " clipped on") + ": red probe on " +
           v.terminals[at(step.red)].name + ", black on " + v.terminals[at(step.black)].name;
  };
  const auto watch = [&] {
    const auto& sign = v.signs[at(step.sign)];
    return with_state("Watch and listen: " + sign.title + " (" +
                      v.components[at(sign.component)].id + ")");
  };
  const auto repair = [&] {
    return words_of(v.components[at(step.component)].repair.action) + " " +
           thing_text(v, step.component);
  };
  const auto when = [&] {
    return step.when_sign == vehicle::none ? "" : "; " + inside_sentence(until_text(v, step));
  };
  switch (step.type) {
    case advice::Step::Type::reading:
      return with_state(probes()) + (step.isolated ? ", pack isolated" : "") + when();
    case advice::Step::Type::lift:
      return "Pack isolated and capacitors discharged, take off " +
             v.components[at(step.lifted)].id + "; " + with_state(probes());
    case advice::Step::Type::sign:
      if (step.wiggled_zone != vehicle::none)
        return fmt::format("Move wires and plugs by hand at {} meanwhile. {}",
                           inside_sentence(v.zones[at(step.wiggled_zone)].title), watch());
      return watch() + when();
    case advice::Step::Type::bridge:
      return "Drive wheels clear, fused lead from " + v.terminals[at(step.red)].name + " to " +
             v.terminals[at(step.black)].name + " across " + v.components[at(step.component)].id +
             "; " + watch();
    case advice::Step::Type::look:
      return "Look at " + thing_text(v, step.component);
    case advice::Step::Type::repair:
      return first_capital(repair()) + ", then prove it under load";
    case advice::Step::Type::authorize:
      return fmt::format("Ask first, {:.0f} USD is more than was authorized: {}", step.cost_usd,
                         repair());
    case advice::Step::Type::verify:
      return with_state("Nothing looks broken now: prove that it runs");
  }
  return "";
}

}  // namespace

json one_step_json(const AnswerContext& context, const advice::Step& step) {
  const auto& v = context.vehicle;
  constexpr const char* names[] = {"reading", "sign",   "look",      "lift",
                                   "bridge",  "repair", "authorize", "verify"};
  json item{{"type", names[static_cast<int>(step.type)]},
            {"text", step_text(context, step)},
            {"minutes", step.minutes},
            {"cost_usd", step.cost_usd},
            {"expected_total_usd", step.expected_total_usd},
            {"helper", step.needs_helper}};
  if (step.instrument >= 0)
    item["instrument"] =
        context.instruments.instruments[static_cast<std::size_t>(step.instrument)].id;
  if (step.type == advice::Step::Type::bridge) {
    item["lead"] = {v.terminals[at(step.red)].name, v.terminals[at(step.black)].name};
  } else {
    if (step.red != vehicle::none) item["red"] = v.terminals[at(step.red)].name;
    if (step.black != vehicle::none) item["black"] = v.terminals[at(step.black)].name;
  }
  if (step.lifted != vehicle::none) item["lifted"] = v.components[at(step.lifted)].id;
  if (!step.state.empty()) item["state"] = state_json(v, step.state);
  if (step.isolated) item["isolated"] = true;
  if (step.sign != vehicle::none) {
    item["sign"] = v.signs[at(step.sign)].id;
    item["watched"] = v.components[at(v.signs[at(step.sign)].component)].id;
    item["component"] = item["watched"];
  }
  if (step.when_sign != vehicle::none) {
    const auto& sign = v.signs[at(step.when_sign)];
    item["when"] = {
        {"part", v.components[at(sign.component)].id}, {"sign", sign.id}, {"outcome", "no"}};
    item["most_tries"] = step.most_tries;
    item["trying"] = until_text(v, step);
  }
  if (step.wiggled_zone != vehicle::none)
    item["provoked"] = {{"how", "wiggle"}, {"zone", v.zones[at(step.wiggled_zone)].id}};
  if (step.component != vehicle::none) {
    item["component"] = v.components[at(step.component)].id;
    if (step.type == advice::Step::Type::repair || step.type == advice::Step::Type::authorize)
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

json step_json(const AnswerContext& context, const advice::Advice& advice) {
  json answer = heading("faultloom.step", context);
  answer["step"] = one_step_json(context, advice.best);
  json others = json::array();
  for (const auto& step : advice.alternatives) others.push_back(one_step_json(context, step));
  answer["alternatives"] = std::move(others);
  answer["repair_only_usd"] = advice.repair_only_usd;
  answer["steps_compared"] = advice.steps_compared;
  answer["decisions"] = advice.decisions;
  answer["cut_short"] = advice.cut_short;
  return answer;
}

// ---- explanation -------------------------------------------------------------------------------

namespace {

/// What an entry should have been under a candidate, in words.
std::string expected_text(const AnswerContext& context, belief::Belief& belief,
                          const readings::Entry& entry, const belief::Candidate& candidate) {
  auto& solver = belief.solver();
  const auto stage = solver.stage(entry.state, entry.lifted_elements);
  circuit::Overrides overrides;
  std::vector<circuit::Setting> settings;
  belief.space().overrides(candidate.faults, overrides);
  belief.space().settings(candidate.faults, settings);
  solver.begin(overrides, settings);
  solver.enter(stage);
  if (entry.type == readings::Entry::Type::sign) {
    return outcome_text(readings::outcome_of(readings::sign_truth(solver, entry.sign, stage)));
  }
  const auto& instrument =
      context.instruments.instruments[static_cast<std::size_t>(entry.instrument)];
  const readings::Thevenin port = instrument.type == readings::Instrument::Type::clamp
                                      ? readings::clamped(solver, entry.element)
                                      : solver.spread_port(entry.red, entry.black);
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
    if (entry.type != readings::Entry::Type::reading && entry.type != readings::Entry::Type::sign)
      continue;
    json expected = json::array();
    const auto expect = [&](const belief::Candidate& candidate, double probability) {
      expected.push_back({{"modes", mode_list(belief.space(), posterior, candidate)},
                          {"probability", probability},
                          {"text", expected_text(context, belief, entry, candidate)}});
    };
    for (const auto& item : leading) expect(item.candidate, item.probability);
    if (std::none_of(leading.begin(), leading.end(),
                     [](const auto& item) { return item.candidate.faults.empty(); }))
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
