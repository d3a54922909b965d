"""The names a vehicle and its instruments give to things, in the spellings a person may type."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

ANSWER_WORDS = {
    "bright": "bright",
    "dim": "dim",
    "glows": "dim",
    "dark": "dark",
    "beep": "beep",
    "beeps": "beep",
    "silent": "silent",
    "quiet": "silent",
    "no beep": "silent",
    "overload": "overload",
    "ol": "overload",
    "o.l": "overload",
    "yes": "yes",
    "y": "yes",
    "no": "no",
    "n": "no",
    "chatters": "chatters",
    "chatter": "chatters",
    "damage": "damage",
    "damaged": "damage",
    "clean": "clean",
    "undamaged": "clean",
    "set wrong": "set_wrong",
    "set right": "set_right",
    "not sure": "not_sure",
    "unsure": "not_sure",
    "don't know": "not_sure",
    "can't": "cannot_reach",
    "cant": "cannot_reach",
    "cannot": "cannot_reach",
    "can't reach": "cannot_reach",
    "cannot reach": "cannot_reach",
}
"""Words that answer, and the outcome in a job document that each stands for."""

REPAIR_WORDS = {
    "repaired": "",
    "fixed": "",
    "replaced": "replace",
    "renewed": "replace",
    "spliced": "splice",
    "cleaned": "clean",
    "tightened": "tighten",
    "adjusted": "adjust",
    "charged": "charge",
    "put right": "put_right",
}
"""Words for a repair that was made, and its action; "" is the one the component calls for."""

NUMBER_UNITS = {"voltmeter": "V", "ohmmeter": "ohm", "clamp": "A"}
"""What instruments with a display read, by type."""

_SHORT_NAMES = {
    "voltmeter": ("voltmeter", "multimeter", "meter"),
    "lamp": ("lamp", "test lamp"),
    "ohmmeter": ("ohmmeter",),
    "beeper": ("beeper", "continuity"),
    "clamp": ("clamp",),
}
_FILLERS = (
    *("a", "about", "across", "against", "an", "and", "are", "around", "at", "between", "by"),
    *("from", "gave", "gives", "got", "had", "has", "have", "heard", "i", "in", "is", "it"),
    *("measure", "measured", "of", "on", "or", "read", "reading", "reads", "saw", "see", "showed"),
    *("shows", "the", "then", "there", "to", "was", "were", "when", "while", "with"),
)
_MARKS = {
    "red": "red",
    "black": "black",
    "look": "look",
    "looked": "look",
    "inspected": "look",
    "lifted": "lifted",
    "disconnected": "lifted",
    "isolated": "isolated",
    "pack off": "isolated",
    "pack isolated": "isolated",
    "at rest": "rest",
    "all at rest": "rest",
    "run state": "running",
    "same": "same",
    "same state": "same",
}
_LONGEST_PHRASE = 8

# How strongly a phrase means what it does: a title, a word of this language, an id.
_TITLE, _WORD, _ID = 1, 2, 3


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a phrase stands for.

    Attributes:
        kind: "terminal", "instrument", "component", "end", "control", "setting", "sign",
            "sign word", "answer", "repair", "mark" or "filler".
        name: Id or canonical word.
        position: Position of the control; settings only.
    """

    kind: str
    name: str
    position: str = ""


Phrase = tuple[str, ...]


def split_words(text: str) -> list[str]:
    """The words of a text; commas, semicolons and equals signs part them like blanks."""
    parted = re.split(r"[\s,;=]+", text)
    found = (word.lstrip("(\"'").rstrip(".:!?)\"'") for word in parted)
    return [word for word in found if word]


