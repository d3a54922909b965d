#include "watcher.hpp"

#include <utility>

namespace faultloom::python {
namespace {

using Clock = std::chrono::steady_clock;

/// Often enough for Ctrl-C to feel immediate, rarely enough to cost nothing.
constexpr std::chrono::milliseconds pause{50};

}  // namespace

Watcher::Watcher(pybind11::object callback) : callback_(std::move(callback)), next_(Clock::now()) {}

Progress Watcher::progress() {
  return [this](double share) { return ask(share); };
}

bool Watcher::ask(double share) {
  if (raised_) return false;
  const auto now = Clock::now();
  if (now < next_) return true;
  next_ = now + pause;
  const pybind11::gil_scoped_acquire locked;
  try {
    if (PyErr_CheckSignals() != 0) throw pybind11::error_already_set();
    if (callback_.is_none()) return true;
    // Only False stops, so that a function that returns nothing does not.
    return callback_(share).ptr() != Py_False;
  } catch (const pybind11::error_already_set&) {
    raised_ = std::current_exception();
    return false;
  }
}

void Watcher::rethrow() {
  if (raised_) std::rethrow_exception(std::exchange(raised_, nullptr));
}

}  // namespace faultloom::python
