#include <faultloom/documents/rates_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

namespace faultloom::documents {
namespace {

using nlohmann::json;

rates::KindRate read_kind_rate(const std::string& id, const json& value,
                               std::vector<Problem>& problems) {
  rates::KindRate rate;
  rate.gamma_shape = number_or(value, "gamma_shape", 0);
  rate.gamma_rate_million_hours = number_or(value, "gamma_rate_million_hours", 0);
  rate.source = text_or(value, "source");
  const auto pointer = "/kinds/" + pointer_token(id);
  if (rate.gamma_shape <= 0)
    problems.push_back({Code::value, "'gamma_shape' must be above 0", pointer + "/gamma_shape"});
  if (rate.gamma_rate_million_hours <= 0)
    problems.push_back({Code::value, "'gamma_rate_million_hours' must be above 0",
                        pointer + "/gamma_rate_million_hours"});
  double sum = 0;
  for_members(value, "modes", [&](const std::string& mode, const json& share) {
    const auto p = share.get<double>();
    if (p < 0 || p > 1)
      problems.push_back({Code::value,
                          fmt::format("The share of '{}' is {}; it must be from 0 to 1", mode, p),
                          pointer + "/modes/" + pointer_token(mode)});
    rate.mode_shares.emplace(mode, p);
    sum += p;
  });
  if (!(std::abs(sum - 1) <= share_tolerance))
    problems.push_back({Code::value,
                        fmt::format("The shares of kind '{}' sum to {:.9g} instead of 1", id, sum),
                        pointer + "/modes"});
  return rate;
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
    for (const auto& mode : kind->modes) modes.push_back(mode.id);
    for (const auto& [mode, share] : rate.mode_shares)
      if (std::find(modes.begin(), modes.end(), mode) == modes.end())
        problems.push_back(
            {Code::reference,
             fmt::format("Kind '{}' has no mode '{}'{}", id, mode, suggestion(mode, modes)),
             pointer + "/modes/" + pointer_token(mode)});
  }
}

}  // namespace faultloom::documents
