#pragma once

/// Resistance of copper wire from its gauge or cross-section.
namespace faultloom::vehicle {

/// Resistivity of annealed copper at 20 degrees Celsius [ohm mm2/m], IEC 60028.
inline constexpr double copper_ohm_mm2_per_metre = 1.0 / 58.0;
/// Relative change of copper's resistance per kelvin, from its value at 20 degrees Celsius, IEC
/// 60028.
inline constexpr double copper_per_kelvin = 0.00393;

/// Smallest and largest gauge number: 4/0 is written -3, 3/0 is -2, 2/0 is -1 and 1/0 is 0.
inline constexpr int thickest_awg = -3;
inline constexpr int thinnest_awg = 40;

/// Diameter of a solid round wire of an American wire gauge [mm]: 0.127 mm * 92^((36 - gauge) /
/// 39), ASTM B258. @param gauge  -3 (4/0) to 40
[[nodiscard]] double diameter_mm_of_awg(int gauge);

/// Cross-section of a wire of an American wire gauge [mm2].
[[nodiscard]] double area_mm2_of_awg(int gauge);

/// Resistance of a copper conductor [ohm].
/// @param area_mm2      metal cross-section, > 0
/// @param length_metre  >= 0
/// @param celsius       conductor temperature; the linear law holds well from -40 to 120
[[nodiscard]] double copper_resistance_ohm(double area_mm2, double length_metre,
                                           double celsius = 20);

}  // namespace faultloom::vehicle