class Vocabulary:
    """Phrases and what they stand for on one vehicle.

    Args:
        vehicle: The vehicle document.
        instruments: The instruments document.
        summary: The model's summary.
        terminals: Names of the terminals.
        signs: Names of the signs, PART.sign.
    """

    def __init__(
        self,
        vehicle: Mapping[str, Any],
        instruments: Mapping[str, Any],
        summary: Mapping[str, Any],
        terminals: Iterable[str],
        signs: Iterable[str],
    ) -> None:
        self.controls: Mapping[str, Any] = vehicle.get("controls", {})
        self.run_state: Mapping[str, str] = vehicle.get("run_state", {})
        self.datum: str = vehicle.get("datum", "")
        self.instruments: Mapping[str, Any] = instruments.get("instruments", {})
        self.signs = tuple(signs)
        self._components = {c["id"]: c for c in summary["components"]}
        self._wires = frozenset(vehicle.get("wires", {}))
        self._phrases: dict[Phrase, tuple[Meaning | None, int]] = {}
        self._spellings: set[str] = set()
        self._add_names(tuple(terminals))
        self._add_words()

    def find(self, words: list[str], start: int) -> tuple[Meaning | None, int]:
        """What the longest known phrase that begins at a word means, and how many words it has."""
        for length in range(min(_LONGEST_PHRASE, len(words) - start), 0, -1):
            phrase = tuple(word.lower() for word in words[start : start + length])
            meaning, _ = self._phrases.get(phrase, (None, 0))
            if meaning is not None:
                return meaning, length
        return None, 0

    def near(self, word: str, most: int = 3) -> list[str]:
        """Names that look like a word, the most alike first."""
        by_small = {spelling.lower(): spelling for spelling in sorted(self._spellings)}
        found = difflib.get_close_matches(word.lower(), by_small, most, 0.6)
        return [by_small[small] for small in found]

    def position(self, control: str, words: list[str], start: int) -> tuple[str, int]:
        """The position of a control that the words from a place on name, and how many they are."""
        skipped = 0
        while start + skipped < len(words) and words[start + skipped].lower() in ("to", "is", "in"):
            skipped += 1
        for position in self.controls[control].get("positions", []):
            wanted = position.lower().split("_")
            said = [word.lower() for word in words[start + skipped :][: len(wanted)]]
            if said == wanted or said[:1] == [position.lower()]:
                return position, skipped + (len(wanted) if said == wanted else 1)
        return "", 0

    def is_wire(self, component: str) -> bool:
        """Whether a clamp can go around a component."""
        return component in self._wires

    def zones_of(self, entry: Mapping[str, Any]) -> list[str]:
        """Ids of the places where somebody had to be at work for an entry."""
        if entry["type"] == "sign":
            return []
        touched = [entry.get(color, "").rpartition(".")[0] for color in ("red", "black")]
        touched.append(entry.get("component", ""))
        zones = [self._components.get(component, {}).get("zone") for component in touched]
        return [zone for zone in dict.fromkeys(zones) if zone]

    def moved(self, state: Mapping[str, str]) -> dict[str, str]:
        """The controls of a state that are not at rest."""
        return {
            control: position
            for control, position in state.items()
            if self.controls.get(control, {}).get("rest") != position
        }

    def instrument_type(self, instrument: str) -> str:
        """Type of an instrument, "" if there is none of that name."""
        return str(self.instruments.get(instrument, {}).get("type", ""))

    def of_type(self, kind: str, preferred: Iterable[str] = ()) -> str:
        """The instrument meant by its type alone: the first preferred one, else the first by id.

        Of voltmeters that is the one that loads the circuit least: the usual volts range.
        """
        fitting = [name for name in self.instruments if self.instrument_type(name) == kind]
        chosen = [name for name in preferred if name in fitting]
        if chosen:
            return chosen[0]
        by_load = sorted(fitting, key=lambda n: (-self.instruments[n].get("resistance_ohm", 0), n))
        return by_load[0] if by_load else ""

    def _add_names(self, terminals: tuple[str, ...]) -> None:
        for terminal in terminals:
            component, _, name = terminal.rpartition(".")
            self._name(terminal, Meaning("terminal", terminal))
            self._phrase(f"{component} {name}", Meaning("terminal", terminal), _ID)
        for sign in self.signs:
            component, _, name = sign.rpartition(".")
            for said in dict.fromkeys((name, name.removesuffix("s"), name + "s")):
                self._phrase(f"{component}.{said}", Meaning("sign", sign), _ID)
                self._phrase(f"{component} {said}", Meaning("sign", sign), _ID)
                self._phrase(said, Meaning("sign word", name), _WORD)
            self._spellings.add(sign)
        for kind, among in (("instrument", self.instruments), ("control", self.controls)):
            for name, described in among.items():
                self._name(name, Meaning(kind, name))
                self._phrase(name.replace("_", " "), Meaning(kind, name), _ID)
                self._phrase(described.get("title", ""), Meaning(kind, name), _WORD)
        for name, component in self._components.items():
            if name in self.controls:
                continue
            end = ":" in name and name.partition(":")[0] in self._wires
            self._name(name, Meaning("end" if end else "component", name))
            if ":" not in name:
                self._phrase(component["title"], Meaning("component", name), _TITLE)

    def _add_words(self) -> None:
        for kind, names in _SHORT_NAMES.items():
            for name in names:
                self._phrase(name, Meaning("instrument", f"={kind}"), _WORD)
        if self.datum:
            self._phrase("pack negative", Meaning("terminal", self.datum), _WORD)
        for table, kind in (
            (ANSWER_WORDS, "answer"),
            (REPAIR_WORDS, "repair"),
            (_MARKS, "mark"),
            (dict.fromkeys(_FILLERS, ""), "filler"),
        ):
            for words, name in table.items():
                self._phrase(words, Meaning(kind, name), _WORD)
        for name, control in self.controls.items():
            for position in control.get("positions", []):
                # Alone it says enough only if nothing else is called so.
                self._phrase(position.replace("_", " "), Meaning("setting", name, position), _TITLE)

    def _name(self, spelling: str, meaning: Meaning) -> None:
        self._spellings.add(spelling)
        self._phrase(spelling, meaning, _ID)

    def _phrase(self, text: str, meaning: Meaning, strength: int) -> None:
        """Takes a phrase in. The stronger meaning wins; of two equally strong ones neither does."""
        phrase = tuple(word.lower() for word in split_words(text))
        if not 0 < len(phrase) <= _LONGEST_PHRASE:
            return
        known, known_strength = self._phrases.get(phrase, (None, 0))
        if strength > known_strength:
            self._phrases[phrase] = (meaning, strength)
        elif strength == known_strength and known != meaning:
            self._phrases[phrase] = (None, strength)
