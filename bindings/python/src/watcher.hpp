#pragma once

#include <pybind11/pybind11.h>

#include <chrono>
#include <exception>
#include <faultloom/base/progress.hpp>

namespace faultloom::python {

/// Stands between the library, which works without the interpreter lock, and the interpreter.
///
/// A few times a second it takes the lock to look for Ctrl-C and to call the caller's function. What the
/// interpreter raises there is kept until the library has unwound: the library sees a plain request to
/// stop, so no Python object is touched while the lock is not held.
class Watcher {
 public:
  /// @param callback  function of the share done (0..1), or None; must outlive the watcher.
  explicit Watcher(pybind11::object callback);

  /// The function to hand to the library. Refers to this watcher.
  [[nodiscard]] Progress progress();

  /// Rethrows what was raised while the library worked, if anything was. Needs the lock.
  void rethrow();

 private:
  bool ask(double share);

  pybind11::object callback_;
  std::chrono::steady_clock::time_point next_;
  std::exception_ptr raised_;
};

/// Runs `work(progress)` without the interpreter lock and returns what it returns.
template <typename Work>
auto watched(const pybind11::object& callback, const Work& work) {
  Watcher watcher(callback);
  try {
    const pybind11::gil_scoped_release released;
    return work(watcher.progress());
  } catch (const Error&) {
    watcher.rethrow();
    throw;
  }
}

/// Runs `work()` without the interpreter lock; for calls too short to be worth watching.
template <typename Work>
auto unlocked(const Work& work) {
  const pybind11::gil_scoped_release released;
  return work();
}

}  // namespace faultloom::python
