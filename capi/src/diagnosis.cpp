#include <faultloom.h>

#include "answers.hpp"

#include <string_view>

using namespace faultloom::capi;

namespace {

/// What every question about a job is made of.
struct Question {
  const char* job;
  size_t job_size;
  const char* options;
  size_t options_size;
  faultloom_progress_fn progress;
  void* user;
};

/// Puts a question to a member function of the model, for example &Model::rank_json.
template <typename Member>
std::string put(const Question& question, const faultloom_model* model, Member member) {
  const auto& asked = required(model, "model").model;
  const std::string_view job = required_text(question.job, question.job_size, "job");
  const std::string_view options =
      optional_text(question.options, question.options_size, "options");
  return (asked.*member)(job, options, watch(question.progress, question.user));
}

}  // namespace

using faultloom::documents::Model;

faultloom_status faultloom_mode_count(const faultloom_model* model, size_t* count,
                                      faultloom_error** error) {
  clear(count);
  return guard(error, [&] { required(count, "count") = required(model, "model").modes.size(); });
}

faultloom_status faultloom_mode_name(const faultloom_model* model, size_t index, const char** name,
                                     faultloom_error** error) {
  clear(name);
  return guard(error,
               [&] { required(name, "name") = name_at(required(model, "model").modes, index); });
}

faultloom_status faultloom_mode_priors(const faultloom_model* model, const char* job,
                                       size_t job_size, double* priors, size_t capacity,
                                       size_t* needed, faultloom_error** error) {
  return answer_array(
      {priors, capacity, needed, "priors"}, error,
      [&] { return required(model, "model").modes.size(); },
      [&] { return model->model.mode_priors(optional_text(job, job_size, "job")); });
}

faultloom_status faultloom_mode_posteriors(const faultloom_model* model, const char* job,
                                           size_t job_size, faultloom_progress_fn progress,
                                           void* user, double* posteriors, size_t capacity,
                                           size_t* needed, faultloom_error** error) {
  return answer_array(
      {posteriors, capacity, needed, "posteriors"}, error,
      [&] { return required(model, "model").modes.size(); },
      [&] {
        const std::string_view text = required_text(job, job_size, "job");
        return model->model.mode_posteriors(text, watch(progress, user));
      });
}

faultloom_status faultloom_rank(const faultloom_model* model, const char* job, size_t job_size,
                                const char* options, size_t options_size,
                                faultloom_progress_fn progress, void* user,
                                faultloom_text** ranking, faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(ranking, "ranking", error,
                     [&] { return put(question, model, &Model::rank_json); });
}

faultloom_status faultloom_next_step(const faultloom_model* model, const char* job, size_t job_size,
                                     const char* options, size_t options_size,
                                     faultloom_progress_fn progress, void* user,
                                     faultloom_text** step, faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(step, "step", error, [&] { return put(question, model, &Model::next_json); });
}

faultloom_status faultloom_plan(const faultloom_model* model, const char* job, size_t job_size,
                                const char* options, size_t options_size,
                                faultloom_progress_fn progress, void* user, faultloom_text** plan,
                                faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(plan, "plan", error, [&] { return put(question, model, &Model::plan_json); });
}

faultloom_status faultloom_plan_card(const faultloom_model* model, const char* job, size_t job_size,
                                     const char* options, size_t options_size,
                                     faultloom_progress_fn progress, void* user,
                                     faultloom_text** card, faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(card, "card", error, [&] { return put(question, model, &Model::plan_card); });
}

faultloom_status faultloom_explain(const faultloom_model* model, const char* job, size_t job_size,
                                   const char* options, size_t options_size,
                                   faultloom_progress_fn progress, void* user,
                                   faultloom_text** explanation, faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(explanation, "explanation", error,
                     [&] { return put(question, model, &Model::explain_json); });
}

faultloom_status faultloom_verification(const faultloom_model* model, const char* job,
                                        size_t job_size, faultloom_progress_fn progress, void* user,
                                        faultloom_text** verification, faultloom_error** error) {
  return answer_text(verification, "verification", error, [&] {
    const auto& asked = required(model, "model").model;
    return asked.verification_json(required_text(job, job_size, "job"), watch(progress, user));
  });
}

faultloom_status faultloom_close_job(const faultloom_model* model, const char* job, size_t job_size,
                                     const char* closing, size_t closing_size,
                                     faultloom_progress_fn progress, void* user,
                                     faultloom_text** closed, faultloom_error** error) {
  return answer_text(closed, "closed", error, [&] {
    const auto& asked = required(model, "model").model;
    const std::string_view text = required_text(job, job_size, "job");
    return asked.close_json(text, required_text(closing, closing_size, "closing"),
                            watch(progress, user));
  });
}

faultloom_status faultloom_ambiguity(const faultloom_model* model, const char* job, size_t job_size,
                                     const char* options, size_t options_size,
                                     faultloom_progress_fn progress, void* user,
                                     faultloom_text** ambiguity, faultloom_error** error) {
  const Question question{job, job_size, options, options_size, progress, user};
  return answer_text(ambiguity, "ambiguity", error,
                     [&] { return put(question, model, &Model::ambiguity_json); });
}

faultloom_status faultloom_testability(const faultloom_model* model, const char* options,
                                       size_t options_size, faultloom_progress_fn progress,
                                       void* user, faultloom_text** testability,
                                       faultloom_error** error) {
  return answer_text(testability, "testability", error, [&] {
    const auto& asked = required(model, "model").model;
    const std::string_view text = optional_text(options, options_size, "options");
    return asked.testability_json(text, watch(progress, user));
  });
}
