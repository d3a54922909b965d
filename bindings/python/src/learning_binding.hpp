#pragma once

#include <pybind11/pybind11.h>

namespace faultloom::python {

/// Adds the functions about histories of jobs to the module.
void bind_learning(pybind11::module_& module);

}  // namespace faultloom::python
