#include <pybind11/pybind11.h>
#include <pybind11/stl.h>

#include <faultloom/documents/model.hpp>
#include <faultloom/documents/version.hpp>
#include <optional>
#include <string>

#include "errors.hpp"
#include "fleet_binding.hpp"
#include "journal_binding.hpp"
#include "learning_binding.hpp"
#include "model_binding.hpp"
#include "watcher.hpp"

namespace {

namespace py = pybind11;
using namespace py::literals;
using namespace faultloom::python;

py::list check_document(const std::string& text, const std::optional<std::string>& kinds) {
  return problem_list(unlocked(
      [&] { return faultloom::documents::check_document(text, kinds ? *kinds : std::string()); }));
}

std::string vehicle_from_run_list(const std::string& csv, const std::string& vehicle_id) {
  return unlocked([&] { return faultloom::documents::vehicle_from_run_list(csv, vehicle_id); });
}

}  // namespace

// Private: the typed face is the package around it.
PYBIND11_MODULE(_core, module) {
  module.doc() = "The library as the package faultloom uses it; import faultloom instead.";
  module.attr("version") = faultloom::library_version;
  bind_errors(module);
  bind_model(module);
  bind_fleet(module);
  bind_journal(module);
  bind_learning(module);
  module.def("check_document", &check_document, "text"_a, "kinds"_a = py::none());
  module.def("vehicle_from_run_list", &vehicle_from_run_list, "csv"_a, "vehicle_id"_a);
}
