#pragma once

#include <faultloom/readings/instrument.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <string_view>

/// A cart just large enough to have one of everything: pack BAT1 (48 V, 0.05 ohm), key switch S1, pin X1-1
/// beside the unused X1-2, contactor K1 with a 115 ohm coil, a clamping diode and a main contact, motor M1.
/// Built by hand, so that a test of one module needs no other.
namespace faultloom::test {

/// Order of terminals: BAT1.positive BAT1.negative S1.in S1.out X1-1.plug X1-1.socket X1-2.plug X1-2.socket
/// K1.coil_feed K1.coil_return K1.main_in K1.main_out.
[[nodiscard]] vehicle::Vehicle small_cart();

/// meter (10 Mohm), lamp (48 V 10 W), ohmmeter, beeper, clamp; every misreading 1 %.
[[nodiscard]] readings::InstrumentSet bench_instruments();

/// Index of an element by name; fails the test's process by exception if there is none.
[[nodiscard]] vehicle::Index element(const vehicle::Vehicle& vehicle, std::string_view name);
/// Index of a mode written COMPONENT/mode.
[[nodiscard]] vehicle::Index mode(const vehicle::Vehicle& vehicle, std::string_view name);

}  // namespace faultloom::test
