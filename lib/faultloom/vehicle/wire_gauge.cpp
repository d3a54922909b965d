#include <faultloom/vehicle/wire_gauge.hpp>

#include <cmath>
#include <numbers>

namespace faultloom::vehicle {

double diameter_mm_of_awg(int gauge) { return 0.127 * std::pow(92.0, (36.0 - gauge) / 39.0); }

double area_mm2_of_awg(int gauge) {
  const double diameter = diameter_mm_of_awg(gauge);
  return std::numbers::pi / 4 * diameter * diameter;
}

double copper_resistance_ohm(double area_mm2, double length_metre, double celsius) {
  return copper_ohm_mm2_per_metre * (1 + copper_per_kelvin * (celsius - 20)) * length_metre /
         area_mm2;
}

}  // namespace faultloom::vehicle
