"""Symbols of parts in the manner of IEC 60617, each around its own middle.

Shapes are from memory of the standard. A symbol is 28 wide and at most 20 high, and its leads end
at (-14, 0) and (14, 0).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from faultloom.pages.text import rounded

HALF_WIDTH = 14.0
HALF_HEIGHT = 10.0

_INSULATION_OHM = 1e5
_MOST_ELEMENTS = 4

# Name: strokes as path data; what is filled; letters in the middle.
_STROKES: dict[str, str] = {
    "resistor": "M-14 0H-11M11 0H14M-11 -4H11V4H-11Z",
    "variable": "M-14 0H-11M11 0H14M-11 -4H11V4H-11ZM-8 9L9 -8M9 -8L4.5 -7M9 -8L7.5 -3.5",
    "coil": "M-14 0H-6M6 0H14M-6 -9H6V9H-6Z",
    "winding": "M-14 0A3.5 3.5 0 0 1 -7 0A3.5 3.5 0 0 1 0 0A3.5 3.5 0 0 1 7 0A3.5 3.5 0 0 1 14 0",
    "make": "M-14 0H-7M-7 0L7 -8M7 0H14",
    "break": "M-14 0H-7M-7 0L8 -7M7 -9V0M7 0H14",
    "thermal": "M-14 0H-7M-7 0L7 -8M7 0H14M-3 9H0V5H4V9H6",
    "fuse": "M-14 0H14M-10 -4H10V4H-10Z",
    "diode": "M-14 0H14M-6 -7L6 0L-6 7ZM6 -7V7",
    "lamp": "M-14 0H-8M8 0H14M-8 0A8 8 0 1 1 8 0A8 8 0 1 1 -8 0M-6 -6L6 6M-6 6L6 -6",
    "motor": "M-14 0H-9M9 0H14M-9 0A9 9 0 1 1 9 0A9 9 0 1 1 -9 0",
    "meter": "M-14 0H-9M9 0H14M-9 0A9 9 0 1 1 9 0A9 9 0 1 1 -9 0M-5 5L5 -5M5 -5L1 -4M5 -5L4 -1",
    "buzzer": "M-14 0H-8M8 0H14M-8 0A8 8 0 0 1 8 0Z",
    "battery": "M-14 0H-5M-5 -9V9M-1 -4V4M3 -9V9M7 -4V4M7 0H14",
    "brake": "M-14 0H-6M6 0H14M-6 -9H6V9H-6ZM-6 9L6 -9",
    "input": "M-14 0H-9M9 0H14M-9 -8H9V8H-9ZM-5 4H0V-4H5",
    "mated": "M-14 0H-3M3 0H14M6 -6A7 7 0 0 0 6 6M-3 -2.2H4V2.2H-3Z",
    "shunt": "M-14 0H-11M11 0H14M-11 -4H11V4H-11ZM-7 -4V-9M7 -4V-9",
}
_LETTERS = {"motor": "M"}

# By the kind a kind goes back to and its element; what is not here goes by the element's type.
_KNOWN: dict[tuple[str, str], str] = {
    ("battery_block", "cells"): "battery",
    ("brake_coil", "coil"): "brake",
    ("buzzer", "voice"): "buzzer",
    ("connector_contact", "contact_pin"): "mated",
    ("contactor_plain", "coil"): "coil",
    ("dash_lamp", "lamp"): "lamp",
    ("fuse", "link"): "fuse",
    ("motor_permanent", "armature"): "motor",
    ("motor_separate", "armature"): "motor",
    ("motor_separate", "field"): "winding",
    ("motor_series", "armature"): "motor",
    ("motor_series", "field"): "winding",
    ("power_coupler", "contact_pin"): "mated",
    ("shunt", "bar"): "shunt",
    ("thermal_switch", "contact"): "thermal",
    ("throttle_resistive", "track"): "variable",
}
_METERS = ("battery_gauge", "hour_meter")
_BY_TYPE = {
    "source": "battery",
    "diode": "diode",
    "input": "input",
    "resistor": "resistor",
    "contact": "make",
}

Kinds = Mapping[str, Mapping[str, Any]]


def whole_kind(kinds: Kinds, kind: str) -> tuple[str, dict[str, Any]]:
    """A kind with everything it takes over, and the name of the one it goes back to."""
    chain: list[str] = []
    while kind in kinds and kind not in chain:
        chain.append(kind)
        kind = kinds[kind].get("based_on", "")
    whole: dict[str, Any] = {}
    for name in reversed(chain):
        for key, value in kinds[name].items():
            both = isinstance(value, dict) and isinstance(whole.get(key), dict)
            mixed = key in ("elements", "parameters", "modes", "signs") and both
            whole[key] = {**whole[key], **value} if mixed else value
    return (chain[-1] if chain else ""), whole


def inner_elements(
    kinds: Kinds, kind: str, parameters: Mapping[str, Any]
) -> list[tuple[str, str, str]] | None:
    """What to draw inside a part: symbol and the terminals it lies between.

    Args:
        kinds: Of the kinds document.
        kind: Of the part.
        parameters: Of the part, in place of those of the kind.

    Returns:
        None for a part with too much inside, which is drawn as a box.
    """
    root, whole = whole_kind(kinds, kind)
    drawn = []
    for name, element in whole.get("elements", {}).items():
        if element.get("dormant") or _insulates(element, whole, parameters):
            continue
        first, second = element["between"]
        drawn.append((_symbol(root, kind, name, element), first, second))
    return drawn if len(drawn) <= _MOST_ELEMENTS else None


def _symbol(root: str, kind: str, name: str, element: Mapping[str, Any]) -> str:
    if kind in _METERS:
        return "meter"
    if known := _KNOWN.get((root, name)):
        return known
    if element["type"] == "contact" and element.get("closed_when") == {"operated": False}:
        return "break"
    return _BY_TYPE.get(element["type"], "resistor")


def _insulates(
    element: Mapping[str, Any], whole: Mapping[str, Any], parameters: Mapping[str, Any]
) -> bool:
    given = element.get("resistance_ohm")
    if isinstance(given, str):
        given = parameters.get(given, whole.get("parameters", {}).get(given))
    if isinstance(given, Mapping):
        given = given.get("value")
    return isinstance(given, int | float) and given >= _INSULATION_OHM


def strokes(symbol: str, x: float, y: float, *, flipped: bool = False) -> tuple[str, str, str]:
    """Path data of a symbol, its letter, and the transform that puts it in its place."""
    turn = " scale(-1 1)" if flipped else ""
    return (
        _STROKES[symbol],
        _LETTERS.get(symbol, ""),
        f"translate({rounded(x)} {rounded(y)}){turn}",
    )
