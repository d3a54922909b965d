#include <faultloom.h>

#include "answers.hpp"

#include <faultloom/documents/model.hpp>
#include <string_view>
#include <utility>

using namespace faultloom::capi;
namespace documents = faultloom::documents;

faultloom_status faultloom_check_document(const char* document, size_t document_size,
                                          const char* kinds, size_t kinds_size,
                                          faultloom_text** problems, faultloom_error** error) {
  return answer_text(problems, "problems", error, [&] {
    const std::string_view text = required_text(document, document_size, "document");
    const std::string_view against = optional_text(kinds, kinds_size, "kinds");
    return documents::problems_json(documents::check_document(text, against));
  });
}

faultloom_status faultloom_vehicle_from_run_list(const char* csv, size_t csv_size,
                                                 const char* vehicle_id, size_t vehicle_id_size,
                                                 faultloom_text** vehicle,
                                                 faultloom_error** error) {
  return answer_text(vehicle, "vehicle", error, [&] {
    const std::string_view rows = required_text(csv, csv_size, "csv");
    const std::string_view id = required_text(vehicle_id, vehicle_id_size, "vehicle_id");
    return documents::vehicle_from_run_list(rows, id);
  });
}

faultloom_status faultloom_model_from_json(const char* vehicle, size_t vehicle_size,
                                           const char* kinds, size_t kinds_size, const char* rates,
                                           size_t rates_size, const char* instruments,
                                           size_t instruments_size, const char* cautions,
                                           size_t cautions_size, faultloom_progress_fn progress,
                                           void* user, faultloom_model** model,
                                           faultloom_error** error) {
  clear(model);
  return guard(error, [&] {
    faultloom_model*& place = required(model, "model");
    documents::ModelSources sources;
    sources.vehicle = required_text(vehicle, vehicle_size, "vehicle");
    if (sources.vehicle.empty()) refuse("vehicle", "is empty");
    sources.kinds = optional_text(kinds, kinds_size, "kinds");
    sources.rates = optional_text(rates, rates_size, "rates");
    sources.instruments = optional_text(instruments, instruments_size, "instruments");
    sources.cautions = optional_text(cautions, cautions_size, "cautions");
    documents::Model built(sources, watch(progress, user));
    auto terminals = built.terminal_names();
    auto modes = built.mode_names();
    place = new faultloom_model{{}, std::move(built), std::move(terminals), std::move(modes)};
  });
}

void faultloom_model_free(faultloom_model* model) {
  if (model != nullptr && is_kind(model)) delete model;
}

faultloom_status faultloom_model_summary(const faultloom_model* model, faultloom_text** summary,
                                         faultloom_error** error) {
  return answer_text(summary, "summary", error,
                     [&] { return required(model, "model").model.summary_json(); });
}

faultloom_status faultloom_model_lint(const faultloom_model* model, faultloom_progress_fn progress,
                                      void* user, faultloom_text** problems,
                                      faultloom_error** error) {
  return answer_text(problems, "problems", error, [&] {
    const auto& asked = required(model, "model").model;
    return documents::problems_json(asked.lint(watch(progress, user)));
  });
}
