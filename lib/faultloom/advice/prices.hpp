#pragma once

namespace faultloom::advice {

/// What time and mistakes cost. Everything editable by the job; the defaults are common practice, no source.
struct Prices {
  double labour_usd_per_hour = 110;
  double verify_minutes = 10;   ///< prove a repair under load
  double good_part_loss = 0.4;  ///< share of the price lost when a good part was replaced
  double good_part_usd = 40;    ///< the way for the right one, the customer's trust
  double helper_minutes = 0.5;  ///< to call somebody who holds a control
  double isolate_minutes = 4;   ///< pack off, wait, discharge, prove dead; and back on
  double lift_minutes = 3;      ///< one wire end off its terminal and back on
  double bridge_minutes = 2;    ///< a fused lead on and off
  double missed = 0.01;         ///< chance that a trial run passes although something is wrong
  double comeback_usd = 150;    ///< to come again, on top of what is still to be repaired

  [[nodiscard]] double of_minutes(double minutes) const {
    return minutes * labour_usd_per_hour / 60;
  }
};

}  // namespace faultloom::advice
