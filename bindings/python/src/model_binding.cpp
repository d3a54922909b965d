#include "model_binding.hpp"

#include <pybind11/stl.h>

#include <faultloom/documents/model.hpp>
#include <optional>
#include <string>

#include "arrays.hpp"
#include "errors.hpp"
#include "watcher.hpp"

namespace faultloom::python {
namespace {

namespace py = pybind11;
using namespace py::literals;
using documents::Model;
using Text = std::string;
using MaybeText = std::optional<std::string>;

/// None stands for the shipped document; an empty text was read from somewhere and is a mistake.
std::string_view text_or_default(const MaybeText& text, const char* name) {
  if (!text) return {};
  if (text->empty()) throw Error(Code::syntax, Text("The ") + name + " document is empty");
  return *text;
}

Model make_model(const Text& vehicle, const MaybeText& kinds, const MaybeText& rates,
                 const MaybeText& instruments, const MaybeText& cautions,
                 const py::object& progress) {
  const documents::ModelSources sources{
      vehicle, text_or_default(kinds, "kinds"), text_or_default(rates, "rates"),
      text_or_default(instruments, "instruments"), text_or_default(cautions, "cautions")};
  return watched(progress, [&](const Progress& watch) { return Model(sources, watch); });
}

py::list lint(const Model& model, const py::object& progress) {
  return problem_list(watched(progress, [&](const Progress& watch) { return model.lint(watch); }));
}

py::array_t<double> terminal_volts(const Model& model, const Text& situation) {
  return owned_array(unlocked([&] { return model.terminal_volts(situation); }));
}

Text solve_json(const Model& model, const Text& situation) {
  return unlocked([&] { return model.solve_json(situation); });
}

Text spice_deck(const Model& model, const Text& situation) {
  return unlocked([&] { return model.spice_deck(situation); });
}

py::array_t<double> mode_priors(const Model& model, const MaybeText& job) {
  const auto text = text_or_default(job, "job");
  return owned_array(unlocked([&] { return model.mode_priors(text); }));
}

py::array_t<double> mode_posteriors(const Model& model, const Text& job,
                                    const py::object& progress) {
  return owned_array(
      watched(progress, [&](const Progress& watch) { return model.mode_posteriors(job, watch); }));
}

/// Wraps a call that answers a job in JSON.
template <std::string (Model::*call)(std::string_view, std::string_view, const Progress&) const>
Text answer(const Model& model, const Text& job, const Text& options, const py::object& progress) {
  return watched(progress,
                 [&](const Progress& watch) { return (model.*call)(job, options, watch); });
}

Text testability_json(const Model& model, const Text& options, const py::object& progress) {
  return watched(progress,
                 [&](const Progress& watch) { return model.testability_json(options, watch); });
}

Text verification_json(const Model& model, const Text& job, const py::object& progress) {
  return watched(progress,
                 [&](const Progress& watch) { return model.verification_json(job, watch); });
}

}  // namespace

void bind_model(py::module_& module) {
  py::class_<Model>(module, "Model")
      .def(py::init(&make_model), "vehicle"_a, "kinds"_a = py::none(), "rates"_a = py::none(),
           "instruments"_a = py::none(), "cautions"_a = py::none(), "progress"_a = py::none())
      .def("summary_json",
           [](const Model& model) { return unlocked([&] { return model.summary_json(); }); })
      .def("lint", &lint, "progress"_a = py::none())
      .def("terminal_names", &Model::terminal_names)
      .def("mode_names", &Model::mode_names)
      .def("mode_priors", &mode_priors, "job"_a = py::none())
      .def("mode_posteriors", &mode_posteriors, "job"_a, "progress"_a = py::none())
      .def("terminal_volts", &terminal_volts, "situation"_a)
      .def("solve_json", &solve_json, "situation"_a)
      .def("spice_deck", &spice_deck, "situation"_a)
      .def("rank_json", &answer<&Model::rank_json>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("next_json", &answer<&Model::next_json>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("plan_json", &answer<&Model::plan_json>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("plan_card", &answer<&Model::plan_card>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("explain_json", &answer<&Model::explain_json>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("verification_json", &verification_json, "job"_a, "progress"_a = py::none())
      .def("close_json", &answer<&Model::close_json>, "job"_a, "closing"_a,
           "progress"_a = py::none())
      .def("ambiguity_json", &answer<&Model::ambiguity_json>, "job"_a, "options"_a = "",
           "progress"_a = py::none())
      .def("testability_json", &testability_json, "options"_a = "", "progress"_a = py::none());
}

}  // namespace faultloom::python
