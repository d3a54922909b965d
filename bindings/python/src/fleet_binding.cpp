#include "fleet_binding.hpp"

#include <pybind11/stl.h>

#include <faultloom/documents/fleet_ranking.hpp>
#include <string>
#include <variant>
#include <vector>

#include "watcher.hpp"

namespace faultloom::python {
namespace {

namespace py = pybind11;
using namespace py::literals;
using documents::Model;
using Text = std::string;
using Jobs = std::variant<Text, std::vector<Text>>;

Text rank_jobs_json(const Model& model, const Jobs& jobs, const Text& options,
                    const py::object& progress) {
  return watched(progress, [&](const Progress& watch) {
    if (const auto* array = std::get_if<Text>(&jobs))
      return documents::rank_jobs_json(model, *array, options, watch);
    const auto& list = std::get<std::vector<Text>>(jobs);
    const std::vector<std::string_view> texts(list.begin(), list.end());
    return documents::rank_jobs_json(model, texts, options, watch);
  });
}

}  // namespace

void bind_fleet(py::module_& module) {
  const py::object model = module.attr("Model");
  model.attr("rank_jobs_json") =
      py::cpp_function(&rank_jobs_json, py::name("rank_jobs_json"), py::is_method(model), "jobs"_a,
                       "options"_a = "", "progress"_a = py::none());
}

}  // namespace faultloom::python
