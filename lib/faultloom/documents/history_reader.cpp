#include <faultloom/documents/history_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/names.hpp>
#include <faultloom/documents/resolver.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <set>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// The part of an item of the list that is a job document.
json job_document(const json& item) {
  json job = item;
  job.erase("confirmed");
  job["format"] = "faultloom.job";
  if (!job.contains("version")) job["version"] = "1.0";
  if (!job.contains("entries")) job["entries"] = json::array();
  return job;
}

void prefix(std::vector<Problem>& problems, const std::string& pointer) {
  for (auto& problem : problems) problem.pointer = pointer + problem.pointer;
}

class HistoryReader {
 public:
  HistoryReader(const json& document, std::span<const Model* const> models)
      : document_(document), models_(models) {}

  History read() {
    History history;
    history.title = text_or(document_, "title");
    history.only_broken_seen = text_or(document_, "seen") == "only_broken";
    std::set<std::string> ids;
    const auto* jobs = member(document_, "jobs");
    for (std::size_t i = 0; i < jobs->size(); ++i) {
      const auto pointer = fmt::format("/jobs/{}", i);
      const auto& item = (*jobs)[i];
      if (!ids.insert(text_or(item, "id")).second)
        add(Code::duplicate,
            fmt::format("Two jobs have the id '{}'; give each its own", text_or(item, "id")),
            pointer + "/id");
      read_job_item(item, pointer, history);
    }
    read_running(history);
    throw_if_any(std::move(problems_));
    return history;
  }

 private:
  void add(Code code, std::string message, std::string pointer) {
    problems_.push_back({code, std::move(message), std::move(pointer)});
  }

  std::ptrdiff_t model_of(const json& item, const std::string& pointer) {
    const auto id = text_or(item, "vehicle");
    std::vector<std::string> known;
    for (std::size_t m = 0; m < models_.size(); ++m) {
      known.push_back(models_[m]->parts().vehicle.id);
      if (known.back() == id) return static_cast<std::ptrdiff_t>(m);
    }
    add(Code::reference,
        fmt::format("There is no model of vehicle '{}'{}", id, suggestion(id, known)),
        pointer + "/vehicle");
    return -1;
  }

  void check_environment(const rates::Exposure& exposure, const Model::Parts& parts,
                         const std::string& pointer) {
    const auto& known = parts.rates.environments;
    if (exposure.environment.empty() || known.contains(exposure.environment)) return;
    std::vector<std::string> names;
    names.reserve(known.size());
    for (const auto& [name, multiplier] : known) names.push_back(name);
    add(Code::reference,
        fmt::format("Environment '{}' is not in the rates document{}", exposure.environment,
                    suggestion(exposure.environment, names)),
        pointer + "/environment");
  }

  void read_job_item(const json& item, const std::string& pointer, History& history) {
    const auto m = model_of(item, pointer);
    if (m < 0) return;
    const auto& parts = models_[static_cast<std::size_t>(m)]->parts();
    PastJob past;
    past.id = text_or(item, "id");
    past.model = static_cast<std::size_t>(m);
    try {
      const auto document = job_document(item);
      std::vector<Problem> found;
      schema_.check(document, found);
      throw_if_any(std::move(found));
      past.job = read_checked_job(document, parts.vehicle, parts.instruments, &parts.rates.cues);
    } catch (const Error& error) {
      auto found = error.problems();
      prefix(found, pointer);
      problems_.insert(problems_.end(), found.begin(), found.end());
    }
    past.verdict = text_or(*member(item, "closing"), "verdict");
    check_environment(past.job.exposure, parts, pointer);
    if (const auto* confirmed = member(item, "confirmed")) {
      past.is_confirmed = true;
      std::set<vehicle::Index> components;
      for (std::size_t i = 0; i < confirmed->size(); ++i)
        read_confirmed((*confirmed)[i].get<std::string>(), parts.vehicle,
                       fmt::format("{}/confirmed/{}", pointer, i), components, past);
    }
    history.jobs.push_back(std::move(past));
  }

  void read_confirmed(const std::string& name, const vehicle::Vehicle& vehicle,
                      const std::string& pointer, std::set<vehicle::Index>& components,
                      PastJob& past) {
    Resolver resolver(vehicle, problems_);
    std::vector<vehicle::Index> modes;
    vehicle::Index component = vehicle::none;
    if (name.find('/') != std::string::npos) {
      const auto mode = resolver.mode(name, pointer);
      if (mode == vehicle::none) return;
      modes.push_back(mode);
      component = vehicle.modes[static_cast<std::size_t>(mode)].component;
    } else {
      component = resolver.component(name, pointer);
      if (component == vehicle::none) return;
      modes = vehicle.components[static_cast<std::size_t>(component)].modes;
    }
    if (!components.insert(component).second) {
      add(Code::duplicate,
          fmt::format("'{}' is of a component named before; modes of one component exclude each "
                      "other, so give one",
                      name),
          pointer);
      return;
    }
    past.confirmed.push_back(std::move(modes));
  }

  void read_running(History& history) {
    const auto* running = member(document_, "running");
    if (running == nullptr) return;
    for (std::size_t i = 0; i < running->size(); ++i) {
      const auto pointer = fmt::format("/running/{}", i);
      const auto& item = (*running)[i];
      const auto m = model_of(item, pointer);
      if (m < 0) continue;
      const rates::Exposure exposure{number_or(item, "hours", 0), text_or(item, "environment")};
      check_environment(exposure, models_[static_cast<std::size_t>(m)]->parts(), pointer);
      history.running.push_back({static_cast<std::size_t>(m), exposure});
    }
    if (history.only_broken_seen && !history.running.empty())
      add(Code::value,
          "A history of broken vehicles only can't know how long others ran; leave 'running' out "
          "or "
          "say \"seen\": \"all\"",
          "/running");
  }

  const json& document_;
  std::span<const Model* const> models_;
  Schema schema_{"job"};
  std::vector<Problem> problems_;
};

}  // namespace

History read_history(std::string_view text, std::span<const Model* const> models) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "history", problems);
  throw_if_any(std::move(problems));
  return as_read([&] { return HistoryReader(document, models).read(); });
}

void check_history(std::string_view text, std::vector<Problem>& problems) {
  const auto document = parse_text(text);
  check_schema(document, "history", problems);
  if (!problems.empty()) return;
  const auto& jobs = *member(document, "jobs");
  const Schema schema("job");
  for (std::size_t i = 0; i < jobs.size(); ++i) {
    std::vector<Problem> found;
    schema.check(job_document(jobs[i]), found);
    prefix(found, fmt::format("/jobs/{}", i));
    problems.insert(problems.end(), found.begin(), found.end());
  }
  cap(problems);
}

}  // namespace faultloom::documents
