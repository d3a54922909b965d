#include <faultloom/documents/options.hpp>

#include <fmt/format.h>
#include <faultloom/documents/text.hpp>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

using nlohmann::json;

json object_of(std::string_view text, std::vector<Problem>& problems) {
  if (text.empty()) return json::object();
  auto parsed = parse_text(text);
  if (parsed.is_object()) return parsed;
  problems.push_back({Code::schema, "Options must be a JSON object", ""});
  return json::object();
}

void only_keys(const json& options, std::initializer_list<const char*> known,
               std::vector<Problem>& problems) {
  for (const auto& [key, value] : options.items()) {
    const bool ok =
        std::any_of(known.begin(), known.end(), [&k = key](const char* name) { return k == name; });
    if (!ok)
      problems.push_back({Code::schema, "Unknown option '" + key + "'", "/" + pointer_token(key)});
  }
}

void read_count(const json& options, const char* key, std::size_t& value,
                std::vector<Problem>& problems) {
  if (!options.contains(key)) return;
  const auto& item = options[key];
  if (item.is_number_integer() && item.get<std::int64_t>() >= 0 &&
      item.get<std::int64_t>() <= 10000) {
    value = item.get<std::size_t>();
  } else {
    problems.push_back({Code::value,
                        std::string("Option '") + key + "' must be a whole number from 0 to 10000",
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
  for (std::size_t i = 0; i < options[key].size(); ++i) {
    const auto& item = options[key][i];
    if (!item.is_string() || !find(item.get<std::string>()))
      problems.push_back(
          {Code::reference, "No such name: " + item.dump(), pointer + "/" + std::to_string(i)});
  }
}

}  // namespace

RankOptions read_rank_options(std::string_view text, std::size_t default_top) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  RankOptions result;
  result.top = default_top;
  only_keys(options, {"top", "bound", "budget_seconds"}, problems);
  read_count(options, "top", result.top, problems);
  read_number(options, "bound", 0, 1, result.bound, problems);
  read_number(options, "budget_seconds", 0, 3600, result.budget_seconds, problems);
  if (!problems.empty()) throw Error(std::move(problems));
  return result;
}

NextOptions read_next_options(std::string_view text, const vehicle::Vehicle& vehicle,
                              const readings::InstrumentSet& instruments) {
  std::vector<Problem> problems;
  const auto options = object_of(text, problems);
  NextOptions result;
  auto& constraints = result.constraints;
  only_keys(options, {"instruments", "closed_zones", "alternatives", "allow_live"}, problems);
  read_count(options, "alternatives", constraints.alternatives, problems);
  if (options.contains("allow_live")) {
    if (options["allow_live"].is_boolean()) {
      constraints.allow_live = options["allow_live"].get<bool>();
    } else {
      problems.push_back(
          {Code::schema, "Option 'allow_live' must be true or false", "/allow_live"});
    }
  }
  const auto instrument = [&](const std::string& id) {
    constraints.instruments.push_back(instruments.find(id));
    return constraints.instruments.back() >= 0;
  };
  const auto zone = [&](const std::string& id) {
    constraints.closed_zones.push_back(vehicle.zone(id));
    return constraints.closed_zones.back() != vehicle::none;
  };
  read_names(options, "instruments", instrument, problems);
  read_names(options, "closed_zones", zone, problems);
  if (!problems.empty()) throw Error(std::move(problems));
  return result;
}

}  // namespace faultloom::documents
