#include <faultloom/documents/wording.hpp>

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <numeric>

namespace faultloom::documents {
namespace {

using readings::Entry;
using readings::Instrument;
using readings::Outcome;
using vehicle::Index;
using vehicle::none;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// Fixed notation with four significant digits, no zeros at the end.
std::string four_digits(double value) {
  if (value == 0 || !std::isfinite(value)) return value == 0 ? "0" : fmt::format("{}", value);
  const int before_point = static_cast<int>(std::floor(std::log10(std::abs(value)))) + 1;
  auto text = fmt::format("{:.{}f}", value, std::clamp(4 - before_point, 0, 8));
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text == "-0" ? "0" : text;
}

std::string unit_of_number(const Instrument& instrument) {
  switch (instrument.type) {
    case Instrument::Type::clamp:
      return "A";
    case Instrument::Type::ohmmeter:
    case Instrument::Type::beeper:
      return "ohm";
    case Instrument::Type::voltmeter:
    case Instrument::Type::lamp:
      break;
  }
  return "V";
}

/// "48.2 V", "40 V give or take 3 V".
std::string number_text(const Entry& entry, std::string_view unit) {
  const auto number = quantity_text(entry.number, unit);
  return entry.tolerance > 0
             ? fmt::format("{} give or take {}", number, quantity_text(entry.tolerance, unit))
             : number;
}

std::string reading_text(const vehicle::Vehicle& vehicle, const Instrument& instrument,
                         const Entry& entry) {
  const auto unit = unit_of_number(instrument);
  const bool number = entry.outcome == Outcome::number;
  if (instrument.type == Instrument::Type::clamp) {
    const auto& wire =
        entry.element == none ? std::string("a wire") : vehicle.elements[at(entry.element)].name;
    return number ? fmt::format("{} in {}", number_text(entry, unit), wire)
                  : fmt::format("{} around {}: {}", inside_sentence(instrument.title), wire,
                                outcome_text(entry.outcome));
  }
  const auto& red = vehicle.terminals[at(entry.red)].name;
  const auto& black = vehicle.terminals[at(entry.black)].name;
  if (number && unit == "V")
    return fmt::format("{} at {} against {}", number_text(entry, unit), red, black);
  if (number) return fmt::format("{} between {} and {}", number_text(entry, unit), red, black);
  const auto title = inside_sentence(instrument.title);
  if (!entry.informative())
    return fmt::format("{} between {} and {}: {}", title, red, black, outcome_text(entry.outcome));
  const auto word = entry.outcome == Outcome::beep ? "beeps" : outcome_text(entry.outcome);
  return fmt::format("{}: {} between {} and {}", title, word, red, black);
}

std::string look_text(const vehicle::Vehicle& vehicle, const Entry& entry) {
  const auto& component = vehicle.components[at(entry.component)];
  if (component.type != vehicle::Component::Type::setting)
    return fmt::format("look at {}: {}", component.id, outcome_text(entry.outcome));
  auto word = outcome_text(entry.outcome);
  if (entry.outcome == Outcome::damage) word = "set wrong";
  if (entry.outcome == Outcome::clean) word = "set right";
  return fmt::format("look at {}: {}", words_of(component.id), word);
}

std::string sign_text(const vehicle::Vehicle& vehicle, Index sign, Outcome outcome) {
  const auto& own = vehicle.signs[at(sign)];
  return fmt::format("{} ({}): {}", inside_sentence(own.title),
                     vehicle.components[at(own.component)].id, outcome_text(outcome));
}

/// ", wiggled at dash, when motor turns (M1): no, visit 2", or "".
std::string occasion_text(const vehicle::Vehicle& vehicle, const Entry& entry) {
  std::string text;
  switch (entry.provocation) {
    case Entry::Provocation::nothing:
      break;
    case Entry::Provocation::wiggle:
      text = ", wiggled";
      break;
    case Entry::Provocation::heat:
      text = ", heated";
      break;
    case Entry::Provocation::wet:
      text = ", wetted";
      break;
  }
  if (!text.empty() && entry.provoked_zone != none)
    text += " at " + words_of(vehicle.zones[at(entry.provoked_zone)].id);
  if (entry.told_by != none) text += ", when " + sign_text(vehicle, entry.told_by, entry.told);
  if (entry.visit > 0) text += fmt::format(", visit {}", entry.visit);
  return text;
}

/// The control that was moved last to reach a state, none if all are at rest. Of two with the same order
/// the later one, as the circuit has it.
Index moved_last(const vehicle::Vehicle& vehicle, const vehicle::ControlState& state) {
  Index last = none;
  for (std::size_t c = 0; c < vehicle.controls.size() && c < state.size(); ++c) {
    const auto& control = vehicle.controls[c];
    if (state[c] != control.rest &&
        (last == none || control.order >= vehicle.controls[at(last)].order))
      last = static_cast<Index>(c);
  }
  return last;
}

std::string wrong_state_text(const vehicle::Vehicle& vehicle, const Entry& entry) {
  const auto moved = moved_last(vehicle, entry.state);
  if (moved == none) return "looks like a control was not at rest";
  const auto& control = vehicle.controls[at(moved)];
  return fmt::format("looks like the {} was not {}", inside_sentence(control.title),
                     words_of(control.positions[at(entry.state[at(moved)])]));
}

std::string wrong_neighbour_text(const vehicle::Vehicle& vehicle, const Entry& entry) {
  if (entry.red == none) return "looks like the clamp was around another wire";
  auto near = readings::neighbours(vehicle, entry.red);
  std::erase(near, entry.black);
  const auto& meant = vehicle.terminals[at(entry.red)].name;
  if (near.empty()) return fmt::format("looks like the red probe sat beside {}", meant);
  std::string places;
  for (const auto terminal : near) {
    if (!places.empty()) places += " or ";
    places += vehicle.terminals[at(terminal)].name;
  }
  return fmt::format("looks like the red probe sat on {} instead of {}", places, meant);
}

/// A slip of the person rather than of a probe or a control.
std::string gross_text(const Entry& entry) {
  switch (entry.type) {
    case Entry::Type::reading:
      return "looks like a slip in range or note";
    case Entry::Type::cue:
      return "looks like the driver was mistaken";
    case Entry::Type::sign:
    case Entry::Type::look:
    case Entry::Type::repair:
      break;
  }
  if (entry.outcome == Outcome::chatters) return "looks like it was steady";
  const bool missed = entry.outcome == Outcome::no || entry.outcome == Outcome::clean;
  return missed ? "looks like it was missed" : "looks like it was imagined";
}

}  // namespace

std::string words_of(std::string name) {
  std::replace(name.begin(), name.end(), '_', ' ');
  return name;
}

std::string first_capital(std::string text) {
  if (!text.empty())
    text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text;
}

std::string inside_sentence(std::string title) {
  const auto letter = [&](std::size_t i) { return static_cast<unsigned char>(title[i]); };
  if (title.size() > 1 && std::isupper(letter(0)) != 0 && std::islower(letter(1)) != 0)
    title[0] = static_cast<char>(std::tolower(letter(0)));
  return title;
}

std::string quantity_text(double value, std::string_view unit) {
  if (unit == "ohm") {
    if (std::abs(value) >= 999.95e3) return four_digits(value / 1e6) + " Mohm";
    if (std::abs(value) >= 999.95) return four_digits(value / 1e3) + " kohm";
    return four_digits(value) + " ohm";
  }
  constexpr double invisible = 0.0005;
  return fmt::format("{} {}", four_digits(std::abs(value) < invisible ? 0.0 : value), unit);
}

std::string state_text(const vehicle::Vehicle& vehicle, const vehicle::ControlState& state) {
  std::vector<std::size_t> order(std::min(state.size(), vehicle.controls.size()));
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return vehicle.controls[a].order < vehicle.controls[b].order;
  });
  std::string text;
  for (const auto c : order) {
    const auto& control = vehicle.controls[c];
    if (state[c] == control.rest) continue;
    if (!text.empty()) text += ", ";
    text += words_of(control.id) + " " + words_of(control.positions[at(state[c])]);
  }
  return text.empty() ? "all at rest" : text;
}

