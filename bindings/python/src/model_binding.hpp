#pragma once

#include <pybind11/pybind11.h>

namespace faultloom::python {

/// Adds the class Model: documents::Model with texts in and texts, lists and arrays out.
void bind_model(pybind11::module_& module);

}  // namespace faultloom::python
