#include <faultloom.h>

#include "answers.hpp"

#include <string_view>

using namespace faultloom::capi;

namespace {

std::string_view situation_text(const char* situation, size_t size) {
  return optional_text(situation, size, "situation", "{}");
}

}  // namespace

faultloom_status faultloom_terminal_count(const faultloom_model* model, size_t* count,
                                          faultloom_error** error) {
  clear(count);
  return guard(error,
               [&] { required(count, "count") = required(model, "model").terminals.size(); });
}

faultloom_status faultloom_terminal_name(const faultloom_model* model, size_t index,
                                         const char** name, faultloom_error** error) {
  clear(name);
  return guard(
      error, [&] { required(name, "name") = name_at(required(model, "model").terminals, index); });
}

faultloom_status faultloom_terminal_volts(const faultloom_model* model, const char* situation,
                                          size_t situation_size, double* volts, size_t capacity,
                                          size_t* needed, faultloom_error** error) {
  return answer_array(
      {volts, capacity, needed, "volts"}, error,
      [&] { return required(model, "model").terminals.size(); },
      [&] { return model->model.terminal_volts(situation_text(situation, situation_size)); });
}

faultloom_status faultloom_solve(const faultloom_model* model, const char* situation,
                                 size_t situation_size, faultloom_text** solution,
                                 faultloom_error** error) {
  return answer_text(solution, "solution", error, [&] {
    const auto& asked = required(model, "model").model;
    return asked.solve_json(situation_text(situation, situation_size));
  });
}

faultloom_status faultloom_spice_deck(const faultloom_model* model, const char* situation,
                                      size_t situation_size, faultloom_text** deck,
                                      faultloom_error** error) {
  return answer_text(deck, "deck", error, [&] {
    const auto& asked = required(model, "model").model;
    return asked.spice_deck(situation_text(situation, situation_size));
  });
}
