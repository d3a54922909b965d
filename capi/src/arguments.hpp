#pragma once

#include "handles.hpp"

#include <cstddef>
#include <cstdint>
#include <faultloom/base/error.hpp>
#include <faultloom/base/progress.hpp>
#include <string>
#include <string_view>

/// Checks of what callers hand in. All throw Error(argument) naming the argument.
namespace faultloom::capi {

[[noreturn]] inline void refuse(const char* name, const std::string& why) {
  throw Error(Code::argument, std::string("Argument '") + name + "' " + why);
}

/// What a pointer that must not be NULL points to. A handle must be of its own kind.
template <typename T>
T& required(T* pointer, const char* name) {
  if (pointer == nullptr) refuse(name, "is NULL");
  if constexpr (requires { pointer->stamp; })
    if (!is_kind(pointer)) refuse(name, "is a handle of another kind, or was freed");
  return *pointer;
}

/// A text that must be there; it may be empty.
inline std::string_view required_text(const char* data, std::size_t size, const char* name) {
  if (data == nullptr) refuse(name, "is NULL");
  // A negative length that was turned into a size ends up here.
  if (size > PTRDIFF_MAX)
    refuse(name, "has an impossible size of " + std::to_string(size) + " bytes");
  return {data, size};
}

/// A text with a default, for which NULL stands. Taking an empty text for it would hide a failed read.
inline std::string_view optional_text(const char* data, std::size_t size, const char* name,
                                      std::string_view fallback = {}) {
  if (data == nullptr) {
    if (size != 0) refuse(name, "is NULL, but its size is " + std::to_string(size) + " bytes");
    return fallback;
  }
  if (size == 0) refuse(name, "is empty; pass NULL for the default");
  return required_text(data, size, name);
}

/// Wraps the caller's watcher and asks it a first time, so that a call can be stopped before it starts.
inline Progress watch(faultloom_progress_fn progress, void* user) {
  if (progress == nullptr) return {};
  Progress watcher = [progress, user](double share) { return progress(share, user) == 0; };
  report(watcher, 0.0);
  return watcher;
}

/// Sets an output to NULL or 0 if there is one.
template <typename T>
void clear(T* out) noexcept {
  if (out != nullptr) *out = T{};
}

}  // namespace faultloom::capi
