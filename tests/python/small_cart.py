"""A cart small enough to see through, and a job on it, for the tests of the package.

BAT1 + --W1-- S1 (key) --W2-- H1 (lamp) --W3-- BAT1 -
"""

from __future__ import annotations

import copy
from typing import Any

Document = dict[str, Any]

_VEHICLE: Document = {
    "format": "faultloom.vehicle",
    "version": "1.0",
    "id": "small-cart",
    "title": "A lamp on a switch",
    "source": "invented for tests",
    "license": "CC0-1.0",
    "nominal_volt": 12,
    "datum": "BAT1.negative",
    "leakage_ohm": 1e8,
    "run_state": {"key": "on"},
    "isolation": {"lift": ["W1:from"]},
    "controls": {
        "key": {
            "title": "Key",
            "positions": ["off", "on"],
            "rest": "off",
            "order": 1,
            "minutes": 0.1,
            "needs_helper": False,
        }
    },
    "zones": {
        "bay": {"title": "Bay", "open_minutes": 1, "close_minutes": 1, "cautions": []},
        "dash": {"title": "Dash", "open_minutes": 8, "close_minutes": 6, "cautions": []},
    },
    "looms": {"loom": {"title": "Loom", "zones": ["bay", "dash"]}},
    "connectors": {},
    "parts": {
        "BAT1": {"kind": "battery_block_12", "title": "Battery", "zone": "bay"},
        "H1": {"kind": "dash_lamp", "title": "Lamp", "zone": "dash"},
        "S1": {
            "kind": "key_switch",
            "title": "Key switch",
            "zone": "dash",
            "operated_when": {"key": ["on"]},
        },
    },
    "wires": {
        "W1": {"from": "BAT1.positive", "to": "S1.in"},
        "W2": {"from": "S1.out", "to": "H1.plus"},
        "W3": {"from": "H1.minus", "to": "BAT1.negative"},
    },
}
for _wire in _VEHICLE["wires"].values():
    _wire.update({"gauge_awg": 16, "length_metre": 1.0, "loom": "loom", "zone": "bay"})
    _wire["class"] = "control"

_ON = {"key": "on"}


def _volts(entry: str, red: str, volts: float) -> Document:
    return {
        "id": entry,
        "type": "reading",
        "instrument": "meter",
        "red": red,
        "black": "BAT1.negative",
        "state": _ON,
        "volts": volts,
    }


# The lamp is dark and there is no voltage behind the key: S1 or W2, read three times with one slip.
_JOB: Document = {
    "format": "faultloom.job",
    "version": "1.0",
    "id": "dark-lamp",
    "title": "Lamp stays dark",
    "vehicle": "small-cart",
    "exposure_hours": 500,
    "environment": "outdoor",
    "entries": [
        {"id": "lamp", "type": "sign", "part": "H1", "sign": "lit", "state": _ON, "outcome": "no"},
        _volts("feed", "S1.in", 12.7),
        _volts("behind", "S1.out", 0.02),
        _volts("again", "S1.out", 0.01),
        _volts("plus", "H1.plus", 12.6),
        {"id": "seen", "type": "look", "component": "W3", "outcome": "clean"},
    ],
}


def small_vehicle() -> Document:
    """A copy of the vehicle, to be changed at will."""
    return copy.deepcopy(_VEHICLE)


def small_job() -> Document:
    """A copy of the job, to be changed at will."""
    return copy.deepcopy(_JOB)


def cart_with_motor() -> Document:
    """The cart with a motor beside the lamp, so that there is something that has to run.

    BAT1 + --W1-- S1 (key) --W2-- H1 (lamp) --W3-- BAT1 -
                           --W4-- M1 (motor) --W5-- BAT1 -
    """
    vehicle = small_vehicle()
    vehicle["id"] = "cart-with-motor"
    vehicle["parts"]["M1"] = {"kind": "motor_permanent", "title": "Motor", "zone": "bay"}
    for wire, start, end in (("W4", "S1.out", "M1.a1"), ("W5", "M1.a2", "BAT1.negative")):
        vehicle["wires"][wire] = {**vehicle["wires"]["W1"], "from": start, "to": end}
    return vehicle


def cart_with_interlock() -> Document:
    """The cart with a motor, whose key has to be proved to stop it, and whose key may be bridged."""
    vehicle = cart_with_motor()
    vehicle["id"] = "cart-with-interlock"
    vehicle["controls"]["key"]["interlock"] = True
    return vehicle


def spliced_job() -> Document:
    """The wire to that cart's motor was cut and is spliced; nothing is proved yet."""

    def drop(entry: str, volts: float) -> Document:
        return {**_volts(entry, "S1.out", volts), "black": "M1.a1"}

    turns = {"type": "sign", "part": "M1", "sign": "turns"}
    return {
        "format": "faultloom.job",
        "version": "1.0",
        "id": "cut-wire",
        "vehicle": "cart-with-interlock",
        "entries": [
            {"id": "e1", **turns, "state": _ON, "outcome": "no"},
            drop("e2", 12.6),
            {"id": "e3", "type": "look", "component": "W4", "outcome": "damage"},
            {"id": "e4", "type": "repair", "component": "W4", "action": "splice"},
        ],
    }


def proved_job(*, volts: float = 0.01, with_key_off: str = "no") -> Document:
    """The spliced job with every check made.

    Args:
        volts: Drop along the splice.
        with_key_off: Whether it drives with the key off.
    """
    job = spliced_job()
    turns = {"type": "sign", "part": "M1", "sign": "turns"}
    job["entries"] += [
        {"id": "e5", **turns, "state": _ON, "outcome": "yes"},
        {**_volts("e6", "S1.out", volts), "black": "M1.a1"},
        {"id": "e7", **turns, "state": {}, "outcome": with_key_off},
    ]
    return job


def cart_with_settings() -> Document:
    """The cart with a run/tow switch that may be left in tow, and a plug of two pins.

    BAT1 + --W1-- S2 (run/tow) --W4-- X1-1 --W5-- S1 (key) --W2-- H1 (lamp) --W3-- X1-2 --W6-- BAT1 -
    """
    vehicle = small_vehicle()
    vehicle["id"] = "cart-with-settings"
    vehicle["run_state"]["service_switch"] = "run"
    vehicle["controls"]["service_switch"] = {
        "title": "Run/tow switch",
        "positions": ["tow", "run"],
        "rest": "tow",
        "order": 0,
        "left_wrong": {"tow": 1.0},
    }
    vehicle["parts"]["S2"] = {
        "kind": "service_switch",
        "title": "Run/tow switch",
        "zone": "bay",
        "operated_when": {"service_switch": ["run"]},
    }
    vehicle["connectors"]["X1"] = {"title": "Dash plug", "zone": "dash", "pins": ["1", "2"]}
    ends = {
        "W1": ("BAT1.positive", "S2.line"),
        "W4": ("S2.run", "X1-1.plug"),
        "W5": ("X1-1.socket", "S1.in"),
        "W3": ("H1.minus", "X1-2.socket"),
        "W6": ("X1-2.plug", "BAT1.negative"),
    }
    for wire, (start, end) in ends.items():
        vehicle["wires"][wire] = {**vehicle["wires"]["W1"], "from": start, "to": end}
    return vehicle
