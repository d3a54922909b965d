#pragma once

namespace faultloom {

inline constexpr const char* library_version = "0.1.0";

}  // namespace faultloom
