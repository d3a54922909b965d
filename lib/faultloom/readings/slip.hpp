#pragma once

#include <cstddef>

/// How a reading or sign came about.
namespace faultloom::readings {

/// The parts of EntryProbability, in its order.
enum class Slip {
  proper,           ///< read, heard or seen as it was
  no_contact,       ///< a probe tip did not make contact
  wrong_neighbour,  ///< the red probe sat on a neighbouring terminal
  wrong_state,      ///< the control moved last was not really operated
  gross,            ///< range, sign or memory slip; a sign missed or imagined
};
constexpr std::size_t slip_count = 5;
constexpr std::size_t index_of(Slip slip) { return static_cast<std::size_t>(slip); }

}  // namespace faultloom::readings
