#pragma once

#include "arguments.hpp"
#include "guard.hpp"

#include <algorithm>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

/// The three shapes of an answer: a text, an array, a name out of a list.
namespace faultloom::capi {

/// Runs `work`, which returns a std::string, and hands its answer out as a new text.
template <typename Work>
faultloom_status answer_text(faultloom_text** out, const char* name, faultloom_error** error,
                             Work&& work) noexcept {
  clear(out);
  return guard(error, [&] {
    faultloom_text*& place = required(out, name);
    place = new faultloom_text{{}, std::forward<Work>(work)()};
  });
}

/// Where the caller wants an array.
struct Room {
  double* values;
  std::size_t capacity;
  std::size_t* needed;
  const char* name;  ///< of the argument `values`
};

/// Fills an array with what `work` returns. `size` returns its number of elements without the work, which
/// is all that is asked for when there is no room.
template <typename Size, typename Work>
faultloom_status answer_array(const Room& room, faultloom_error** error, Size&& size,
                              Work&& work) noexcept {
  clear(room.needed);
  return guard(error, [&] {
    std::size_t& needed = required(room.needed, "needed");
    if (room.capacity != 0) required(room.values, room.name);
    const std::size_t count = std::forward<Size>(size)();
    needed = count;
    if (room.capacity == 0) return;
    if (room.capacity < count)
      refuse("capacity", "is " + std::to_string(room.capacity) + ", but there are " +
                             std::to_string(count) + " values");
    const std::vector<double> values = std::forward<Work>(work)();
    if (values.size() != count)
      throw Error(Code::internal, "An answer has the wrong number of values");
    std::copy(values.begin(), values.end(), room.values);
  });
}

inline const char* name_at(const std::vector<std::string>& names, std::size_t index) {
  if (index >= names.size())
    refuse("index",
           "is " + std::to_string(index) + ", but there are only " + std::to_string(names.size()));
  return names[index].c_str();
}

}  // namespace faultloom::capi