std::string lifted_text(const vehicle::Vehicle& vehicle, std::span<const Index> lifted_elements) {
  const auto& isolation = vehicle.isolation.lifted_elements;
  const auto holds = [](const auto& list, Index e) {
    return std::find(list.begin(), list.end(), e) != list.end();
  };
  const bool isolated =
      !isolation.empty() && std::all_of(isolation.begin(), isolation.end(),
                                        [&](Index e) { return holds(lifted_elements, e); });
  std::string text = isolated ? "pack isolated" : "";
  for (const auto e : lifted_elements) {
    if (isolated && holds(isolation, e)) continue;
    if (!text.empty()) text += ", ";
    text += vehicle.elements[at(e)].name + " lifted";
  }
  return text;
}

std::string outcome_text(Outcome outcome) {
  return outcome == Outcome::cannot_reach ? "can't reach"
                                          : words_of(std::string(readings::name_of(outcome)));
}

std::string entry_text(const vehicle::Vehicle& vehicle, const readings::InstrumentSet& instruments,
                       const Entry& entry, std::string_view cue_title) {
  const auto occasion = occasion_text(vehicle, entry);
  if (entry.type == Entry::Type::look) return look_text(vehicle, entry) + occasion;
  if (entry.type == Entry::Type::repair)
    return fmt::format("repair: {} {}", words_of(entry.action),
                       vehicle.components[at(entry.component)].id);
  if (entry.type == Entry::Type::cue)
    return fmt::format(
        "driver: {}: {}{}",
        cue_title.empty() ? words_of(entry.cue) : inside_sentence(std::string(cue_title)),
        outcome_text(entry.outcome), occasion);
  std::string text;
  if (entry.type == Entry::Type::sign) {
    text = sign_text(vehicle, entry.sign, entry.outcome);
  } else {
    text = reading_text(vehicle,
                        instruments.instruments[static_cast<std::size_t>(entry.instrument)], entry);
  }
  text += ", " + state_text(vehicle, entry.state);
  if (const auto lifted = lifted_text(vehicle, entry.lifted_elements); !lifted.empty())
    text += ", " + lifted;
  for (const auto e : entry.bridged_elements)
    text +=
        fmt::format(", lead from {} to {}", vehicle.terminals[at(vehicle.elements[at(e)].a)].name,
                    vehicle.terminals[at(vehicle.elements[at(e)].b)].name);
  return text + occasion;
}

