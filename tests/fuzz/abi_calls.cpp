// The calls that sequences are made of, each with what must hold of what comes back.
#include "abi.hpp"

#include <cstdint>
#include <filesystem>

namespace fuzz {

using nlohmann::json;

void Bench::library() {
  require(faultloom_abi_version() == FAULTLOOM_ABI_VERSION, "another interface");
  require(*faultloom_version() != '\0', "no version");
  require(json::accept(faultloom_build_info()), "no build info");
  const auto status = input_.ConsumeIntegral<faultloom_status>();
  require(*faultloom_status_name(status) != '\0' && *faultloom_status_meaning(status) != '\0',
          "a status without words");
  require(faultloom_error_code(nullptr) == FAULTLOOM_OK && faultloom_text_size(nullptr) == 0 &&
              *faultloom_error_message(nullptr) == '\0' && *faultloom_text_data(nullptr) == '\0',
          "NULL is something");
}

void Bench::documents() {
  if (input_.ConsumeBool()) {
    const auto csv = text(Sort::csv);
    const auto id = text(Sort::id);
    ask("vehicle_from_run_list", "faultloom.vehicle", [&](auto** out, auto** error) {
      return faultloom_vehicle_from_run_list(csv.data(), csv.size(), id.data(), id.size(), out,
                                             error);
    });
    return;
  }
  const auto document = text(static_cast<Sort>(input_.ConsumeIntegralInRange(0, 6)));
  const auto kinds = Argument(small_kinds());
  ask("check_document", "", [&](auto** out, auto** error) {
    return faultloom_check_document(document.data(), document.size(), kinds.data(), kinds.size(),
                                    out, error);
  });
}

void Bench::build_model() {
  const auto vehicle = text(Sort::vehicle);
  const auto kinds = text(Sort::kinds);
  const auto rates = text(Sort::rates);
  const auto cautions = text(Sort::cautions);
  faultloom_model* built = nullptr;
  const auto status = call("model_from_json", [&](auto** error) {
    return faultloom_model_from_json(vehicle.data(), vehicle.size(), kinds.data(), kinds.size(),
                                     rates.data(), rates.size(), nullptr, 0, cautions.data(),
                                     cautions.size(), watch, &watcher_, &built, error);
  });
  require((status == FAULTLOOM_OK) == (built != nullptr), "a status without its model");
  if (built != nullptr) models_.emplace_back(built);
}

void Bench::about_model() {
  const auto* about = model();
  ask("model_summary", "faultloom.summary",
      [&](auto** out, auto** error) { return faultloom_model_summary(about, out, error); });
  if (--work_left_ >= 0)
    ask("model_lint", "", [&](auto** out, auto** error) {
      return faultloom_model_lint(about, watch, &watcher_, out, error);
    });
  for (const bool modes : {false, true}) {
    size_t count = 0;
    call("count", [&](auto** error) {
      return modes ? faultloom_mode_count(about, &count, error)
                   : faultloom_terminal_count(about, &count, error);
    });
    const auto index = input_.ConsumeIntegralInRange<std::size_t>(0, count + 2);
    const char* name = nullptr;
    const auto status = call("name", [&](auto** error) {
      return modes ? faultloom_mode_name(about, index, &name, error)
                   : faultloom_terminal_name(about, index, &name, error);
    });
    require((status == FAULTLOOM_OK) == (index < count), "a name beyond the last");
    require((status == FAULTLOOM_OK) == (name != nullptr && *name != '\0'), "no name");
  }
}

void Bench::circuit() {
  const auto* about = model();
  const auto situation = text(Sort::situation);
  ask("solve", "faultloom.solution", [&](auto** out, auto** error) {
    return faultloom_solve(about, situation.data(), situation.size(), out, error);
  });
  ask("spice_deck", nullptr, [&](auto** out, auto** error) {
    return faultloom_spice_deck(about, situation.data(), situation.size(), out, error);
  });
  fill("terminal_volts", [&](double* values, size_t room, size_t* needed, auto** error) {
    return faultloom_terminal_volts(about, situation.data(), situation.size(), values, room, needed,
                                    error);
  });
}

void Bench::arrays() {
  const auto* about = model();
  const auto job = text(Sort::job);
  fill("mode_priors", [&](double* values, size_t room, size_t* needed, auto** error) {
    return faultloom_mode_priors(about, job.data(), job.size(), values, room, needed, error);
  });
  if (--work_left_ < 0) return;
  fill("mode_posteriors", [&](double* values, size_t room, size_t* needed, auto** error) {
    return faultloom_mode_posteriors(about, job.data(), job.size(), watch, &watcher_, values, room,
                                     needed, error);
  });
}

void Bench::question() {
  if (--work_left_ < 0) return;
  struct Question {
    const char* name;
    const char* format;
    decltype(&faultloom_rank) ask;
    const char* options;  ///< that fit, and keep it short
  };
  static constexpr const char* steps =
      R"({"budget_sets":40,"budget_decisions":20,"alternatives":2})";
  static constexpr const char* plan =
      R"({"budget_sets":40,"budget_decisions":20,"depth":3,"residual":0.1,"max_steps":4})";
  static const std::vector<Question> questions = {
      {"rank", "faultloom.ranking", &faultloom_rank, R"({"budget_sets":40,"top":3})"},
      {"next_step", "faultloom.step", &faultloom_next_step, steps},
      {"plan", "faultloom.plan", &faultloom_plan, plan},
      {"plan_card", nullptr, &faultloom_plan_card, plan},
      {"explain", "faultloom.explanation", &faultloom_explain, R"({"budget_sets":40})"},
      {"ambiguity", "faultloom.ambiguity", &faultloom_ambiguity, R"({"looks":true,"top":3})"},
      {"sensitivity", "faultloom.sensitivity", &faultloom_sensitivity,
       R"({"budget_sets":40,"top":2})"}};
  const auto& question =
      questions[input_.ConsumeIntegralInRange<std::size_t>(0, questions.size() - 1)];
  const auto* about = model();
  const auto job = text(Sort::job);
  const bool any = input_.ConsumeIntegralInRange(0, 3) == 0;
  const auto options = any ? text(Sort::options) : Argument(question.options);
  // A whole plan takes longer than all other calls together.
  constexpr int most_polls = 50;
  if (any && question.options == plan && watcher_.polls_left < 0) watcher_.polls_left = most_polls;
  ask(question.name, question.format, [&](auto** out, auto** error) {
    return question.ask(about, job.data(), job.size(), options.data(), options.size(), watch,
                        &watcher_, out, error);
  });
}

void Bench::more_questions() {
  if (--work_left_ < 0) return;
  const auto* about = model();
  const auto job = text(Sort::job);
  const auto more = text(input_.ConsumeBool() ? Sort::options : Sort::closing);
  switch (input_.ConsumeIntegralInRange(0, 3)) {
    case 3: {
      std::string list(job.data() == nullptr || job.size() > small_history().size()
                           ? "{}"
                           : std::string_view(job.data(), job.size()));
      list = "[" + list + "," + small_job() + "]";
      ask("model_rank_jobs", "faultloom.fleet-ranking", [&](auto** out, auto** error) {
        return faultloom_model_rank_jobs(about, list.data(), list.size(), more.data(), more.size(),
                                         watch, &watcher_, out, error);
      });
      break;
    }
    case 0:
      ask("verification", "faultloom.verification", [&](auto** out, auto** error) {
        return faultloom_verification(about, job.data(), job.size(), watch, &watcher_, out, error);
      });
      break;
    case 1:
      ask("close_job", "faultloom.job", [&](auto** out, auto** error) {
        return faultloom_close_job(about, job.data(), job.size(), more.data(), more.size(), watch,
                                   &watcher_, out, error);
      });
      break;
    default:
      ask("testability", "faultloom.testability", [&](auto** out, auto** error) {
        return faultloom_testability(about, more.data(), more.size(), watch, &watcher_, out, error);
      });
  }
}

void Bench::learning() {
  if (--work_left_ < 0) return;
  std::vector<const faultloom_model*> models(input_.ConsumeIntegralInRange<std::size_t>(0, 2));
  for (auto& one : models) one = model();
  const auto against = input_.ConsumeBool() ? models : std::vector<const faultloom_model*>{};
  const auto history = text(Sort::history);
  const auto options = text(Sort::options);
  if (input_.ConsumeBool()) {
    ask("learn_rates", "faultloom.learning", [&](auto** out, auto** error) {
      return faultloom_learn_rates(models.data(), models.size(), history.data(), history.size(),
                                   options.data(), options.size(), watch, &watcher_, out, error);
    });
  } else {
    ask("calibration", "faultloom.calibration", [&](auto** out, auto** error) {
      return faultloom_calibration(models.data(), models.size(),
                                   against.empty() ? nullptr : against.data(), against.size(),
                                   history.data(), history.size(), options.data(), options.size(),
                                   watch, &watcher_, out, error);
    });
  }
}

void Bench::new_job() {
  const auto* about = model();
  faultloom_job* job = nullptr;
  const bool from_document = input_.ConsumeBool();
  const auto argument = text(from_document ? Sort::job : Sort::id);
  const auto status = call("new job", [&](auto** error) {
    return from_document
               ? faultloom_job_from_json(about, argument.data(), argument.size(), &job, error)
               : faultloom_job_new(about, argument.data(), argument.size(), &job, error);
  });
  require((status == FAULTLOOM_OK) == (job != nullptr), "a status without its job");
  if (job != nullptr) jobs_.emplace_back(job);
}

void Bench::look_at_job() {
  const auto* job = pick(jobs_);
  size_t count = 0;
  call("job_entry_count",
       [&](auto** error) { return faultloom_job_entry_count(job, &count, error); });
  const auto document = ask("job_json", "faultloom.job", [&](auto** out, auto** error) {
    return faultloom_job_json(job, out, error);
  });
  if (!document.empty() && json::parse(document)["entries"].size() != count)
    fail("a job with another number of entries", document);
}

void Bench::change_job() {
  auto* job = pick(jobs_);
  const auto kind = input_.ConsumeIntegralInRange(0, 2);
  const auto argument = text(kind == 0 ? Sort::entry : kind == 1 ? Sort::id : Sort::members);
  Owner<faultloom_text> before;
  faultloom_text* document = nullptr;
  if (faultloom_job_json(job, &document, nullptr) == FAULTLOOM_OK) before.reset(document);
  const char* id = nullptr;
  const auto status = call("change job", [&](auto** error) {
    if (kind == 0)
      return faultloom_job_add_entry(job, argument.data(), argument.size(), &id, error);
    if (kind == 1) return faultloom_job_withdraw(job, argument.data(), argument.size(), error);
    return faultloom_job_set(job, argument.data(), argument.size(), error);
  });
  require((kind == 0 && status == FAULTLOOM_OK) == (id != nullptr), "an entry without an id");
  if (before == nullptr || status == FAULTLOOM_OK) return;
  require(faultloom_job_json(job, &document, nullptr) == FAULTLOOM_OK, "a job that is gone");
  const Owner<faultloom_text> after(document);
  require(std::string_view(faultloom_text_data(before.get())) == faultloom_text_data(document),
          "a refused change left a trace");
}

void Bench::close_job() {
  if (--work_left_ < 0) return;
  auto* job = pick(jobs_);
  const auto closing = text(Sort::closing);
  call("job_close", [&](auto** error) {
    return faultloom_job_close(job, closing.data(), closing.size(), watch, &watcher_, error);
  });
}

void Bench::new_journal() {
  const auto place = Argument(path());
  const auto* about = input_.ConsumeBool() ? model() : nullptr;
  const auto job = text(Sort::job);
  faultloom_journal* journal = nullptr;
  const auto how = input_.ConsumeIntegralInRange(0, 2);
  if (how == 2) {
    const auto* from = pick(journals_);
    call("journal_compact", [&](auto** error) {
      return faultloom_journal_compact(from, place.data(), place.size(), error);
    });
    return;
  }
  const auto status = call("new journal", [&](auto** error) {
    return how == 0 ? faultloom_journal_create(place.data(), place.size(), about, job.data(),
                                               job.size(), &journal, error)
                    : faultloom_journal_open(place.data(), place.size(), about, &journal, error);
  });
  require((status == FAULTLOOM_OK) == (journal != nullptr), "a status without its journal");
  if (journal != nullptr) journals_.emplace_back(journal);
}

void Bench::change_journal() {
  auto* journal = pick(journals_);
  if (input_.ConsumeIntegralInRange(0, 3) == 0) {
    const auto job = text(Sort::job);
    call("journal_update", [&](auto** error) {
      return faultloom_journal_update(journal, job.data(), job.size(), error);
    });
    return;
  }
  const auto change = text(Sort::change);
  ask("journal_append", "", [&](auto** out, auto** error) {
    return faultloom_journal_append(journal, change.data(), change.size(), out, error);
  });
}

void Bench::look_at_journal() {
  const auto* journal = pick(journals_);
  ask("journal_json", "faultloom.job",
      [&](auto** out, auto** error) { return faultloom_journal_json(journal, out, error); });
  ask("journal_status", "faultloom.journal_status",
      [&](auto** out, auto** error) { return faultloom_journal_status(journal, out, error); });
  const auto bytes = text(Sort::journal);
  faultloom_text* status_text = nullptr;
  const auto document = ask("journal_read", "", [&](auto** out, auto** error) {
    return faultloom_journal_read(bytes.data(), bytes.size(), out, &status_text, error);
  });
  const Owner<faultloom_text> owner(status_text);
  require(document.empty() == (status_text == nullptr), "a document without a status");
}

/// Something else gets at the files.
void Bench::tamper() {
  const auto place = scratch_.path(input_.ConsumeBool() ? "one.journal" : "two.journal");
  std::error_code ignored;
  switch (input_.ConsumeIntegralInRange(0, 3)) {
    case 0:
      std::filesystem::remove(place, ignored);
      break;
    case 1:
      put_bytes(place, good(Sort::journal));
      break;
    case 2:
      if (std::filesystem::exists(place)) {
        auto bytes = bytes_of(place);
        if (!bytes.empty())
          bytes[input_.ConsumeIntegralInRange<std::size_t>(0, bytes.size() - 1)] ^= 4;
        put_bytes(place, bytes);
      }
      break;
    default:
      if (std::filesystem::exists(place))
        put_bytes(place, bytes_of(place) + input_.ConsumeRandomLengthString(32));
  }
}

/// A handle of another kind is refused like NULL.
void Bench::wrong_handle() {
  const auto* as_text = reinterpret_cast<const faultloom_text*>(shared_model());
  require(faultloom_text_size(as_text) == 0 && *faultloom_text_data(as_text) == '\0',
          "a model taken for a text");
  const auto* as_error = reinterpret_cast<const faultloom_error*>(shared_model());
  require(faultloom_error_code(as_error) == FAULTLOOM_OK, "a model taken for an error");
  auto* job = const_cast<faultloom_job*>(reinterpret_cast<const faultloom_job*>(shared_model()));
  auto* journal =
      const_cast<faultloom_journal*>(reinterpret_cast<const faultloom_journal*>(shared_model()));
  size_t count = 0;
  const auto status = call("wrong handle", [&](auto** error) {
    switch (input_.ConsumeIntegralInRange(0, 3)) {
      case 0:
        return faultloom_job_entry_count(job, &count, error);
      case 1:
        return faultloom_journal_update(journal, "{}", 2, error);
      case 2:
        return faultloom_job_withdraw(job, "e1", 2, error);
      default:
        return faultloom_mode_count(reinterpret_cast<const faultloom_model*>(pick(jobs_)), &count,
                                    error);
    }
  });
  require(status == FAULTLOOM_E_ARGUMENT, "a handle of another kind was taken");
  faultloom_job_free(job);
  faultloom_journal_free(journal);
}

void Bench::release() {
  const auto one_of = [&](auto& pool) {
    if (pool.empty()) return;
    const auto at = input_.ConsumeIntegralInRange<std::size_t>(0, pool.size() - 1);
    pool.erase(pool.begin() + static_cast<std::ptrdiff_t>(at));
  };
  switch (input_.ConsumeIntegralInRange(0, 3)) {
    case 0:
      return one_of(models_);
    case 1:
      return one_of(jobs_);
    case 2:
      return one_of(journals_);
    default:
      faultloom_model_free(nullptr);
      faultloom_job_free(nullptr);
      faultloom_journal_free(nullptr);
      faultloom_text_free(nullptr);
      faultloom_error_free(nullptr);
  }
}

}  // namespace fuzz
