#pragma once

namespace faultloom::advice {

/// What time and mistakes cost. Everything editable by the job; the defaults are common practice, no source.
struct Prices {
  double labour_usd_per_hour = 110;
  double verify_minutes = 10;   ///< prove a repair under load
  double good_part_loss = 0.4;  ///< share of the price lost when a good part was replaced
  double helper_minutes = 0.5;  ///< to call somebody who holds a control

  [[nodiscard]] double of_minutes(double minutes) const {
    return minutes * labour_usd_per_hour / 60;
  }
};

}  // namespace faultloom::advice
