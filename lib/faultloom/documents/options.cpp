#include <faultloom/documents/options.hpp>

#include <fmt/format.h>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/fleet_options.hpp>
#include <faultloom/documents/text.hpp>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// More members than this are not looked at one by one.
constexpr std::size_t most_members = 1024;

json object_of(std::string_view text, std::vector<Problem>& problems) {
  if (text.empty()) return json::object();
  auto parsed = parse_text(text);
  if (parsed.is_object() && parsed.size() > most_members)
    throw Error(Code::limit,
                fmt::format("There are {} options; the limit is {}", parsed.size(), most_members));
  if (parsed.is_object()) return parsed;
  problems.push_back({Code::schema, "Options must be a JSON object", ""});
  return json::object();
}

void only_keys(const json& options, const std::vector<const char*>& known,
               std::vector<Problem>& problems) {
  for (const auto& [key, value] : options.items()) {
    const bool ok =
        std::any_of(known.begin(), known.end(), [&k = key](const char* name) { return k == name; });
    if (!ok)
      problems.push_back({Code::schema, "Unknown option '" + key + "'", "/" + pointer_token(key)});
  }
}

/// Rows of a list, or steps.
constexpr std::int64_t most_rows = 10000;
/// More sets than any search would finish.
constexpr std::int64_t most_budget_sets = 1000000000;
constexpr std::int64_t most_plan_depth = 1000;
/// Names in a list; no document has as many instruments or zones.
constexpr std::size_t most_names = 1024;

void read_count(const json& options, const char* key, std::int64_t most, std::size_t& value,
                std::vector<Problem>& problems, std::int64_t least = 0) {
  if (!options.contains(key)) return;
  const auto& item = options[key];
  // What does not fit a signed number would wrap.
  const bool small = item.is_number_unsigned()
                         ? item.get<std::uint64_t>() <= static_cast<std::uint64_t>(most)
                         : item.is_number_integer() && item.get<std::int64_t>() == 0;
  if (small && item.get<std::int64_t>() >= least) {
    value = item.get<std::size_t>();
  } else {
    problems.push_back(
        {Code::value,
         fmt::format("Option '{}' must be a whole number from {} to {}", key, least, most),
         std::string("/") + key});
  }
}

void read_flag(const json& options, const char* key, bool& value, std::vector<Problem>& problems) {
  if (!options.contains(key)) return;
  if (options[key].is_boolean()) {
    value = options[key].get<bool>();
  } else {
    problems.push_back({Code::schema, fmt::format("Option '{}' must be true or false", key),
                        std::string("/") + key});
  }
}

void read_number(const json& options, const char* key, double least, double most, double& value,
                 std::vector<Problem>& problems) {
  if (!options.contains(key)) return;
  const auto& item = options[key];
  if (item.is_number() && item.get<double>() >= least && item.get<double>() <= most) {
    value = item.get<double>();
  } else {
    problems.push_back(
        {Code::value,
         fmt::format("Option '{}' must be a number from {:g} to {:g}", key, least, most),
         std::string("/") + key});
  }
}

template <typename Find>
void read_names(const json& options, const char* key, const Find& find,
                std::vector<Problem>& problems) {
  if (!options.contains(key)) return;
  const std::string pointer = std::string("/") + key;
  if (!options[key].is_array()) {
    problems.push_back(
        {Code::schema, std::string("Option '") + key + "' must be a list of names", pointer});
    return;
  }
  if (options[key].size() > most_names) {
    problems.push_back({Code::limit,
                        fmt::format("Option '{}' has {} names; the limit is {}", key,
                                    options[key].size(), most_names),
                        pointer});
    return;
  }
  for (std::size_t i = 0; i < options[key].size(); ++i) {
    const auto& item = options[key][i];
    if (!item.is_string() || !find(item.get<std::string>()))
      problems.push_back(
          {Code::reference, "No such name: " + item.dump(), pointer + "/" + std::to_string(i)});
  }
}

/// Instruments at hand and zones that stay closed, by their indices.
void read_means(const json& options, const vehicle::Vehicle& vehicle,
                const readings::InstrumentSet& instruments, std::vector<int>& at_hand,
                std::vector<vehicle::Index>& closed, std::vector<Problem>& problems) {
  const auto instrument = [&](const std::string& id) {
    at_hand.push_back(instruments.find(id));
    return at_hand.back() >= 0;
  };
  const auto zone = [&](const std::string& id) {
    closed.push_back(vehicle.zone(id));
    return closed.back() != vehicle::none;
  };
  read_names(options, "instruments", instrument, problems);
  read_names(options, "closed_zones", zone, problems);
}

std::vector<const char*> constraint_keys() {
  return {"instruments", "closed_zones",   "alternatives",   "allow_live",
          "max_minutes", "authorized_usd", "budget_seconds", "budget_decisions",
          "budget_sets", "comeback_usd",   "good_part_loss", "good_part_usd"};
}

void read_price(const json& options, const char* key, double most, std::optional<double>& price,
                std::vector<Problem>& problems) {
  if (!options.contains(key)) return;
  double value = -1;
  read_number(options, key, 0, most, value, problems);
  if (value >= 0) price = value;
}

