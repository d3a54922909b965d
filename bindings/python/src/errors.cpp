#include "errors.hpp"

#include <string>

namespace faultloom::python {
namespace {

namespace py = pybind11;

/// The exception class is written in Python, where its members can be typed and documented.
void raise_in_python(const Error& error) {
  const py::object type = py::module_::import("faultloom.errors").attr("Error");
  const py::object instance = type.attr("from_rows")(problem_list(error.problems()));
  PyErr_SetObject(type.ptr(), instance.ptr());
}

void translate(std::exception_ptr thrown) {
  try {
    if (thrown) std::rethrow_exception(thrown);
  } catch (const Error& error) {
    raise_in_python(error);
  }
}

py::list error_codes() {
  py::list rows;
#define FAULTLOOM_CODE(name, number, meaning) rows.append(py::make_tuple(number, #name, meaning));
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE
  return rows;
}

}  // namespace

py::list problem_list(const std::vector<Problem>& problems) {
  py::list rows;
  for (const auto& problem : problems)
    rows.append(py::make_tuple(static_cast<int>(problem.code), std::string(name_of(problem.code)),
                               problem.message, problem.pointer));
  return rows;
}

void bind_errors(py::module_& module) {
  py::register_local_exception_translator(&translate);
  module.def("error_codes", &error_codes, "All error codes as (number, name, meaning).");
}

}  // namespace faultloom::python
