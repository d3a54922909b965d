// Handles of one kind where another is wanted. Nothing may be read or freed as what it is not.
#include "support.hpp"

#include <functional>
#include <string>
#include <vector>

namespace {

using capi_test::ErrorOwner;
using capi_test::TextOwner;

template <typename Handle>
Handle* as(const void* other) {
  return static_cast<Handle*>(const_cast<void*>(other));
}

class WrongHandles : public capi_test::WithModel {
 protected:
  void SetUp() override {
    faultloom_text* text = nullptr;
    ASSERT_EQ(faultloom_model_summary(model(), &text, nullptr), FAULTLOOM_OK);
    text_.reset(text);
    faultloom_error* error = nullptr;
    ASSERT_EQ(faultloom_model_summary(nullptr, &text, &error), FAULTLOOM_E_ARGUMENT);
    error_.reset(error);
  }

  TextOwner text_;
  ErrorOwner error_;
};

TEST_F(WrongHandles, AreRefusedWhereAModelIsWanted) {
  using Call = std::function<faultloom_status(const faultloom_model*, faultloom_error**)>;
  faultloom_text* out = nullptr;
  size_t n = 0;
  double value = 0;
  const char* name = nullptr;
  const char job[] = "{}";
  std::vector<Call> calls{
      [&](auto* m, auto** e) { return faultloom_model_summary(m, &out, e); },
      [&](auto* m, auto** e) { return faultloom_model_lint(m, nullptr, nullptr, &out, e); },
      [&](auto* m, auto** e) { return faultloom_terminal_count(m, &n, e); },
      [&](auto* m, auto** e) { return faultloom_terminal_name(m, 0, &name, e); },
      [&](auto* m, auto** e) { return faultloom_terminal_volts(m, nullptr, 0, &value, 1, &n, e); },
      [&](auto* m, auto** e) { return faultloom_solve(m, nullptr, 0, &out, e); },
      [&](auto* m, auto** e) { return faultloom_spice_deck(m, nullptr, 0, &out, e); },
      [&](auto* m, auto** e) { return faultloom_mode_count(m, &n, e); },
      [&](auto* m, auto** e) { return faultloom_mode_name(m, 0, &name, e); },
      [&](auto* m, auto** e) { return faultloom_mode_priors(m, nullptr, 0, &value, 1, &n, e); },
      [&](auto* m, auto** e) {
        return faultloom_mode_posteriors(m, job, 2, nullptr, nullptr, &value, 1, &n, e);
      },
      [&](auto* m, auto** e) {
        return faultloom_verification(m, job, 2, nullptr, nullptr, &out, e);
      },
      [&](auto* m, auto** e) {
        return faultloom_close_job(m, job, 2, job, 2, nullptr, nullptr, &out, e);
      },
      [&](auto* m, auto** e) {
        return faultloom_testability(m, nullptr, 0, nullptr, nullptr, &out, e);
      },
  };
  for (const auto ask : {&faultloom_rank, &faultloom_next_step, &faultloom_plan,
                         &faultloom_plan_card, &faultloom_explain, &faultloom_ambiguity,
                         &faultloom_sensitivity, &faultloom_model_rank_jobs})
    calls.emplace_back([ask, &job, &out](auto* m, auto** e) {
      return ask(m, job, 2, nullptr, 0, nullptr, nullptr, &out, e);
    });
  for (size_t i = 0; i < calls.size(); ++i) {
    SCOPED_TRACE(i);
    for (const void* wrong :
         {static_cast<const void*>(text_.get()), static_cast<const void*>(error_.get())}) {
      faultloom_error* error = nullptr;
      EXPECT_EQ(calls[i](as<faultloom_model>(wrong), &error), FAULTLOOM_E_ARGUMENT);
      const ErrorOwner owner(error);
      EXPECT_STREQ(faultloom_error_message(error),
                   "Argument 'model' is a handle of another kind, or was freed");
      EXPECT_EQ(out, nullptr);
    }
  }
}

TEST_F(WrongHandles, AreRefusedWhereAJobOrJournalIsWanted) {
  faultloom_text* out = nullptr;
  faultloom_text* more = nullptr;
  faultloom_job* job = nullptr;
  faultloom_journal* journal = nullptr;
  const char* id = nullptr;
  size_t n = 0;
  const char text[] = "{}";
  const std::vector<std::function<faultloom_status(const void*, faultloom_error**)>> calls{
      [&](auto* h, auto** e) { return faultloom_job_new(as<faultloom_model>(h), "j", 1, &job, e); },
      [&](auto* h, auto** e) {
        return faultloom_job_from_json(as<faultloom_model>(h), text, 2, &job, e);
      },
      [&](auto* h, auto** e) { return faultloom_job_set(as<faultloom_job>(h), text, 2, e); },
      [&](auto* h, auto** e) {
        return faultloom_job_add_entry(as<faultloom_job>(h), text, 2, &id, e);
      },
      [&](auto* h, auto** e) { return faultloom_job_withdraw(as<faultloom_job>(h), "e", 1, e); },
      [&](auto* h, auto** e) {
        return faultloom_job_close(as<faultloom_job>(h), text, 2, nullptr, nullptr, e);
      },
      [&](auto* h, auto** e) { return faultloom_job_entry_count(as<faultloom_job>(h), &n, e); },
      [&](auto* h, auto** e) { return faultloom_job_json(as<faultloom_job>(h), &out, e); },
      [&](auto* h, auto** e) {
        return faultloom_journal_open("/none", 5, as<faultloom_model>(h), &journal, e);
      },
      [&](auto* h, auto** e) {
        return faultloom_journal_append(as<faultloom_journal>(h), text, 2, &more, e);
      },
      [&](auto* h, auto** e) {
        return faultloom_journal_update(as<faultloom_journal>(h), text, 2, e);
      },
      [&](auto* h, auto** e) { return faultloom_journal_json(as<faultloom_journal>(h), &out, e); },
      [&](auto* h, auto** e) {
        return faultloom_journal_status(as<faultloom_journal>(h), &out, e);
      },
      [&](auto* h, auto** e) {
        return faultloom_journal_compact(as<faultloom_journal>(h), "/none", 5, e);
      },
      [&](auto* h, auto** e) {
        const auto* wrong = as<faultloom_model>(h);
        return faultloom_learn_rates(&wrong, 1, text, 2, nullptr, 0, nullptr, nullptr, &out, e);
      },
  };
  for (size_t i = 0; i < calls.size(); ++i) {
    SCOPED_TRACE(i);
    faultloom_error* error = nullptr;
    EXPECT_EQ(calls[i](text_.get(), &error), FAULTLOOM_E_ARGUMENT);
    const ErrorOwner owner(error);
    EXPECT_NE(std::string(faultloom_error_message(error)).find("is a handle of another kind"),
              std::string::npos);
  }
  faultloom_job_free(as<faultloom_job>(text_.get()));
  faultloom_journal_free(as<faultloom_journal>(text_.get()));
  EXPECT_STRNE(faultloom_text_data(text_.get()), "");
}

TEST_F(WrongHandles, AreLikeNullWhereNothingCanFail) {
  for (const void* wrong :
       {static_cast<const void*>(model()), static_cast<const void*>(error_.get())}) {
    EXPECT_STREQ(faultloom_text_data(as<faultloom_text>(wrong)), "");
    EXPECT_EQ(faultloom_text_size(as<faultloom_text>(wrong)), 0U);
  }
  for (const void* wrong :
       {static_cast<const void*>(model()), static_cast<const void*>(text_.get())}) {
    const auto* error = as<faultloom_error>(wrong);
    EXPECT_EQ(faultloom_error_code(error), FAULTLOOM_OK);
    EXPECT_STREQ(faultloom_error_message(error), "");
    EXPECT_STREQ(faultloom_error_pointer(error), "");
    EXPECT_STREQ(faultloom_error_details(error), "[]");
  }
}

TEST_F(WrongHandles, AreLeftAloneByTheWrongFree) {
  const std::string before(faultloom_text_data(text_.get()));
  faultloom_model_free(as<faultloom_model>(text_.get()));
  faultloom_error_free(as<faultloom_error>(text_.get()));
  faultloom_model_free(as<faultloom_model>(error_.get()));
  faultloom_text_free(as<faultloom_text>(error_.get()));
  faultloom_text_free(as<faultloom_text>(model()));
  faultloom_error_free(as<faultloom_error>(model()));
  EXPECT_EQ(faultloom_text_data(text_.get()), before);
  EXPECT_EQ(faultloom_error_code(error_.get()), FAULTLOOM_E_ARGUMENT);
  size_t count = 0;
  EXPECT_EQ(faultloom_terminal_count(model(), &count, nullptr), FAULTLOOM_OK);
  EXPECT_GT(count, 0U);
}

}  // namespace
