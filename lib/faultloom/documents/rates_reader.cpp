#include <faultloom/documents/rates_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// Reads shares of modes, which must sum to one. `owner` names whose they are.
std::map<std::string, double, std::less<>> read_shares(const json& value, const std::string& owner,
                                                       const std::string& pointer,
                                                       std::vector<Problem>& problems) {
  std::map<std::string, double, std::less<>> shares;
  double sum = 0;
  for_members(value, "modes", [&](const std::string& mode, const json& share) {
    const auto p = share.get<double>();
    if (p < 0 || p > 1)
      problems.push_back({Code::value,
                          fmt::format("The share of '{}' is {}; it must be from 0 to 1", mode, p),
                          pointer + "/modes/" + pointer_token(mode)});
    shares.emplace(mode, p);
    sum += p;
  });
  if (!(std::abs(sum - 1) <= share_tolerance))
    problems.push_back({Code::value,
                        fmt::format("The shares of {} sum to {:.9g} instead of 1", owner, sum),
                        pointer + "/modes"});
  return shares;
}

rates::Event read_event(const std::string& id, const json& value, std::vector<Problem>& problems) {
  rates::Event event;
  event.title = text_or(value, "title", id);
  event.on =
      text_or(value, "on") == "connector" ? rates::Event::On::connector : rates::Event::On::loom;
  event.gamma_shape = number_or(value, "gamma_shape", 0);
  event.gamma_rate_million_hours = number_or(value, "gamma_rate_million_hours", 0);
  event.expected_hits = number_or(value, "expected_hits", event.expected_hits);
  event.source = text_or(value, "source");
  event.mode_shares =
      read_shares(value, fmt::format("event '{}'", id), "/events/" + pointer_token(id), problems);
  return event;
}

rates::Cue read_cue(const std::string& id, const json& value) {
  rates::Cue cue;
  cue.title = text_or(value, "title", id);
  cue.otherwise = number_or(value, "otherwise", cue.otherwise);
  cue.source = text_or(value, "source");
  for_members(value, "kinds", [&](const std::string& kind, const json& p) {
    cue.kinds.emplace(kind, p.get<double>());
  });
  return cue;
}

rates::Intermittence read_intermittence(const json& value) {
  rates::Intermittence how;
  how.persistence = number_or(value, "persistence", how.persistence);
  how.wiggle = number_or(value, "wiggle", how.wiggle);
  how.heat = number_or(value, "heat", how.heat);
  how.wet = number_or(value, "wet", how.wet);
  how.source = text_or(value, "source");
  return how;
}

rates::KindRate read_kind_rate(const std::string& id, const json& value,
                               std::vector<Problem>& problems) {
  rates::KindRate rate;
  rate.gamma_shape = number_or(value, "gamma_shape", 0);
  rate.gamma_rate_million_hours = number_or(value, "gamma_rate_million_hours", 0);
  rate.source = text_or(value, "source");
  rate.group = text_or(value, "class");
  const auto pointer = "/kinds/" + pointer_token(id);
  if (rate.gamma_shape <= 0)
    problems.push_back({Code::value, "'gamma_shape' must be above 0", pointer + "/gamma_shape"});
  if (rate.gamma_rate_million_hours <= 0)
    problems.push_back({Code::value, "'gamma_rate_million_hours' must be above 0",
                        pointer + "/gamma_rate_million_hours"});
  rate.mode_shares = read_shares(value, fmt::format("kind '{}'", id), pointer, problems);
  return rate;
}

/// Ids of the modes that an event on looms or connectors can put a member into.
std::vector<std::string> modes_of_members(const KindCatalog& kinds, rates::Event::On on) {
  std::set<std::string> ids;
  for (const auto& [id, kind] : kinds.kinds()) {
    const bool member = on == rates::Event::On::loom
                            ? id == "control_wire" || id == "power_wire"
                            : kind.has_terminal("plug") && kind.has_terminal("socket");
    if (!member) continue;
    for (const auto& mode : kind.modes)
      if (!mode.earlier_work()) ids.insert(mode.id);
  }
  return {ids.begin(), ids.end()};
}