std::string_view provocation_text(Entry::Provocation provocation) noexcept {
  switch (provocation) {
    case Entry::Provocation::nothing:
      break;
    case Entry::Provocation::wiggle:
      return "wiggle";
    case Entry::Provocation::heat:
      return "heat";
    case Entry::Provocation::wet:
      return "wet";
  }
  return "";
}

std::string slip_text(const vehicle::Vehicle& vehicle, const readings::InstrumentSet& instruments,
                      const Entry& entry, readings::Slip slip) {
  switch (slip) {
    case readings::Slip::proper:
      break;
    case readings::Slip::no_contact: {
      const bool clamp = entry.instrument >= 0 &&
                         instruments.instruments[static_cast<std::size_t>(entry.instrument)].type ==
                             Instrument::Type::clamp;
      return clamp ? "looks like the clamp was not closed" : "looks like the probe made no contact";
    }
    case readings::Slip::wrong_neighbour:
      return wrong_neighbour_text(vehicle, entry);
    case readings::Slip::wrong_state:
      return wrong_state_text(vehicle, entry);
    case readings::Slip::gross:
      return gross_text(entry);
  }
  return "looks like a proper reading";
}

std::string shown_text(const readings::InstrumentSet& instruments, const Instrument& instrument,
                       const readings::Thevenin& port) {
  const auto shown = readings::shown(instruments, instrument, port);
  switch (instrument.type) {
    case Instrument::Type::lamp: {
      const double light = std::exp(shown.value);
      const auto word = light >= instrument.bright_from ? Outcome::bright
                        : light < instrument.dark_below ? Outcome::dark
                                                        : Outcome::dim;
      return outcome_text(word);
    }
    case Instrument::Type::beeper:
      return outcome_text(!shown.overload && shown.value < instrument.beeps_below_ohm
                              ? Outcome::beep
                              : Outcome::silent);
    case Instrument::Type::voltmeter:
    case Instrument::Type::ohmmeter:
    case Instrument::Type::clamp:
      break;
  }
  if (shown.overload) return outcome_text(Outcome::overload);
  // No finer than the display, and no minus zero.
  const double steps = std::round(shown.value / instrument.resolution);
  return "about " + quantity_text(steps == 0 ? 0.0 : steps * instrument.resolution,
                                  unit_of_number(instrument));
}

}  // namespace faultloom::documents