void read_next(const json& options, const vehicle::Vehicle& vehicle,
               const readings::InstrumentSet& instruments, NextOptions& next,
               std::vector<Problem>& problems) {
  auto& constraints = next.constraints;
  read_count(options, "alternatives", most_rows, constraints.alternatives, problems);
  read_flag(options, "allow_live", constraints.allow_live, problems);
  read_number(options, "max_minutes", 0, 1e6, constraints.most_minutes, problems);
  read_number(options, "authorized_usd", 0, 1e9, constraints.authorized_usd, problems);
  read_number(options, "budget_seconds", 0, 3600, constraints.budget_seconds, problems);
  read_count(options, "budget_decisions", most_budget_sets, constraints.budget_decisions, problems);
  read_means(options, vehicle, instruments, constraints.instruments, constraints.closed_zones,
             problems);
  read_count(options, "budget_sets", most_budget_sets, next.budget_sets, problems);
  // Who names a budget means it.
  if (options.contains("budget_sets")) next.budget_sets_if_poor = next.budget_sets;
  read_price(options, "comeback_usd", 1e9, next.comeback_usd, problems);
  read_price(options, "good_part_loss", 1, next.good_part_loss, problems);
  read_price(options, "good_part_usd", 1e9, next.good_part_usd, problems);
}

void read_budget(const json& options, RankOptions& rank, std::vector<Problem>& problems) {
  read_number(options, "budget_seconds", 0, 3600, rank.budget_seconds, problems);
  read_count(options, "budget_sets", most_budget_sets, rank.budget_sets, problems);
}

}  // namespace

belief::SearchOptions RankOptions::search() const {
  belief::SearchOptions how;
  how.bound = bound;
  how.most_seconds = budget_seconds;
  how.most_sets = budget_sets;
  // Who lifts the limit wants the bound, not only that nothing much changes any more.
  if (budget_sets == 0) how.least_growth = 0;
  return how;
}

RankOptions read_rank_options(std::string_view text, std::size_t default_top) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  RankOptions result;
  result.top = default_top;
  only_keys(options, {"top", "bound", "budget_seconds", "budget_sets"}, problems);
  read_count(options, "top", most_rows, result.top, problems);
  read_number(options, "bound", 0, 1, result.bound, problems);
  read_budget(options, result, problems);
  throw_if_any(std::move(problems));
  return result;
}

NextOptions read_next_options(std::string_view text, const vehicle::Vehicle& vehicle,
                              const readings::InstrumentSet& instruments) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  only_keys(options, constraint_keys(), problems);
  NextOptions result;
  read_next(options, vehicle, instruments, result, problems);
  throw_if_any(std::move(problems));
  return result;
}

PlanRequest read_plan_options(std::string_view text, const vehicle::Vehicle& vehicle,
                              const readings::InstrumentSet& instruments) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  auto keys = constraint_keys();
  keys.insert(keys.end(), {"depth", "residual", "max_steps"});
  only_keys(options, keys, problems);
  PlanRequest result;
  read_next(options, vehicle, instruments, result.next, problems);
  read_count(options, "depth", most_plan_depth, result.plan.depth, problems, 1);
  read_number(options, "residual", 0, 1, result.plan.residual, problems);
  read_count(options, "max_steps", most_rows, result.plan.most_steps, problems, 1);
  throw_if_any(std::move(problems));
  return result;
}

ReachOptions read_reach_options(std::string_view text, const vehicle::Vehicle& vehicle,
                                const readings::InstrumentSet& instruments) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  ReachOptions result;
  auto& reach = result.reach;
  only_keys(options, {"instruments", "closed_zones", "allow_live", "looks", "lifting", "top"},
            problems);
  read_count(options, "top", most_rows, result.top, problems);
  read_flag(options, "allow_live", reach.allow_live, problems);
  read_flag(options, "looks", reach.looks, problems);
  read_flag(options, "lifting", reach.lifting, problems);
  read_means(options, vehicle, instruments, reach.instruments, reach.closed_zones, problems);
  throw_if_any(std::move(problems));
  return result;
}

FleetOptions read_fleet_options(std::string_view text) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  FleetOptions result;
  only_keys(
      options,
      {"most_suspects", "screen", "full", "screen_bound", "bound", "budget_seconds", "budget_sets"},
      problems);
  read_count(options, "most_suspects", most_rows, result.most_suspects, problems);
  read_flag(options, "screen", result.screen, problems);
  read_flag(options, "full", result.full, problems);
  read_number(options, "screen_bound", 0, 1, result.screen_bound, problems);
  read_number(options, "bound", 0, 1, result.rank.bound, problems);
  read_budget(options, result.rank, problems);
  throw_if_any(std::move(problems));
  return result;
}

LearningOptions read_learning_options(std::string_view text) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  LearningOptions result;
  only_keys(
      options,
      {"pool", "environments", "shares", "noticed_otherwise", "budget_seconds", "budget_sets"},
      problems);
  read_flag(options, "pool", result.estimate.pool, problems);
  read_flag(options, "environments", result.estimate.learn_environments, problems);
  read_flag(options, "shares", result.estimate.learn_shares, problems);
  read_number(options, "noticed_otherwise", 0, 1, result.noticed_otherwise, problems);
  read_budget(options, result.rank, problems);
  throw_if_any(std::move(problems));
  return result;
}

CalibrationOptions read_calibration_options(std::string_view text) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  CalibrationOptions result;
  only_keys(options, {"bins", "budget_seconds", "budget_sets"}, problems);
  read_count(options, "bins", most_rows, result.bins, problems, 1);
  read_budget(options, result.rank, problems);
  throw_if_any(std::move(problems));
  return result;
}

}  // namespace faultloom::documents
