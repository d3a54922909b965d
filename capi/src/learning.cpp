#include <faultloom.h>

#include "answers.hpp"

#include <faultloom/documents/learning.hpp>
#include <string_view>
#include <vector>

using namespace faultloom::capi;
namespace documents = faultloom::documents;

namespace {

/// The models behind an array of handles; each must be there.
std::vector<const documents::Model*> models_of(const faultloom_model* const* models, size_t count,
                                               const char* name) {
  std::vector<const documents::Model*> result;
  if (count == 0) refuse(name, "has no model in it");
  const auto* list = &required(models, name);
  result.reserve(count);
  for (size_t i = 0; i < count; ++i) result.push_back(&required(list[i], name).model);
  return result;
}

}  // namespace

faultloom_status faultloom_learn_rates(const faultloom_model* const* models, size_t model_count,
                                       const char* history, size_t history_size,
                                       const char* options, size_t options_size,
                                       faultloom_progress_fn progress, void* user,
                                       faultloom_text** learned, faultloom_error** error) {
  return answer_text(learned, "learned", error, [&] {
    const auto asked = models_of(models, model_count, "models");
    const std::string_view past = required_text(history, history_size, "history");
    const std::string_view how = optional_text(options, options_size, "options");
    return documents::learn_rates(asked, past, how, watch(progress, user));
  });
}

faultloom_status faultloom_calibration(const faultloom_model* const* models, size_t model_count,
                                       const faultloom_model* const* against, size_t against_count,
                                       const char* history, size_t history_size,
                                       const char* options, size_t options_size,
                                       faultloom_progress_fn progress, void* user,
                                       faultloom_text** calibration, faultloom_error** error) {
  return answer_text(calibration, "calibration", error, [&] {
    const auto asked = models_of(models, model_count, "models");
    std::vector<const documents::Model*> others;
    if (against != nullptr || against_count != 0)
      others = models_of(against, against_count, "against");
    const std::string_view past = required_text(history, history_size, "history");
    const std::string_view how = optional_text(options, options_size, "options");
    return documents::calibration(asked, others, past, how, watch(progress, user));
  });
}

faultloom_status faultloom_sensitivity(const faultloom_model* model, const char* job,
                                       size_t job_size, const char* options, size_t options_size,
                                       faultloom_progress_fn progress, void* user,
                                       faultloom_text** sensitivity, faultloom_error** error) {
  return answer_text(sensitivity, "sensitivity", error, [&] {
    const auto& asked = required(model, "model").model;
    const std::string_view text = required_text(job, job_size, "job");
    const std::string_view how = optional_text(options, options_size, "options");
    return documents::sensitivity(asked, text, how, watch(progress, user));
  });
}
