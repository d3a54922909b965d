#pragma once

#include <faultloom/base/error.hpp>
#include <faultloom/vehicle/vehicle.hpp>

#include <string>
#include <string_view>
#include <vector>

/// Documents for tests: a pack, a key switch, a fuse, a contactor and a motor, small enough to know
/// every number by heart.
namespace faultloom::small {

inline constexpr std::string_view kinds = R"json({
  "format": "faultloom.kinds", "version": "1.0",
  "title": "Kinds for tests", "source": "made up for tests", "license": "CC0-1.0",
  "kinds": {
    "pack": {
      "title": "Pack", "terminals": ["positive", "negative"],
      "parameters": {"emf_volt": {"value": 48, "tolerance": 0.05}, "internal_ohm": {"value": 0.02}},
      "elements": {"cells": {"type": "source", "between": ["positive", "negative"],
                             "emf_volt": "emf_volt", "internal_ohm": "internal_ohm"}},
      "modes": {"flat": {"title": "Flat", "changes": {"cells": {"emf_volt": 30}}, "seen": 0.1}},
      "repair": {"action": "charge", "minutes": 30, "price_usd": 0},
      "look": {"minutes": 1, "false_alarm": 0.02},
      "cautions": ["pack"]
    },
    "frame": {"title": "Frame", "terminals": ["stud"]},
    "load": {
      "title": "Load", "terminals": ["a", "b"],
      "parameters": {"winding_ohm": {"value": 100}, "worn_ohm": {"value": 900}},
      "elements": {"winding": {"type": "resistor", "between": ["a", "b"], "resistance_ohm": "winding_ohm"}},
      "signs": {"turns": {"title": "Turns", "sense": "see",
                          "when": {"amps": "winding", "rises_to_ampere": 0.4, "falls_to_ampere": 0.2}}},
      "modes": {"open": {"title": "Open", "changes": {"winding": {"open": true}}, "seen": 0},
                "worn": {"title": "Worn", "changes": {"winding": {"add_ohm": "worn_ohm"}}, "seen": 0.3}},
      "repair": {"action": "replace", "minutes": 40, "price_usd": 150},
      "look": {"minutes": 2, "false_alarm": 0.05}
    },
    "heavy_load": {
      "title": "Heavy load", "based_on": "load",
      "parameters": {"winding_ohm": {"value": 2}},
      "repair": {"price_usd": 400}
    },
    "switch": {
      "title": "Switch", "terminals": ["in", "out"],
      "parameters": {"contact_ohm": {"value": 0.01}},
      "elements": {"contact": {"type": "contact", "between": ["in", "out"], "closed_ohm": "contact_ohm",
                               "closed_when": {"operated": true}}},
      "modes": {"stuck_open": {"title": "Never closes", "changes": {"contact": {"stuck": "open"}}, "seen": 0.1}}
    },
    "fuse": {
      "title": "Fuse", "terminals": ["in", "out"],
      "parameters": {"link_ohm": {"value": 0.005}, "blows_ampere": {"value": 30}},
      "elements": {"link": {"type": "contact", "between": ["in", "out"], "closed_ohm": "link_ohm",
        "closed_when": {"not": {"amps": "link", "rises_to_ampere": "blows_ampere", "falls_to_ampere": 0,
                                "stays": true}}}},
      "modes": {"blown": {"title": "Blown", "changes": {"link": {"stuck": "open"}}, "seen": 0.8}}
    },
    "contactor": {
      "title": "Contactor", "terminals": ["coil_feed", "coil_return", "line", "load", "aux_in", "aux_out"],
      "parameters": {"coil_ohm": {"value": 120}, "pick_up_volt": {"value": 32}, "drop_out_volt": {"value": 8}},
      "elements": {
        "coil": {"type": "resistor", "between": ["coil_feed", "coil_return"], "resistance_ohm": "coil_ohm"},
        "main": {"type": "contact", "between": ["line", "load"], "closed_ohm": 0.001,
                 "closed_when": {"volts": ["coil_feed", "coil_return"], "rises_to_volt": "pick_up_volt",
                                 "falls_to_volt": "drop_out_volt"}},
        "aux": {"type": "contact", "between": ["aux_in", "aux_out"], "closed_ohm": 0.02,
                "closed_when": {"not": {"closed": "main"}}},
        "spark": {"type": "diode", "between": ["coil_return", "coil_feed"], "forward_volt": 0.7, "on_ohm": 0.1}
      },
      "signs": {"click": {"title": "Clicks", "sense": "hear", "when": {"closed": "main"}, "on_change": true}},
      "modes": {"coil_open": {"title": "Coil open", "changes": {"coil": {"open": true}}, "seen": 0.05},
                "weak": {"title": "Spring too strong", "changes": {"main": {"threshold_factor": 1.8}}, "seen": 0},
                "diode_turned": {"title": "Diode reversed", "changes": {"spark": {"reversed": true}}, "seen": 0.4}}
    },
    "sensor": {
      "title": "Controller", "terminals": ["sense", "common", "out", "supply"],
      "parameters": {"input_ohm": {"value": 10000}, "on_volt": {"value": 30}, "off_volt": {"value": 20}},
      "elements": {
        "request": {"type": "input", "between": ["sense", "common"], "resistance_ohm": "input_ohm",
                    "rises_to_volt": "on_volt", "falls_to_volt": "off_volt"},
        "driver": {"type": "contact", "between": ["supply", "out"], "closed_ohm": 0.05,
                   "closed_when": {"all": [{"signal": "request"}, {"not": {"operated": false}}]}}
      },
      "modes": {"deaf": {"title": "Input dead", "changes": {"request": {"threshold_factor": 10}}, "seen": 0}}
    },
    "connector_contact": {
      "title": "Contact", "terminals": ["plug", "socket"],
      "parameters": {"contact_ohm": {"value": 0.01}},
      "elements": {"contact": {"type": "resistor", "between": ["plug", "socket"], "resistance_ohm": "contact_ohm"}},
      "modes": {"open": {"title": "Pushed back", "changes": {"contact": {"open": true}}, "seen": 0.5}}
    },
    "control_wire": {
      "title": "Control wire", "terminals": ["from", "to"],
      "parameters": {"conductor_ohm": {"value": 0.01}},
      "elements": {"conductor": {"type": "resistor", "between": ["from", "to"], "resistance_ohm": "conductor_ohm"}},
      "modes": {"open": {"title": "Broken", "changes": {"conductor": {"open": true}}, "seen": 0.3}},
      "repair": {"action": "splice", "minutes": 20, "price_usd": 2},
      "look": {"minutes": 3, "false_alarm": 0.05}
    },
    "control_termination": {
      "title": "Crimp", "terminals": ["wire", "lug"],
      "parameters": {"joint_ohm": {"value": 0.002}, "corroded_ohm": {"value": 400}},
      "elements": {"joint": {"type": "resistor", "between": ["wire", "lug"], "resistance_ohm": "joint_ohm"}},
      "modes": {"open": {"title": "Crimp open", "changes": {"joint": {"open": true}}, "seen": 0.4},
                "corroded": {"title": "Corroded", "changes": {"joint": {"add_ohm": "corroded_ohm"}}, "seen": 0.6},
                "replaced": {"title": "Poor repair", "changes": {"joint": {"resistance_ohm": 5}}, "seen": 0.6}},
      "repair": {"action": "clean", "minutes": 10, "price_usd": 1},
      "look": {"minutes": 1, "false_alarm": 0.05}
    },
    "power_wire": {"title": "Cable", "based_on": "control_wire"},
    "power_termination": {"title": "Lug", "based_on": "control_termination",
                          "parameters": {"joint_ohm": {"value": 0.0001}}}
  }
})json";

