#include <faultloom/documents/fleet_ranking.hpp>

#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/fleet_options.hpp>
#include <faultloom/documents/job_reader.hpp>
#include <faultloom/documents/job_shape.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/text_list.hpp>
#include <faultloom/fleet/screen.hpp>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <iterator>
#include <optional>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// Jobs read before any is ranked: what their readings have in common is worked out in one go.
constexpr std::size_t block_size = 4096;

/// A job as read, or what is wrong with it.
struct Item {
  std::string id;
  std::string title;
  belief::Evidence evidence;
  std::vector<Problem> problems;
  bool covered = false;  ///< by the tables
};

/// What is said of one job.
struct Found {
  const char* status = "ranked";
  double bound = 0;
  double no_fault = 0;
  double unmodelled = 0;
  const std::vector<double>* modes = nullptr;
  const std::vector<double>* components = nullptr;
};

void append_text(std::string& out, const std::string& text) {
  out += json(text).dump(-1, ' ', false, json::error_handler_t::replace);
}

/// Writes rows of a faultloom.fleet-ranking.
class Writer {
 public:
  explicit Writer(std::size_t most) : most_(most) {}

  void add(std::size_t index, const Item& item, const std::optional<Found>& found) {
    fmt::format_to(std::back_inserter(text_), R"({}{{"index":{},"id":)", text_.empty() ? "" : ",\n",
                   index);
    append_text(text_, item.id);
    text_ += R"(,"job":)";
    if (item.title.empty()) {
      text_ += "null";
    } else {
      append_text(text_, item.title);
    }
    fmt::format_to(std::back_inserter(text_), R"(,"status":"{}","problems":)",
                   found ? found->status : "failed");
    if (found) {
      text_ += "[]";
      add_found(*found);
    } else {
      text_ += json::parse(problems_json(item.problems)).dump();
    }
    text_ += '}';
  }

  [[nodiscard]] const std::string& text() const noexcept { return text_; }

 private:
  void add_found(const Found& found) {
    fmt::format_to(std::back_inserter(text_), R"(,"bound":{},"no_fault":{},"unmodelled":{})",
                   found.bound, found.no_fault, found.unmodelled);
    add_leading("suspects", "mode", *found.modes);
    add_leading("components", "component", *found.components);
  }

  /// The greatest of some probabilities, greatest first; those of zero are left out.
  void add_leading(const char* name, const char* key, const std::vector<double>& probabilities) {
    order_.clear();
    for (std::size_t i = 0; i < probabilities.size(); ++i)
      if (probabilities[i] > 0) order_.push_back(i);
    const auto count = std::min(most_, order_.size());
    std::partial_sort(
        order_.begin(), order_.begin() + static_cast<std::ptrdiff_t>(count), order_.end(),
        [&](std::size_t a, std::size_t b) {
          return probabilities[a] != probabilities[b] ? probabilities[a] > probabilities[b] : a < b;
        });
    fmt::format_to(std::back_inserter(text_), R"(,"{}":[)", name);
    for (std::size_t i = 0; i < count; ++i)
      fmt::format_to(std::back_inserter(text_), R"({}{{"{}":{},"probability":{}}})",
                     i == 0 ? "" : ",", key, order_[i], probabilities[order_[i]]);
    text_ += ']';
  }

  std::size_t most_;
  std::string text_;
  std::vector<std::size_t> order_;
};

class Ranker {
 public:
  Ranker(const Model::Parts& parts, const FleetOptions& options)
      : parts_(parts), options_(options), work_(parts.borrow()), writer_(options.most_suspects) {
    how_.search = options.rank.search();
    how_.judge_entries = false;
  }

  /// Ranks jobs that come after `from` others.
  void run(std::span<const std::string_view> jobs, std::size_t from, const Progress& progress) {
    const auto count = static_cast<double>(jobs.size());
    std::vector<Item> items;
    items.reserve(jobs.size());
    for (std::size_t j = 0; j < jobs.size(); ++j) {
      if (j % 64 == 0) report(progress, 0.1 * static_cast<double>(j) / count);
      items.push_back(read(jobs[j]));
    }
    if (options_.screen) prepare(items, part_of(progress, 0.1, 0.3));
    for (std::size_t j = 0; j < items.size(); ++j) {
      const auto share = [&](std::size_t done) {
        return 0.3 + 0.7 * static_cast<double>(done) / count;
      };
      const auto part = part_of(progress, share(j), share(j + 1));
      if (j % 16 == 0) report(part, 0);
      rank(items[j], from + j, part);
    }
  }

