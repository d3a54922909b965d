#include <faultloom/documents/fleet_ranking.hpp>

#include <faultloom/documents/fleet_options.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/text_list.hpp>

#include <nlohmann/json.hpp>

#include <algorithm>
#include <numeric>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// The `most` greatest of some probabilities as rows {key: index, "probability": p}, greatest first; those of
/// zero are left out.
json leading(const std::vector<double>& probabilities, std::size_t most, const char* key) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < probabilities.size(); ++i)
    if (probabilities[i] > 0) order.push_back(i);
  const auto count = std::min(most, order.size());
  std::partial_sort(
      order.begin(), order.begin() + static_cast<std::ptrdiff_t>(count), order.end(),
      [&](std::size_t a, std::size_t b) {
        return probabilities[a] != probabilities[b] ? probabilities[a] > probabilities[b] : a < b;
      });
  json rows = json::array();
  for (std::size_t i = 0; i < count; ++i)
    rows.push_back({{key, order[i]}, {"probability", probabilities[order[i]]}});
  return rows;
}

json text_or_null(const std::string& text) { return text.empty() ? json() : json(text); }

class Ranker {
 public:
  Ranker(const Model::Parts& parts, const FleetOptions& options)
      : parts_(parts), options_(options), belief_(parts.borrow()) {}

  json rank(std::string_view text, const Progress& progress) {
    json row{{"job", nullptr}, {"problems", json::array()}};
    try {
      const auto job = parts_.job(text);
      row["job"] = text_or_null(job.title);
      row["id"] = job.id;
      belief::Options how;
      how.search = options_.rank.search();
      how.judge_entries = false;
      fill(row, belief_->posterior({job.entries, job.exposure, job.repairs}, how, progress));
    } catch (const Error& error) {
      if (error.code() == Code::cancelled || error.code() == Code::internal) throw;
      row["status"] = "failed";
      row["problems"] = json::parse(problems_json(error.problems()));
    }
    return row;
  }

 private:
  void fill(json& row, const belief::Posterior& posterior) const {
    row["status"] = "ranked";
    row["bound"] = posterior.bound;
    row["no_fault"] = posterior.no_fault;
    row["unmodelled"] = posterior.not_in_model;
    row["suspects"] = leading(posterior.modes, options_.most_suspects, "mode");
    row["components"] = leading(posterior.components, options_.most_suspects, "component");
  }

  const Model::Parts& parts_;
  const FleetOptions& options_;
  Model::Parts::Borrowed belief_;
};

}  // namespace

std::string rank_jobs_json(const Model& model, std::span<const std::string_view> jobs,
                           std::string_view options_text, const Progress& progress) {
  const auto options = read_fleet_options(options_text);
  report(progress, 0);
  const auto& parts = model.parts();
  Ranker ranker(parts, options);
  json rows = json::array();
  const auto count = static_cast<double>(jobs.size());
  for (std::size_t j = 0; j < jobs.size(); ++j) {
    const auto done = static_cast<double>(j) / count;
    const auto part = part_of(progress, done, static_cast<double>(j + 1) / count);
    report(part, 0);
    rows.push_back(ranker.rank(jobs[j], part));
    rows.back()["index"] = j;
  }
  report(progress, 1);
  json components = json::array();
  for (const auto& component : parts.vehicle.components) components.push_back(component.id);
  return json{{"format", "faultloom.fleet-ranking"}, {"version", "1.0"},
              {"vehicle", parts.vehicle.id},         {"modes", model.mode_names()},
              {"components", std::move(components)}, {"jobs", std::move(rows)}}
             .dump() +
         "\n";
}

std::string rank_jobs_json(const Model& model, std::string_view jobs, std::string_view options,
                           const Progress& progress) {
  return rank_jobs_json(model, elements_of(jobs), options, progress);
}

}  // namespace faultloom::documents
