"""What a line typed at the bench says: a number with its unit, a command, or words."""

from __future__ import annotations

import re
from dataclasses import dataclass

VOLT, OHM, AMPERE = "V", "ohm", "A"


class NotUnderstoodError(Exception):
    """A line that says nothing here; its text is one line that tells what to type instead."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as read off a display.

    Attributes:
        value: In volt, ohm or ampere if `unit` says so, else as typed.
        unit: VOLT, OHM, AMPERE, or "" if none was given.
        tolerance: How far off it may be, one standard deviation, same unit; None if not said.
    """

    value: float
    unit: str = ""
    tolerance: float | None = None


@dataclass(frozen=True, slots=True)
class Command:
    """Something the bench is to do; `rest` is what follows the command's name."""

    name: str
    rest: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """Anything else, in small letters with single blanks."""

    text: str


Said = Quantity | Command | Words

COMMANDS = {
    "undo": "undo",
    "take back": "undo",
    "why": "why",
    "skip": "skip",
    "other": "other",
    "others": "other",
    "another": "other",
    "another step": "other",
    "rank": "rank",
    "ranking": "rank",
    "step": "step",
    "again": "step",
    "save": "save",
    "help": "help",
    "?": "help",
    "close": "close",
    "done": "done",
    "quit": "quit",
    "exit": "quit",
}
"""Names of commands as they may be typed, and what each is called here."""

_TAKES_MORE = {"other", "others", "another", "skip", "save", "close"}

_UNITS = {
    "": (1.0, ""),
    "v": (1.0, VOLT),
    "volt": (1.0, VOLT),
    "volts": (1.0, VOLT),
    "mv": (1e-3, VOLT),
    "millivolt": (1e-3, VOLT),
    "millivolts": (1e-3, VOLT),
    "ohm": (1.0, OHM),
    "ohms": (1.0, OHM),
    "ω": (1.0, OHM),
    "k": (1e3, OHM),
    "kohm": (1e3, OHM),
    "kohms": (1e3, OHM),
    "kω": (1e3, OHM),
    "kiloohm": (1e3, OHM),
    "kiloohms": (1e3, OHM),
    "megohm": (1e6, OHM),
    "megohms": (1e6, OHM),
    "milliohm": (1e-3, OHM),
    "milliohms": (1e-3, OHM),
    "a": (1.0, AMPERE),
    "amp": (1.0, AMPERE),
    "amps": (1.0, AMPERE),
    "ampere": (1.0, AMPERE),
    "amperes": (1.0, AMPERE),
    "ma": (1e-3, AMPERE),
    "milliamp": (1e-3, AMPERE),
    "milliamps": (1e-3, AMPERE),
}
# Here a capital letter makes a factor of a thousand million.
_OF_EITHER_CASE = {"mohm": OHM, "mohms": OHM, "mω": OHM, "m": OHM}

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_UNIT = r"[a-zA-ZΩω]*"
_QUANTITY = re.compile(
    rf"(?P<value>{_NUMBER})\s*(?P<unit>{_UNIT})"
    rf"(?:\s*(?:\+-|\+/-|±)\s*(?P<off>{_NUMBER})\s*(?P<off_unit>{_UNIT}))?"
)
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d{1,2}(?!\d))")
_OWN = re.compile(r"(?:something else|i read|i saw|i heard|also)\b\s*[:,]?\s*(.*)", re.IGNORECASE)
_TYPOGRAPHIC = str.maketrans(
    {"\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{MINUS SIGN}": "-", "\N{OHM SIGN}": "Ω"}
)


def plain(line: str) -> str:
    """A line with single blanks and plain quotes, without what ends a sentence."""
    return " ".join(line.translate(_TYPOGRAPHIC).split()).rstrip(".!;, ")


def understand(line: str) -> Said:
    """What a line says, wherever it was typed.

    Raises:
        NotUnderstoodError: A number with a unit nobody knows.
    """
    text = plain(line)
    small = text.lower()
    if small in COMMANDS:
        return Command(COMMANDS[small])
    first, _, rest = text.partition(" ")
    if first.lower() in _TAKES_MORE:
        return Command(COMMANDS[first.lower()], rest)
    if own := _OWN.fullmatch(text):
        return Command("own", own.group(1))
    found = quantity(text)
    return Words(small) if found is None else found


def quantity(text: str) -> Quantity | None:
    """The number in a text that holds nothing else, None if it is none.

    Raises:
        NotUnderstoodError: It has a unit nobody knows, or a comma that may mean two things.
    """
    match = _QUANTITY.fullmatch(_DECIMAL_COMMA.sub(".", text))
    if match is None:
        if re.fullmatch(rf"[+-]?[\d.]+(,\d+)+\s*{_UNIT}", text):
            raise NotUnderstoodError(
                f"'{text}' may be read in two ways: type the number without commas"
            )
        return None
    factor, unit = _unit(match["unit"], text)
    if match["off"] is None:
        return Quantity(_scaled(match["value"], factor), unit)
    off_factor, off_unit = _unit(match["off_unit"], text) if match["off_unit"] else (factor, unit)
    if not match["unit"]:
        factor, unit = off_factor, off_unit
    if off_unit != unit or float(match["off"]) <= 0:
        raise NotUnderstoodError(
            f"'{text}': how far off it may be has to be above 0 and in the same unit"
        )
    return Quantity(_scaled(match["value"], factor), unit, _scaled(match["off"], off_factor))


def _scaled(number: str, factor: float) -> float:
    """A number times a power of ten, as exact as if it had been typed in the base unit."""
    value = float(number)
    return value / round(1 / factor) if factor < 1 else value * factor


def _unit(name: str, text: str) -> tuple[float, str]:
    small = name.lower()
    if small in _OF_EITHER_CASE and (name[0] == "M" or small != "m"):
        return (1e6 if name[0] == "M" else 1e-3), _OF_EITHER_CASE[small]
    if small in _UNITS:
        return _UNITS[small]
    raise NotUnderstoodError(
        f"'{text}': '{name}' is no unit here; there is mV, V, ohm, kohm, Mohm, A"
    )
