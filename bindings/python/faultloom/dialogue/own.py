"""Findings that no step asked for: "I read 12.4 V on K1.load against BAT1.negative, key on"."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from faultloom.dialogue.grammar import NotUnderstoodError, Quantity, plain, quantity
from faultloom.dialogue.vocabulary import NUMBER_UNITS, Meaning, Vocabulary, split_words

EntryData = dict[str, Any]

EXAMPLES = (
    "I read 12.4 V on K1.load against BAT1.negative, key on, pedal pressed",
    "lamp dim, red K1.load, black BAT1.negative, key on",
    "K1 click no, key on",
    "looked at W14, damaged",
    "replaced K1",
)

_BY_ANSWER = {
    "bright": "lamp",
    "dim": "lamp",
    "dark": "lamp",
    "beep": "beeper",
    "silent": "beeper",
    "overload": "ohmmeter",
}
_SIGN_ANSWERS = frozenset({"yes", "no", "chatters", "not_sure", "cannot_reach"})
_LOOK_ANSWERS = frozenset({"damage", "clean", "set_wrong", "set_right", "not_sure", "cannot_reach"})
_KEYS = {"V": "volts", "ohm": "ohms", "A": "amps"}
_TOLERANCES = {"V": "tolerance_volt", "ohm": "tolerance_ohm", "A": "tolerance_ampere"}
_MOST_PROBES = 2


@dataclass
class _Heard:
    """What the words of a finding stand for, sorted."""

    terminals: dict[str, str] = field(default_factory=dict)
    instrument: str = ""
    components: list[str] = field(default_factory=list)
    ends: list[str] = field(default_factory=list)
    signs: list[str] = field(default_factory=list)
    sign_words: list[str] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)
    numbers: list[Quantity] = field(default_factory=list)
    state: dict[str, str] = field(default_factory=dict)
    controls: list[str] = field(default_factory=list)
    marks: set[str] = field(default_factory=set)
    repair: str | None = None
    unknown: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def number_members(number: Quantity, unit: str) -> EntryData:
    """Members of an entry for a number that an instrument showed.

    Args:
        number: As typed.
        unit: What the instrument reads, as in `Quantity.unit`.

    Raises:
        NotUnderstoodError: The number is of another unit.
    """
    if number.unit not in ("", unit):
        raise NotUnderstoodError(f"{number.value:g} {number.unit} is no answer here: give {unit}")
    members: EntryData = {_KEYS[unit]: number.value}
    if number.tolerance is not None:
        members[_TOLERANCES[unit]] = number.tolerance
    return members


class OwnFindings:
    """Makes entries of findings in words.

    Args:
        vocabulary: The names on the vehicle.
        preferred: Instruments to take if only their type is named, best first.
    """

    def __init__(self, vocabulary: Vocabulary, preferred: Iterable[str] = ()) -> None:
        self._vocabulary = vocabulary
        self._preferred = tuple(preferred)

    def entry(self, text: str, present: Mapping[str, str]) -> EntryData:
        """The entry, without its id, that a finding stands for.

        Args:
            text: The finding in words.
            present: State of the step just proposed, for "same state".

        Raises:
            NotUnderstoodError: With everything that is missing or not understood.
        """
        if not plain(text):
            raise NotUnderstoodError(f"Tell what you found, such as: {EXAMPLES[0]}")
        heard = self._listen(text)
        if "same" in heard.marks:
            heard.state = {**self._vocabulary.moved(present), **heard.state}
        if "running" in heard.marks:
            heard.state = {**self._vocabulary.moved(self._vocabulary.run_state), **heard.state}
        heard.problems += [self._unknown(word) for word in heard.unknown]
        entry = self._sorted(heard)
        if heard.problems:
            raise NotUnderstoodError("; ".join(heard.problems))
        return entry

    def _unknown(self, word: str) -> str:
        near = self._vocabulary.near(word)
        return f"'{word}' is not understood" + (f", near it: {', '.join(near)}" if near else "")

    # -- words to meanings -------------------------------------------------------------------------

    def _listen(self, text: str) -> _Heard:
        heard = _Heard()
        words = split_words(plain(text))
        probe = ""
        at = 0
        while at < len(words):
            number, used = _number(words, at)
            if number is not None:
                heard.numbers.append(number)
                at += used
                continue
            meaning, used = self._vocabulary.find(words, at)
            if meaning is None:
                heard.unknown.append(words[at])
                at += 1
                continue
            at += used
            if meaning.kind == "control":
                at += self._control(heard, meaning.name, words, at)
            elif meaning.kind == "terminal":
                self._terminal(heard, meaning.name, probe)
                probe = ""
            elif meaning.kind == "mark" and meaning.name in ("red", "black"):
                probe = meaning.name
            else:
                _note(heard, meaning)
        return heard

    def _control(self, heard: _Heard, control: str, words: list[str], at: int) -> int:
        position, used = self._vocabulary.position(control, words, at)
        if position:
            heard.state[control] = position
        else:
            heard.controls.append(control)
        return used

    def _terminal(self, heard: _Heard, terminal: str, probe: str) -> None:
        free = [color for color in ("red", "black") if color not in heard.terminals]
        color = probe or (free[0] if free else "")
        if not color or color in heard.terminals:
            where = f"the {color} probe" if color else "a probe"
            heard.problems.append(f"{where} can't be on {terminal} too: name {_MOST_PROBES} points")
            return
        heard.terminals[color] = terminal

    # -- meanings to an entry ----------------------------------------------------------------------

    def _sorted(self, heard: _Heard) -> EntryData:
        if heard.repair is not None:
            return self._repair(heard)
        if heard.terminals or heard.instrument or heard.numbers:
            return self._reading(heard)
        if heard.signs or heard.sign_words:
            return self._sign(heard)
        if "look" in heard.marks or set(heard.answers) & (_LOOK_ANSWERS - _SIGN_ANSWERS):
            return self._look(heard)
        if not heard.problems:
            heard.problems.append(
                f"Nothing in it says what was found; say it like: {EXAMPLES[0]}; or: {EXAMPLES[2]}"
            )
        return {}

    def _repair(self, heard: _Heard) -> EntryData:
        things = heard.components + heard.ends + heard.controls
        if len(things) != 1:
            heard.problems.append("name one part, wire, wire end or pin that was repaired")
            return {}
        entry: EntryData = {"type": "repair", "component": things[0]}
        if heard.repair:
            entry["action"] = heard.repair
        return entry

    def _look(self, heard: _Heard) -> EntryData:
        things = heard.components + heard.ends + heard.controls
        if len(things) != 1:
            heard.problems.append(
                "name one part, wire, wire end, pin or control that was looked at"
            )
        answer = _one_answer(
            heard, _LOOK_ANSWERS, "clean or damaged (a control: set right, set wrong)"
        )
        if heard.problems:
            return {}
        if things[0] in self._vocabulary.controls:
            answer = {"damage": "set_wrong", "clean": "set_right"}.get(answer, answer)
        return {"type": "look", "component": things[0], "outcome": answer}

    def _sign(self, heard: _Heard) -> EntryData:
        signs = list(dict.fromkeys(heard.signs))
        for word in heard.sign_words:
            fitting = [s for s in self._vocabulary.signs if s.rpartition(".")[2] == word]
            of_parts = [s for s in fitting if s.rpartition(".")[0] in heard.components]
            if len(of_parts or fitting) == 1:
                signs += of_parts or fitting
            else:
                heard.problems.append(f"'{word}' of what: {', '.join(fitting)}?")
        answer = _one_answer(heard, _SIGN_ANSWERS, "yes, no or chatters")
        if len(set(signs)) > 1:
            heard.problems.append(f"one at a time: {', '.join(signs)}")
        if heard.problems:
            return {}
        part, _, sign = signs[0].rpartition(".")
        entry = {"type": "sign", "part": part, "sign": sign, **self._circumstances(heard)}
        return {**entry, "outcome": answer}

    def _reading(self, heard: _Heard) -> EntryData:
        if len(heard.numbers) + len(heard.answers) > 1:
            heard.problems.append("give one result at a time")
        instrument = self._instrument(heard)
        kind = self._vocabulary.instrument_type(instrument)
        entry: EntryData = {"type": "reading", "instrument": instrument}
        if kind == "clamp":
            wires = [c for c in heard.components if self._vocabulary.is_wire(c)]
            if len(wires) != 1:
                heard.problems.append("name the one wire inside the clamp")
            entry["wire"] = wires[0] if wires else ""
        else:
            entry |= self._probes(heard)
        entry |= self._circumstances(heard)
        if kind in ("ohmmeter", "beeper") and not entry.get("isolated"):
            heard.problems.append(
                "ohms and beeps need the pack isolated: add 'pack off' if it was, or do it again"
            )
        if heard.numbers and kind:
            entry |= _shown(heard, kind)
        elif heard.answers:
            entry["outcome"] = heard.answers[0]
        elif not heard.numbers:
            heard.problems.append("the result is missing: a number with its unit, or a word")
        return entry

    def _instrument(self, heard: _Heard) -> str:
        """The instrument named, or the one that gives such a result."""
        name = heard.instrument
        if name and not name.startswith("="):
            return name
        kind = name.removeprefix("=")
        if not kind and heard.numbers and heard.numbers[0].unit:
            unit = heard.numbers[0].unit
            kind = next(kind for kind, reads in NUMBER_UNITS.items() if reads == unit)
        if not kind and heard.answers:
            kind = _BY_ANSWER.get(heard.answers[0], "")
        if not kind:
            heard.problems.append("say the instrument, or the unit of the number: V, ohm or A")
            return ""
        found = self._vocabulary.of_type(kind, self._preferred)
        if not found:
            heard.problems.append(f"there is no {kind} among the instruments")
        return found

    def _probes(self, heard: _Heard) -> EntryData:
        for color in ("red", "black"):
            if color not in heard.terminals:
                example = self._vocabulary.datum or "BAT1.negative"
                heard.problems.append(
                    f"say where the {color} probe was, such as '{color} {example}'"
                )
        return dict(heard.terminals)

    def _circumstances(self, heard: _Heard) -> EntryData:
        heard.problems += [
            f"say where {control} stood: "
            + ", ".join(self._vocabulary.controls[control].get("positions", []))
            for control in heard.controls
        ]
        members: EntryData = {"state": self._vocabulary.moved(heard.state)}
        if "isolated" in heard.marks:
            members["isolated"] = True
        if heard.ends and "lifted" in heard.marks:
            members["lifted"] = list(dict.fromkeys(heard.ends))
        elif heard.ends:
            heard.problems.append(f"say what {heard.ends[0]} was: lifted?")
        return members


def _number(words: list[str], at: int) -> tuple[Quantity | None, int]:
    """A number at a place, with the unit that may be the next word, and how many words it takes."""
    for length in (4, 2, 1):
        if at + length <= len(words):
            try:
                found = quantity(" ".join(words[at : at + length]))
            except NotUnderstoodError:
                continue
            if found is not None:
                return found, length
    return None, 0


def _note(heard: _Heard, meaning: Meaning) -> None:
    match meaning.kind:
        case "instrument":
            heard.instrument = heard.instrument or meaning.name
        case "component":
            heard.components.append(meaning.name)
        case "end":
            heard.ends.append(meaning.name)
        case "sign":
            heard.signs.append(meaning.name)
        case "sign word":
            heard.sign_words.append(meaning.name)
        case "answer":
            heard.answers.append(meaning.name)
        case "setting":
            heard.state[meaning.name] = meaning.position
        case "repair":
            heard.repair = meaning.name
        case "mark":
            heard.marks.add(meaning.name)
        case _:
            pass


def _one_answer(heard: _Heard, allowed: frozenset[str], choices: str) -> str:
    if len(heard.answers) != 1 or heard.answers[0] not in allowed:
        heard.problems.append(f"say one answer: {choices}")
        return ""
    return heard.answers[0]


def _shown(heard: _Heard, kind: str) -> EntryData:
    unit = NUMBER_UNITS.get(kind)
    if unit is None:
        heard.problems.append(f"a {kind} answers in words, not with a number")
        return {}
    try:
        return number_members(heard.numbers[0], unit)
    except NotUnderstoodError as error:
        heard.problems.append(str(error))
        return {}