inline constexpr std::string_view vehicle = R"json({
  "format": "faultloom.vehicle", "version": "1.0", "id": "test-cart", "title": "Cart for tests",
  "source": "made up for tests", "license": "CC0-1.0",
  "nominal_volt": 48, "datum": "BAT1.negative", "leakage_ohm": 2e8,
  "run_state": {"key": "on"},
  "isolation": {"lift": ["W1:from"], "caution": "pack"},
  "controls": {
    "key": {"title": "Key", "positions": ["off", "on", "start"], "rest": "off", "order": 1, "minutes": 0.1,
            "needs_helper": false},
    "pedal": {"title": "Pedal", "positions": ["up", "down"], "rest": "up", "order": 2, "minutes": 0.1,
              "needs_helper": true}
  },
  "zones": {
    "seat": {"title": "Under the seat", "open_minutes": 2, "close_minutes": 1, "cautions": ["pack"]},
    "dash": {"title": "Dashboard", "open_minutes": 6, "close_minutes": 4, "cautions": []}
  },
  "looms": {"L1": {"title": "Main loom", "zones": ["seat", "dash"]}},
  "connectors": {"X1": {"title": "Dash connector", "zone": "dash", "pins": ["1", "2"]}},
  "parts": {
    "BAT1": {"kind": "pack", "title": "Traction pack", "zone": "seat"},
    "F1": {"kind": "fuse", "title": "Control fuse", "zone": "seat",
           "probe": {"in": {"zone": "dash", "minutes": 1.5}, "out": false}},
    "S1": {"kind": "switch", "title": "Key switch", "zone": "dash", "operated_when": {"key": ["on", "start"]},
           "leakage_ohm": 5e7},
    "K1": {"kind": "contactor", "title": "Contactor", "zone": "seat", "parameters": {"coil_ohm": 150},
           "repair": {"action": "replace", "minutes": 25, "price_usd": 80}, "environment": "outdoor",
           "rate_factor": 2, "cautions": ["arc"]},
    "M1": {"kind": "heavy_load", "title": "Motor", "zone": "seat"}
  },
  "wires": {
    "W1": {"from": "BAT1.positive", "to": "F1.in", "area_mm2": 1.5, "length_metre": 0.6, "loom": "L1",
           "zone": "seat", "class": "control"},
    "W2": {"from": "F1.out", "to": "X1-1.plug", "gauge_awg": 16, "length_metre": 1.2, "loom": "L1",
           "zone": "seat", "class": "control"},
    "W3": {"from": "X1-1.socket", "to": "S1.in", "gauge_awg": 16, "length_metre": 0.3, "loom": "L1",
           "zone": "dash", "class": "control"},
    "W4": {"from": "S1.out", "to": "X1-2.socket", "gauge_awg": 16, "length_metre": 0.3, "loom": "L1",
           "zone": "dash", "class": "control"},
    "W5": {"from": "X1-2.plug", "to": "K1.coil_feed", "gauge_awg": 16, "length_metre": 1.4, "loom": "L1",
           "zone": "seat", "class": "control"},
    "W6": {"from": "K1.coil_return", "to": "BAT1.negative", "gauge_awg": 16, "length_metre": 0.8, "loom": "L1",
           "zone": "seat", "class": "control"},
    "W7": {"from": "BAT1.positive", "to": "K1.line", "area_mm2": 16, "length_metre": 0.5, "zone": "seat",
           "class": "power"},
    "W8": {"from": "K1.load", "to": "M1.a", "area_mm2": 16, "length_metre": 0.9, "zone": "seat", "class": "power"},
    "W9": {"from": "M1.b", "to": "BAT1.negative", "area_mm2": 16, "length_metre": 0.7, "zone": "seat",
           "class": "power", "repair": {"action": "replace", "minutes": 15, "price_usd": 20}}
  }
})json";

/// The text after a JSON patch (RFC 6902), for example {"op":"remove","path":"/parts/K1"}; the
/// brackets around the list of operations are added.
std::string edited(std::string_view text, std::string_view operations);

/// The small vehicle after a patch.
vehicle::Vehicle read(std::string_view operations = "");

/// What the reader says about the small vehicle, or the small kinds, after a patch; empty if all is
/// well.
std::vector<Problem> vehicle_problems(std::string_view operations);
std::vector<Problem> kinds_problems(std::string_view operations);

/// The problem at a pointer; a problem with an empty message if there is none.
Problem at(const std::vector<Problem>& problems, std::string_view pointer);

}  // namespace faultloom::small
