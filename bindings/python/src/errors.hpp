#pragma once

#include <pybind11/pybind11.h>

#include <faultloom/base/error.hpp>
#include <vector>

namespace faultloom::python {

/// Problems as a list of (number, name, message, pointer).
[[nodiscard]] pybind11::list problem_list(const std::vector<Problem>& problems);

/// Makes faultloom::Error arrive in Python as faultloom.Error, and adds `error_codes()` to the module.
void bind_errors(pybind11::module_& module);

}  // namespace faultloom::python
