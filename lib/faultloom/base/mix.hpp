#pragma once

#include <cstdint>

namespace faultloom {

/// Finalizer of splitmix64: spreads the bits of a number.
[[nodiscard]] constexpr std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15U;
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

}  // namespace faultloom
