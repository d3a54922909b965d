#include "learning_binding.hpp"

#include <pybind11/stl.h>

#include <faultloom/documents/learning.hpp>
#include <string>
#include <vector>

#include "watcher.hpp"

namespace faultloom::python {
namespace {

namespace py = pybind11;
using namespace py::literals;
using documents::Model;
using Text = std::string;
using List = std::vector<const Model*>;

Text learn_rates_json(const List& models, const Text& history, const Text& options,
                      const py::object& progress) {
  return watched(progress, [&](const Progress& watch) {
    return documents::learn_rates(models, history, options, watch);
  });
}

Text calibration_json(const List& models, const List& against, const Text& history,
                      const Text& options, const py::object& progress) {
  return watched(progress, [&](const Progress& watch) {
    return documents::calibration(models, against, history, options, watch);
  });
}

Text sensitivity_json(const Model& model, const Text& job, const Text& options,
                      const py::object& progress) {
  return watched(progress, [&](const Progress& watch) {
    return documents::sensitivity(model, job, options, watch);
  });
}

}  // namespace

void bind_learning(py::module_& module) {
  module.def("learn_rates_json", &learn_rates_json, "models"_a, "history"_a, "options"_a = "",
             "progress"_a = py::none());
  module.def("calibration_json", &calibration_json, "models"_a, "against"_a, "history"_a,
             "options"_a = "", "progress"_a = py::none());
  module.def("sensitivity_json", &sensitivity_json, "model"_a, "job"_a, "options"_a = "",
             "progress"_a = py::none());
}

}  // namespace faultloom::python
