// Every function with NULL in every place that must not be NULL, one at a time.
#include "support.hpp"
#include "support/scratch.hpp"

#include <functional>
#include <vector>

namespace {

using capi_test::ErrorOwner;

class NullArguments : public capi_test::WithModel {};

/// One call with one NULL; `name` is the argument the message must name.
struct Call {
  const char* name;
  std::function<faultloom_status(faultloom_error**)> run;
};

void expect_refused(const std::vector<Call>& calls) {
  for (const Call& call : calls) {
    SCOPED_TRACE(call.name);
    faultloom_error* error = nullptr;
    EXPECT_EQ(call.run(&error), FAULTLOOM_E_ARGUMENT);
    const ErrorOwner owner(error);
    EXPECT_EQ(faultloom_error_code(error), FAULTLOOM_E_ARGUMENT);
    const std::string expected = std::string("Argument '") + call.name + "' is NULL";
    EXPECT_EQ(faultloom_error_message(error), expected);
    EXPECT_EQ(call.run(nullptr), FAULTLOOM_E_ARGUMENT) << "without an error to fill";
  }
}

constexpr char text[] = "{}";
constexpr size_t size = 2;
// Calls must set outputs to NULL or 0 even when something else is NULL; these start as something else.
faultloom_text* const no_text = nullptr;

TEST_F(NullArguments, Documents) {
  faultloom_text* out = no_text;
  faultloom_model* built = nullptr;
  expect_refused({
      {"document",
       [&](auto** e) { return faultloom_check_document(nullptr, 0, nullptr, 0, &out, e); }},
      {"problems",
       [&](auto** e) { return faultloom_check_document(text, size, nullptr, 0, nullptr, e); }},
      {"csv",
       [&](auto** e) { return faultloom_vehicle_from_run_list(nullptr, 0, "A", 1, &out, e); }},
      {"vehicle_id",
       [&](auto** e) { return faultloom_vehicle_from_run_list(text, size, nullptr, 0, &out, e); }},
      {"vehicle",
       [&](auto** e) { return faultloom_vehicle_from_run_list(text, size, "A", 1, nullptr, e); }},
      {"vehicle",
       [&](auto** e) {
         return faultloom_model_from_json(nullptr, 0, nullptr, 0, nullptr, 0, nullptr, 0, nullptr,
                                          0, nullptr, nullptr, &built, e);
       }},
      {"model",
       [&](auto** e) {
         return faultloom_model_from_json(text, size, nullptr, 0, nullptr, 0, nullptr, 0, nullptr,
                                          0, nullptr, nullptr, nullptr, e);
       }},
  });
}

TEST_F(NullArguments, Model) {
  faultloom_text* out = no_text;
  expect_refused({
      {"model", [&](auto** e) { return faultloom_model_summary(nullptr, &out, e); }},
      {"summary", [&](auto** e) { return faultloom_model_summary(model(), nullptr, e); }},
      {"model", [&](auto** e) { return faultloom_model_lint(nullptr, nullptr, nullptr, &out, e); }},
      {"problems",
       [&](auto** e) { return faultloom_model_lint(model(), nullptr, nullptr, nullptr, e); }},
  });
}

TEST_F(NullArguments, Circuit) {
  faultloom_text* out = no_text;
  size_t n = 0;
  double value = 0;
  const char* name = nullptr;
  expect_refused({
      {"model", [&](auto** e) { return faultloom_terminal_count(nullptr, &n, e); }},
      {"count", [&](auto** e) { return faultloom_terminal_count(model(), nullptr, e); }},
      {"model", [&](auto** e) { return faultloom_terminal_name(nullptr, 0, &name, e); }},
      {"name", [&](auto** e) { return faultloom_terminal_name(model(), 0, nullptr, e); }},
      {"model",
       [&](auto** e) { return faultloom_terminal_volts(nullptr, text, size, &value, 1, &n, e); }},
      {"volts",
       [&](auto** e) { return faultloom_terminal_volts(model(), text, size, nullptr, 1, &n, e); }},
      {"needed",
       [&](auto** e) {
         return faultloom_terminal_volts(model(), text, size, &value, 1, nullptr, e);
       }},
      {"model", [&](auto** e) { return faultloom_solve(nullptr, text, size, &out, e); }},
      {"solution", [&](auto** e) { return faultloom_solve(model(), text, size, nullptr, e); }},
      {"model", [&](auto** e) { return faultloom_spice_deck(nullptr, text, size, &out, e); }},
      {"deck", [&](auto** e) { return faultloom_spice_deck(model(), text, size, nullptr, e); }},
  });
}

TEST_F(NullArguments, Modes) {
  size_t n = 0;
  size_t modes = 0;
  ASSERT_EQ(faultloom_mode_count(model(), &modes, nullptr), FAULTLOOM_OK);
  std::vector<double> values(modes);
  const char* name = nullptr;
  expect_refused({
      {"model", [&](auto** e) { return faultloom_mode_count(nullptr, &n, e); }},
      {"count", [&](auto** e) { return faultloom_mode_count(model(), nullptr, e); }},
      {"model", [&](auto** e) { return faultloom_mode_name(nullptr, 0, &name, e); }},
      {"name", [&](auto** e) { return faultloom_mode_name(model(), 0, nullptr, e); }},
      {"model",
       [&](auto** e) {
         return faultloom_mode_priors(nullptr, nullptr, 0, values.data(), modes, &n, e);
       }},
      {"priors",
       [&](auto** e) { return faultloom_mode_priors(model(), nullptr, 0, nullptr, modes, &n, e); }},
      {"needed",
       [&](auto** e) {
         return faultloom_mode_priors(model(), nullptr, 0, values.data(), modes, nullptr, e);
       }},
      {"model",
       [&](auto** e) {
         return faultloom_mode_posteriors(nullptr, text, size, nullptr, nullptr, values.data(),
                                          modes, &n, e);
       }},
      {"job",
       [&](auto** e) {
         return faultloom_mode_posteriors(model(), nullptr, 0, nullptr, nullptr, values.data(),
                                          modes, &n, e);
       }},
      {"posteriors",
       [&](auto** e) {
         return faultloom_mode_posteriors(model(), text, size, nullptr, nullptr, nullptr, modes, &n,
                                          e);
       }},
      {"needed",
       [&](auto** e) {
         return faultloom_mode_posteriors(model(), text, size, nullptr, nullptr, values.data(),
                                          modes, nullptr, e);
       }},
  });
}

TEST_F(NullArguments, VerificationAndClosing) {
  faultloom_text* out = no_text;
  expect_refused({
      {"model",
       [&](auto** e) {
         return faultloom_verification(nullptr, text, size, nullptr, nullptr, &out, e);
       }},
      {"job",
       [&](auto** e) {
         return faultloom_verification(model(), nullptr, 0, nullptr, nullptr, &out, e);
       }},
      {"verification",
       [&](auto** e) {
         return faultloom_verification(model(), text, size, nullptr, nullptr, nullptr, e);
       }},
      {"model",
       [&](auto** e) {
         return faultloom_close_job(nullptr, text, size, text, size, nullptr, nullptr, &out, e);
       }},
      {"job",
       [&](auto** e) {
         return faultloom_close_job(model(), nullptr, 0, text, size, nullptr, nullptr, &out, e);
       }},
      {"closing",
       [&](auto** e) {
         return faultloom_close_job(model(), text, size, nullptr, 0, nullptr, nullptr, &out, e);
       }},
      {"closed",
       [&](auto** e) {
         return faultloom_close_job(model(), text, size, text, size, nullptr, nullptr, nullptr, e);
       }},
  });
}

TEST_F(NullArguments, Questions) {
  struct Question {
    const char* answer;
    decltype(&faultloom_rank) ask;
  };
  faultloom_text* out = no_text;
  for (const Question& question :
       {Question{"ranking", &faultloom_rank}, Question{"step", &faultloom_next_step},
        Question{"plan", &faultloom_plan}, Question{"card", &faultloom_plan_card},
        Question{"explanation", &faultloom_explain}, Question{"ambiguity", &faultloom_ambiguity}}) {
    const auto ask = question.ask;
    expect_refused({
        {"model",
         [&](auto** e) { return ask(nullptr, text, size, nullptr, 0, nullptr, nullptr, &out, e); }},
        {"job",
         [&](auto** e) { return ask(model(), nullptr, 0, nullptr, 0, nullptr, nullptr, &out, e); }},
        {question.answer,
         [&](auto** e) {
           return ask(model(), text, size, nullptr, 0, nullptr, nullptr, nullptr, e);
         }},
    });
  }
}

TEST_F(NullArguments, Testability) {
  faultloom_text* out = no_text;
  expect_refused({
      {"model",
       [&](auto** e) {
         return faultloom_testability(nullptr, nullptr, 0, nullptr, nullptr, &out, e);
       }},
      {"testability",
       [&](auto** e) {
         return faultloom_testability(model(), text, size, nullptr, nullptr, nullptr, e);
       }},
  });
}

TEST_F(NullArguments, Jobs) {
  faultloom_text* out = no_text;
  faultloom_job* made = nullptr;
  ASSERT_EQ(faultloom_job_new(model(), "j", 1, &made, nullptr), FAULTLOOM_OK);
  faultloom_job* const job = made;
  const char* id = nullptr;
  size_t n = 0;
  expect_refused({
      {"model", [&](auto** e) { return faultloom_job_new(nullptr, text, size, &made, e); }},
      {"id", [&](auto** e) { return faultloom_job_new(model(), nullptr, 0, &made, e); }},
      {"job", [&](auto** e) { return faultloom_job_new(model(), text, size, nullptr, e); }},
      {"model", [&](auto** e) { return faultloom_job_from_json(nullptr, text, size, &made, e); }},
      {"document",
       [&](auto** e) { return faultloom_job_from_json(model(), nullptr, 0, &made, e); }},
      {"job", [&](auto** e) { return faultloom_job_from_json(model(), text, size, nullptr, e); }},
      {"job", [&](auto** e) { return faultloom_job_set(nullptr, text, size, e); }},
      {"members", [&](auto** e) { return faultloom_job_set(job, nullptr, 0, e); }},
      {"job", [&](auto** e) { return faultloom_job_add_entry(nullptr, text, size, &id, e); }},
      {"entry", [&](auto** e) { return faultloom_job_add_entry(job, nullptr, 0, &id, e); }},
      {"id", [&](auto** e) { return faultloom_job_add_entry(job, text, size, nullptr, e); }},
      {"job", [&](auto** e) { return faultloom_job_withdraw(nullptr, text, size, e); }},
      {"id", [&](auto** e) { return faultloom_job_withdraw(job, nullptr, 0, e); }},
      {"job",
       [&](auto** e) { return faultloom_job_close(nullptr, text, size, nullptr, nullptr, e); }},
      {"closing",
       [&](auto** e) { return faultloom_job_close(job, nullptr, 0, nullptr, nullptr, e); }},
      {"job", [&](auto** e) { return faultloom_job_entry_count(nullptr, &n, e); }},
      {"count", [&](auto** e) { return faultloom_job_entry_count(job, nullptr, e); }},
      {"job", [&](auto** e) { return faultloom_job_json(nullptr, &out, e); }},
      {"document", [&](auto** e) { return faultloom_job_json(job, nullptr, e); }},
  });
  faultloom_job_free(job);
}

TEST_F(NullArguments, Journals) {
  const Scratch scratch;
  const std::string path = scratch.path("j.journal");
  const std::string document = capi_test::small_job();
  faultloom_text* out = no_text;
  faultloom_text* more = no_text;
  faultloom_journal* made = nullptr;
  ASSERT_EQ(faultloom_journal_create(path.data(), path.size(), nullptr, document.data(),
                                     document.size(), &made, nullptr),
            FAULTLOOM_OK);
  faultloom_journal* const journal = made;
  const char* p = path.data();
  const size_t ps = path.size();
  expect_refused({
      {"path",
       [&](auto** e) {
         return faultloom_journal_create(nullptr, 0, nullptr, text, size, &made, e);
       }},
      {"job",
       [&](auto** e) { return faultloom_journal_create(p, ps, nullptr, nullptr, 0, &made, e); }},
      {"journal",
       [&](auto** e) { return faultloom_journal_create(p, ps, nullptr, text, size, nullptr, e); }},
      {"path", [&](auto** e) { return faultloom_journal_open(nullptr, 0, nullptr, &made, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_open(p, ps, nullptr, nullptr, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_append(nullptr, text, size, &out, e); }},
      {"change", [&](auto** e) { return faultloom_journal_append(journal, nullptr, 0, &out, e); }},
      {"added",
       [&](auto** e) { return faultloom_journal_append(journal, text, size, nullptr, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_update(nullptr, text, size, e); }},
      {"job", [&](auto** e) { return faultloom_journal_update(journal, nullptr, 0, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_json(nullptr, &out, e); }},
      {"document", [&](auto** e) { return faultloom_journal_json(journal, nullptr, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_status(nullptr, &out, e); }},
      {"status", [&](auto** e) { return faultloom_journal_status(journal, nullptr, e); }},
      {"journal", [&](auto** e) { return faultloom_journal_compact(nullptr, p, ps, e); }},
      {"path", [&](auto** e) { return faultloom_journal_compact(journal, nullptr, 0, e); }},
      {"bytes", [&](auto** e) { return faultloom_journal_read(nullptr, 0, &out, &more, e); }},
      {"document", [&](auto** e) { return faultloom_journal_read(text, size, nullptr, &more, e); }},
      {"status", [&](auto** e) { return faultloom_journal_read(text, size, &out, nullptr, e); }},
  });
  faultloom_journal_free(journal);
}

TEST_F(NullArguments, OutputsAreClearedEvenThen) {
  int rubbish = 0;
  auto* out = reinterpret_cast<faultloom_text*>(&rubbish);
  EXPECT_EQ(faultloom_model_summary(nullptr, &out, nullptr), FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(out, nullptr);
  auto* built = reinterpret_cast<faultloom_model*>(&rubbish);
  EXPECT_EQ(faultloom_model_from_json(nullptr, 0, nullptr, 0, nullptr, 0, nullptr, 0, nullptr, 0,
                                      nullptr, nullptr, &built, nullptr),
            FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(built, nullptr);
  size_t n = 7;
  EXPECT_EQ(faultloom_terminal_count(nullptr, &n, nullptr), FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(n, 0U);
  const char* name = "rubbish";
  EXPECT_EQ(faultloom_mode_name(nullptr, 0, &name, nullptr), FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(name, nullptr);
  n = 7;
  EXPECT_EQ(faultloom_terminal_volts(nullptr, nullptr, 0, nullptr, 0, &n, nullptr),
            FAULTLOOM_E_ARGUMENT);
  EXPECT_EQ(n, 0U);
}

TEST(NullHandles, AreEmptyAndFreed) {
  EXPECT_EQ(faultloom_error_code(nullptr), FAULTLOOM_OK);
  EXPECT_STREQ(faultloom_error_message(nullptr), "");
  EXPECT_STREQ(faultloom_error_pointer(nullptr), "");
  EXPECT_STREQ(faultloom_error_details(nullptr), "[]");
  EXPECT_STREQ(faultloom_text_data(nullptr), "");
  EXPECT_EQ(faultloom_text_size(nullptr), 0U);
  faultloom_error_free(nullptr);
  faultloom_text_free(nullptr);
  faultloom_model_free(nullptr);
  faultloom_job_free(nullptr);
  faultloom_journal_free(nullptr);
}

TEST_F(NullArguments, Learning) {
  faultloom_text* out = no_text;
  const faultloom_model* models[] = {model()};
  const faultloom_model* none[] = {nullptr};
  const auto learn = [&](const faultloom_model* const* list, const char* history,
                         faultloom_text** place, faultloom_error** e) {
    return faultloom_learn_rates(list, 1, history, size, nullptr, 0, nullptr, nullptr, place, e);
  };
  const auto calibrate = [&](const faultloom_model* const* list,
                             const faultloom_model* const* against, size_t count,
                             const char* history, faultloom_text** place, faultloom_error** e) {
    return faultloom_calibration(list, 1, against, count, history, size, nullptr, 0, nullptr,
                                 nullptr, place, e);
  };
  expect_refused({
      {"models", [&](auto** e) { return learn(nullptr, text, &out, e); }},
      {"models", [&](auto** e) { return learn(none, text, &out, e); }},
      {"history", [&](auto** e) { return learn(models, nullptr, &out, e); }},
      {"learned", [&](auto** e) { return learn(models, text, nullptr, e); }},
      {"models", [&](auto** e) { return calibrate(nullptr, nullptr, 0, text, &out, e); }},
      {"against", [&](auto** e) { return calibrate(models, nullptr, 1, text, &out, e); }},
      {"against", [&](auto** e) { return calibrate(models, none, 1, text, &out, e); }},
      {"history", [&](auto** e) { return calibrate(models, nullptr, 0, nullptr, &out, e); }},
      {"calibration", [&](auto** e) { return calibrate(models, nullptr, 0, text, nullptr, e); }},
      {"model",
       [&](auto** e) {
         return faultloom_sensitivity(nullptr, text, size, nullptr, 0, nullptr, nullptr, &out, e);
       }},
      {"job",
       [&](auto** e) {
         return faultloom_sensitivity(model(), nullptr, 0, nullptr, 0, nullptr, nullptr, &out, e);
       }},
      {"sensitivity",
       [&](auto** e) {
         return faultloom_sensitivity(model(), text, size, nullptr, 0, nullptr, nullptr, nullptr,
                                      e);
       }},
  });
}

TEST_F(NullArguments, Fleet) {
  faultloom_text* out = no_text;
  const auto rank = [&](const faultloom_model* asked, const char* jobs, faultloom_text** place,
                        faultloom_error** e) {
    return faultloom_model_rank_jobs(asked, jobs, size, nullptr, 0, nullptr, nullptr, place, e);
  };
  expect_refused({
      {"model", [&](auto** e) { return rank(nullptr, text, &out, e); }},
      {"jobs", [&](auto** e) { return rank(model(), nullptr, &out, e); }},
      {"ranking", [&](auto** e) { return rank(model(), text, nullptr, e); }},
  });
}

}  // namespace
