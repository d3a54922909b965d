#include <faultloom/readings/instrument.hpp>

namespace faultloom::readings {

std::string_view name_of(Outcome outcome) noexcept {
  switch (outcome) {
    case Outcome::number:
      return "number";
    case Outcome::bright:
      return "bright";
    case Outcome::dim:
      return "dim";
    case Outcome::dark:
      return "dark";
    case Outcome::beep:
      return "beep";
    case Outcome::silent:
      return "silent";
    case Outcome::overload:
      return "overload";
    case Outcome::yes:
      return "yes";
    case Outcome::no:
      return "no";
    case Outcome::chatters:
      return "chatters";
    case Outcome::damage:
      return "damage";
    case Outcome::clean:
      return "clean";
    case Outcome::not_sure:
      return "not_sure";
    case Outcome::cannot_reach:
      return "cannot_reach";
  }
  return "unknown";
}

int InstrumentSet::find(std::string_view id) const {
  for (std::size_t i = 0; i < instruments.size(); ++i)
    if (instruments[i].id == id) return static_cast<int>(i);
  return -1;
}

const Sense& InstrumentSet::sense(std::string_view name) const {
  if (name == "hear") return hear;
  if (name == "feel") return feel;
  return see;
}

}  // namespace faultloom::readings