bool contains(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

void check_per_visit(const rates::Rates& rates, const KindCatalog& kinds,
                     std::vector<Problem>& problems) {
  std::set<std::string> ids{"left_wrong", "swapped"};
  for (const auto& [id, kind] : kinds.kinds())
    for (const auto& mode : kind.modes)
      if (mode.earlier_work()) ids.insert(mode.per_visit);
  const std::vector<std::string> known(ids.begin(), ids.end());
  for (const auto& [id, probability] : rates.per_visit)
    if (!ids.contains(id))
      problems.push_back(
          {Code::reference,
           fmt::format("No mode takes its probability from '{}'{}", id, suggestion(id, known)),
           "/per_visit/" + pointer_token(id)});
}

void check_events(const rates::Rates& rates, const KindCatalog& kinds,
                  std::vector<Problem>& problems) {
  for (const auto& [id, event] : rates.events) {
    const bool loom = event.on == rates::Event::On::loom;
    const auto modes = modes_of_members(kinds, event.on);
    for (const auto& [mode, share] : event.mode_shares)
      if (!contains(modes, mode))
        problems.push_back(
            {Code::reference,
             fmt::format("No {} has a mode '{}'{}",
                         loom ? "kind of wire" : "kind of connector contact", mode,
                         suggestion(mode, modes)),
             fmt::format("/events/{}/modes/{}", pointer_token(id), pointer_token(mode))});
  }
}

void check_cues(const rates::Rates& rates, std::vector<std::string> kind_ids,
                std::vector<Problem>& problems) {
  kind_ids.insert(kind_ids.end(), {"earlier_work", "setting"});
  for (const auto& [id, cue] : rates.cues)
    for (const auto& [kind, probability] : cue.kinds)
      if (!contains(kind_ids, kind))
        problems.push_back(
            {Code::reference,
             fmt::format("There is no kind '{}'{}", kind, suggestion(kind, kind_ids)),
             fmt::format("/cues/{}/kinds/{}", pointer_token(id), pointer_token(kind))});
}

}  // namespace

rates::Rates read_rates(std::string_view text) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "rates", problems);
  throw_if_any(problems);
  rates::Rates result;
  result.exposure_hours = number_or(document, "exposure_hours", result.exposure_hours);
  result.not_in_model = number_or(document, "not_in_model", result.not_in_model);
  if (!(result.exposure_hours > 0))
    problems.push_back({Code::value, "'exposure_hours' must be above 0", "/exposure_hours"});
  if (!(result.not_in_model >= 0 && result.not_in_model < 1))
    problems.push_back(
        {Code::value, "'not_in_model' must be at least 0 and below 1", "/not_in_model"});
  for_members(document, "environments", [&](const std::string& id, const json& value) {
    result.environments.emplace(id, value.get<double>());
    if (!(value.get<double>() > 0))
      problems.push_back({Code::value,
                          fmt::format("The multiplier of environment '{}' must be above 0", id),
                          "/environments/" + pointer_token(id)});
  });
  for_members(document, "kinds", [&](const std::string& id, const json& value) {
    result.kinds.emplace(id, read_kind_rate(id, value, problems));
  });
  for_members(document, "per_visit", [&](const std::string& id, const json& value) {
    result.per_visit.emplace(id, value.get<double>());
  });
  for_members(document, "events", [&](const std::string& id, const json& value) {
    result.events.emplace(id, read_event(id, value, problems));
  });
  for_members(document, "cues", [&](const std::string& id, const json& value) {
    result.cues.emplace(id, read_cue(id, value));
  });
  result.cue_weight = number_or(document, "cue_weight", result.cue_weight);
  result.cue_limit_deciban = number_or(document, "cue_limit_deciban", result.cue_limit_deciban);
  if (const auto* how = member(document, "intermittence"))
    result.intermittence = read_intermittence(*how);
  if (const auto* repair = member(document, "repair")) {
    result.repair.defect = number_or(*repair, "defect", result.repair.defect);
    result.repair.left_wrong = number_or(*repair, "left_wrong", result.repair.left_wrong);
    result.repair.source = text_or(*repair, "source");
  }
  throw_if_any(std::move(problems));
  return result;
}

void check_rates(const rates::Rates& rates, const KindCatalog& kinds,
                 std::vector<Problem>& problems) {
  std::vector<std::string> kind_ids;
  for (const auto& [id, kind] : kinds.kinds()) kind_ids.push_back(id);
  for (const auto& [id, rate] : rates.kinds) {
    const auto pointer = "/kinds/" + pointer_token(id);
    const auto* kind = kinds.find(id);
    if (kind == nullptr) {
      problems.push_back({Code::reference,
                          fmt::format("There is no kind '{}'{}", id, suggestion(id, kind_ids)),
                          pointer});
      continue;
    }
    std::vector<std::string> modes;
    for (const auto& mode : kind->modes) {
      if (!mode.earlier_work()) {
        modes.push_back(mode.id);
      } else if (rate.mode_shares.contains(mode.id)) {
        problems.push_back({Code::value,
                            fmt::format("Mode '{}' of kind '{}' is earlier work and has no share; "
                                        "give its probability as '{}' in 'per_visit'",
                                        mode.id, id, mode.per_visit),
                            pointer + "/modes/" + pointer_token(mode.id)});
        modes.push_back(mode.id);
      }
    }
    for (const auto& [mode, share] : rate.mode_shares)
      if (std::find(modes.begin(), modes.end(), mode) == modes.end())
        problems.push_back(
            {Code::reference,
             fmt::format("Kind '{}' has no mode '{}'{}", id, mode, suggestion(mode, modes)),
             pointer + "/modes/" + pointer_token(mode)});
  }
  check_per_visit(rates, kinds, problems);
  check_events(rates, kinds, problems);
  check_cues(rates, kind_ids, problems);
}

}  // namespace faultloom::documents
