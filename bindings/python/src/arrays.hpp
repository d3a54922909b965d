#pragma once

#include <pybind11/numpy.h>

#include <memory>
#include <utility>
#include <vector>

namespace faultloom::python {

/// A float64 array that owns `values`; nothing is copied.
[[nodiscard]] inline pybind11::array_t<double> owned_array(std::vector<double> values) {
  auto keeper = std::make_unique<std::vector<double>>(std::move(values));
  const auto* data = keeper->data();
  const auto size = static_cast<pybind11::ssize_t>(keeper->size());
  const pybind11::capsule owner(keeper.get(),
                                [](void* p) { delete static_cast<std::vector<double>*>(p); });
  keeper.release();  // the capsule has it now
  return pybind11::array_t<double>(size, data, owner);
}

}  // namespace faultloom::python
