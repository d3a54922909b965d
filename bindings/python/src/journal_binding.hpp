#pragma once

#include <pybind11/pybind11.h>

namespace faultloom::python {

/// Adds the class Journal: documents::JobJournal with texts in and out, and `read_journal()`.
void bind_journal(pybind11::module_& module);

}  // namespace faultloom::python
