#pragma once

#include <pybind11/pybind11.h>

namespace faultloom::python {

/// Adds rank_jobs_json to the class Model; bind_model() comes first.
void bind_fleet(pybind11::module_& module);

}  // namespace faultloom::python
