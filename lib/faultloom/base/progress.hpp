#pragma once

#include <faultloom/base/error.hpp>
#include <functional>

namespace faultloom {

/// Asked now and then by long computations. Receives the share done (0..1); returns false to stop the
/// work, which then throws Error(Code::cancelled). Called from the calling thread only.
using Progress = std::function<bool(double)>;

/// Reports progress and throws Error(cancelled) when the caller asks to stop. A null function never stops.
inline void report(const Progress& progress, double share) {
  if (progress && !progress(share)) throw Error(Code::cancelled, "Stopped at the caller's request");
}

/// Progress of a part of the work that takes it from one share of the whole to another. Refers to
/// `progress`, which must outlive it; null if that is.
[[nodiscard]] inline Progress part_of(const Progress& progress, double from, double to) {
  if (!progress) return {};
  return [&progress, from, to](double share) { return progress(from + (to - from) * share); };
}

}  // namespace faultloom