  [[nodiscard]] const std::string& text() const { return writer_.text(); }

 private:
  [[nodiscard]] Item read(std::string_view text) const {
    Item item;
    try {
      const auto document = parse_text(text);
      if (!is_plain_job(document)) {
        std::vector<Problem> problems;
        parts_.job_schema.check(document, problems);
        throw_if_any(std::move(problems));
      }
      auto job = read_checked_job(document, parts_.vehicle, parts_.instruments, &parts_.rates.cues);
      item.id = std::move(job.id);
      item.title = std::move(job.title);
      item.evidence = {std::move(job.entries), std::move(job.exposure), std::move(job.repairs)};
      item.covered = fleet::Screen::covers(item.evidence);
    } catch (const Error& error) {
      keep(error, item);
    }
    return item;
  }

  /// What is wrong with a job stays with it; what stops the work goes on its way.
  static void keep(const Error& error, Item& item) {
    if (error.code() == Code::cancelled || error.code() == Code::internal) throw error;
    item.problems = error.problems();
  }

  void prepare(std::span<const Item> items, const Progress& progress) {
    std::vector<const belief::Evidence*> covered;
    for (const auto& item : items)
      if (item.covered) covered.push_back(&item.evidence);
    work_.screen().prepare(covered, progress);
  }

  void rank(Item& item, std::size_t index, const Progress& progress) {
    std::optional<Found> found;
    if (item.problems.empty()) {
      try {
        found = look_up(item);
        if (!found) found = weigh(item, progress);
      } catch (const Error& error) {
        keep(error, item);
      }
    }
    writer_.add(index, item, found);
  }

  /// None if the tables leave too much open.
  std::optional<Found> look_up(const Item& item) {
    if (!options_.screen || (!item.covered && options_.full)) return std::nullopt;
    answer_ =
        work_.screen().rank(item.covered ? item.evidence : fleet::Screen::readable(item.evidence));
    if (!item.covered) answer_.bound = 1;
    if (options_.full && answer_.bound > options_.screen_bound) return std::nullopt;
    return Found{"screened",           answer_.bound,  answer_.no_fault,
                 answer_.not_in_model, &answer_.modes, &answer_.components};
  }

  Found weigh(const Item& item, const Progress& progress) {
    posterior_ = work_->posterior(item.evidence, how_, progress);
    return {"ranked",          posterior_.bound,      posterior_.no_fault, posterior_.not_in_model,
            &posterior_.modes, &posterior_.components};
  }

  const Model::Parts& parts_;
  const FleetOptions& options_;
  Model::Parts::Borrowed work_;
  Writer writer_;
  belief::Options how_;
  fleet::Answer answer_;
  belief::Posterior posterior_;
};

std::string head_of(const Model& model) {
  json components = json::array();
  for (const auto& component : model.parts().vehicle.components) components.push_back(component.id);
  return fmt::format(
      R"({{"format":"faultloom.fleet-ranking","version":"1.0","vehicle":{},"modes":{},"components":{},"jobs":[)",
      json(model.parts().vehicle.id).dump(), json(model.mode_names()).dump(), components.dump());
}

}  // namespace

std::string rank_jobs_json(const Model& model, std::span<const std::string_view> jobs,
                           std::string_view options_text, const Progress& progress) {
  const auto options = read_fleet_options(options_text);
  report(progress, 0);
  Ranker ranker(model.parts(), options);
  const auto count = static_cast<double>(jobs.size());
  for (std::size_t from = 0; from < jobs.size(); from += block_size) {
    const auto block = jobs.subspan(from, std::min(block_size, jobs.size() - from));
    ranker.run(block, from,
               part_of(progress, static_cast<double>(from) / count,
                       static_cast<double>(from + block.size()) / count));
  }
  report(progress, 1);
  return head_of(model) + ranker.text() + "]}\n";
}

std::string rank_jobs_json(const Model& model, std::string_view jobs, std::string_view options,
                           const Progress& progress) {
  return rank_jobs_json(model, elements_of(jobs), options, progress);
}

}  // namespace faultloom::documents
