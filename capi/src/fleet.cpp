#include <faultloom.h>

#include "answers.hpp"

#include <faultloom/documents/fleet_ranking.hpp>
#include <string_view>

using namespace faultloom::capi;

faultloom_status faultloom_model_rank_jobs(const faultloom_model* model, const char* jobs,
                                           size_t jobs_size, const char* options,
                                           size_t options_size, faultloom_progress_fn progress,
                                           void* user, faultloom_text** ranking,
                                           faultloom_error** error) {
  return answer_text(ranking, "ranking", error, [&] {
    const auto& asked = required(model, "model").model;
    const std::string_view list = required_text(jobs, jobs_size, "jobs");
    const std::string_view how = optional_text(options, options_size, "options");
    return faultloom::documents::rank_jobs_json(asked, list, how, watch(progress, user));
  });
}
