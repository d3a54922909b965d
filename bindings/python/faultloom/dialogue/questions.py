"""What a proposed step asks for, and the entries that an answer to it becomes."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from faultloom.answers import Step
from faultloom.dialogue.grammar import (
    COMMANDS,
    NotUnderstoodError,
    Quantity,
    Words,
    understand,
)
from faultloom.dialogue.own import EntryData, number_members
from faultloom.dialogue.vocabulary import ANSWER_WORDS, NUMBER_UNITS, REPAIR_WORDS, Vocabulary

WITH = "x-with"
"""Member of an entry that came with the entry before it, in one answer: that one's id or ""."""

# What is answered in words, by type of step or instrument: outcomes, and further words for them.
_WORDS_OF: Mapping[str, tuple[tuple[str, ...], Mapping[str, str]]] = {
    "lamp": (
        ("bright", "dim", "dark"),
        {"on": "bright", "lit": "bright", "off": "dark", "nothing": "dark"},
    ),
    "beeper": (("beep", "silent"), {"yes": "beep", "no": "silent", "nothing": "silent"}),
    "ohmmeter": (("overload",), {"open": "overload"}),
    "sign": (("yes", "no", "chatters"), {"rattles": "chatters", "nothing": "no"}),
    "turning": (
        ("yes", "no", "chatters"),
        {
            **dict.fromkeys(("runs", "it runs", "drives", "it drives", "turns"), "yes"),
            **dict.fromkeys(
                ("still", "stays still", "doesn't run", "doesn't drive", "nothing"), "no"
            ),
            "rattles": "chatters",
        },
    ),
    "authorize": (("yes", "no"), {}),
    "look": (
        ("damage", "clean"),
        {"fine": "clean", "ok": "clean", "good": "clean", "bad": "damage", "burnt": "damage"},
    ),
    "setting": (
        ("set_wrong", "set_right"),
        {
            **dict.fromkeys(("right", "fine", "ok", "good", "clean"), "set_right"),
            **dict.fromkeys(("wrong", "bad", "damage"), "set_wrong"),
        },
    ),
}
RUNS = {
    "runs": "yes",
    "it runs": "yes",
    "yes": "yes",
    "y": "yes",
    "still faulty": "no",
    "doesn't run": "no",
    "no": "no",
    "n": "no",
}
"""Words for whether it runs."""

LEAD = "lead"
"""Member of an entry made with a fused lead in place: the two terminals that it joined."""

_AFTER = re.compile(r"(?P<answer>.+?),? after (?P<count>\d{1,4})")
# Steps in which an instrument is read.
_READS = ("reading", "lift")
_ENDS = 2
_OPEN = ("not_sure", "cannot_reach")
_TYPED = {"not_sure": "not sure", "cannot_reach": "can't", "set_wrong": "set wrong"}
_TYPED["set_right"] = "set right"
_EXAMPLES = {"V": "48.1", "ohm": "0.2 or 4.7k", "A": "12.5"}
_IN_WORDS = {"V": "volts", "ohm": "ohms", "A": "amps"}


@dataclass(frozen=True)
class Reply:
    """What an answer leads to.

    Attributes:
        entries: To be added to the job, without ids.
        aside: Whether the step is not to be proposed again although it was not done.
        authorized_usd: What a repair may cost from now on, None if nothing was said [USD].
    """

    entries: tuple[EntryData, ...] = ()
    aside: bool = False
    authorized_usd: float | None = None


class Question:
    """A step as a question.

    Args:
        step: The step.
        vocabulary: The names on the vehicle.
    """

    def __init__(self, step: Step, vocabulary: Vocabulary) -> None:
        self.step = step
        self._vocabulary = vocabulary
        kind = vocabulary.instrument_type(step.instrument)
        self._unit = NUMBER_UNITS.get(kind, "") if step.type in _READS else ""
        self._outcomes, self._more = _outcomes(step, kind, vocabulary)

    @property
    def known(self) -> bool:
        """Whether an answer to the step can be recorded as such."""
        step = self.step
        if step.type in _READS:
            return bool(self._unit or self._outcomes) and bool(step.red and step.black)
        if step.type == "bridge":
            return bool(step.watched) and len(step.lead) == _ENDS
        return step.type in ("sign", "look", "repair", "verify", "authorize")

    @property
    def hint(self) -> str:
        """How to answer, in one line."""
        match self.step.type:
            case "repair":
                return "runs, still faulty, or repaired if it was not tried yet"
            case "verify":
                return "runs or still faulty"
            case "authorize":
                return "yes if the repair may be made at that price, or no"
        if not self.known:
            return "do it, then tell what you found with 'something else: ...', or skip"
        said = [_TYPED.get(name, name) for name in self._outcomes]
        if self._unit:
            name, example = _IN_WORDS[self._unit], _EXAMPLES[self._unit]
            said.insert(0, f"the {name} it shows, such as {example}")
        if self.step.when:
            said[0] += ", with 'after 4' behind it if it ran 4 times before that"
            said.append("runs if it never failed")
        return ", ".join(said[:-1]) + f" or {said[-1]}" if len(said) > 1 else said[0]

    def reply(self, said: Quantity | Words) -> Reply:
        """What an answer means.

        Raises:
            NotUnderstoodError: It is no answer to this step.
        """
        if isinstance(said, Words) and ANSWER_WORDS.get(said.text) in _OPEN:
            # No entry is at a moment at which nothing was noticed.
            return self._open(ANSWER_WORDS[said.text]) if not self.step.when else Reply(aside=True)
        if self.step.when:
            return self._caught(said)
        return self._reply(said)

    def _caught(self, said: Quantity | Words) -> Reply:
        """What an answer to a step means that is tried until it fails."""
        when: dict[str, str | int] = dict(self.step.when)
        if isinstance(said, Words):
            if RUNS.get(said.text) == "yes" and said.text not in ANSWER_WORDS:
                state = self._vocabulary.moved(self.step.state)
                tried = {"part": when["part"], "sign": when["sign"], "state": state}
                return Reply(({"type": "sign", **tried, "tries": {"yes": self.step.most_tries}},))
            if found := _AFTER.fullmatch(said.text):
                good = int(found["count"])
                if good >= self.step.most_tries:
                    raise NotUnderstoodError(
                        f"It was to be tried {self.step.most_tries} times at most: {self.hint}"
                    )
                when["after"] = good
                answer = understand(found["answer"])
                if not isinstance(answer, Quantity | Words):
                    raise NotUnderstoodError(self._no_answer(said.text))
                said = answer
        reply = self._reply(said)
        return Reply(tuple({**entry, "when": when} for entry in reply.entries))

    def _reply(self, said: Quantity | Words) -> Reply:
        if not self.known:
            raise NotUnderstoodError(f"This step has no answer in a word or number: {self.hint}")
        if isinstance(said, Quantity):
            if not self._unit:
                raise NotUnderstoodError(f"A number is no answer here: {self.hint}")
            return Reply(({**self._base(), **number_members(said, self._unit)},))
        if self.step.type in ("repair", "verify"):
            return self._repaired(said.text)
        outcome = self._more.get(said.text) or ANSWER_WORDS.get(said.text, "")
        if outcome not in self._outcomes:
            outcome = self._more.get(outcome, "")
        if outcome not in self._outcomes:
            raise NotUnderstoodError(self._no_answer(said.text))
        if self.step.type == "authorize":
            asked = self.step.cost_usd
            return Reply(authorized_usd=asked) if outcome == "yes" else Reply(aside=True)
        entry = {**self._base(), "outcome": outcome}
        return Reply((self._with_lead(outcome) if self.step.type == "bridge" else entry,))

    def _with_lead(self, outcome: str) -> EntryData:
        """What was noticed with a lead in place."""
        red, black = self.step.lead
        return {
            "type": "sign",
            "part": self.step.watched,
            "sign": self.step.sign,
            "state": self._vocabulary.moved(self.step.state),
            "outcome": outcome,
            LEAD: [red, black],
        }

    def _open(self, outcome: str) -> Reply:
        """Nothing learned; what has no form for that is set aside only."""
        if self.known and self.step.type in (*_READS, "sign", "look"):
            return Reply(({**self._base(), "outcome": outcome},))
        tried = turning(self._vocabulary, outcome) if self.step.type == "verify" else []
        return Reply(tuple({**entry, WITH: ""} for entry in tried), aside=not tried)

    def _repaired(self, text: str) -> Reply:
        runs = RUNS.get(text)
        if self.step.type == "verify":
            if runs is None:
                raise NotUnderstoodError(self._no_answer(text))
            tried = turning(self._vocabulary, runs)
            return Reply(tuple({**entry, WITH: ""} for entry in tried), aside=True)
        if runs is None and text not in REPAIR_WORDS:
            raise NotUnderstoodError(self._no_answer(text))
        repair: EntryData = {"type": "repair", "component": self.step.component}
        if action := REPAIR_WORDS.get(text):
            repair["action"] = action
        tried = turning(self._vocabulary, runs) if runs else []
        return Reply((repair, *({**entry, WITH: ""} for entry in tried)))

    def _base(self) -> EntryData:
        step = self.step
        state = self._vocabulary.moved(step.state)
        if step.type == "look":
            return {"type": "look", "component": step.component}
        if step.type == "sign":
            sign: EntryData = {
                "type": "sign",
                "part": step.component,
                "sign": step.sign,
                "state": state,
            }
            if step.wiggled_zone:
                sign["provoked"] = {"how": "wiggle", "zone": step.wiggled_zone}
            return sign
        base: EntryData = {
            "type": "reading",
            "instrument": step.instrument,
            "red": step.red,
            "black": step.black,
            "state": state,
        }
        if step.isolated:
            base["isolated"] = True
        if step.lifted:
            base["lifted"] = [step.lifted]
        return base

    def _no_answer(self, text: str) -> str:
        words = [*self._more, *ANSWER_WORDS, *COMMANDS, *RUNS, *REPAIR_WORDS]
        near = difflib.get_close_matches(text, words, 1, 0.7)
        meant = f" (did you mean '{near[0]}'?)" if near and near[0] != text else ""
        return f"'{text}' is no answer here{meant}: {self.hint}; help lists the rest"


def _outcomes(
    step: Step, instrument_type: str, vocabulary: Vocabulary
) -> tuple[tuple[str, ...], Mapping[str, str]]:
    """The outcomes in words that a step may have, and further words for them."""
    kind = instrument_type if step.type in _READS else step.type
    if kind == "look" and step.component in vocabulary.controls:
        kind = "setting"
    elif kind == "bridge" or (kind == "sign" and step.sign == "turns"):
        kind = "turning" if step.sign == "turns" else "sign"
    return _WORDS_OF.get(kind, ((), {}))


def turning(vocabulary: Vocabulary, outcome: str) -> list[EntryData]:
    """Entries that say whether it runs: every sign "turns" in the state in which it should go.

    Args:
        vocabulary: The names on the vehicle.
        outcome: "yes" or "no".
    """
    state = vocabulary.moved(vocabulary.run_state)
    return [
        {
            "type": "sign",
            "part": sign.rpartition(".")[0],
            "sign": "turns",
            "state": state,
            "outcome": outcome,
        }
        for sign in vocabulary.signs
        if sign.rpartition(".")[2] == "turns"
    ]


def key_of(step: Step, vocabulary: Vocabulary) -> str:
    """What makes two steps the same, as text that a job file can keep."""
    state = _state_text(vocabulary.moved(step.state))
    match step.type:
        case "reading" | "lift":
            lifted = [step.lifted] if step.lifted else []
            probes = (step.red, step.black)
            key = _reading_key(step.instrument, probes, state, lifted, isolated=step.isolated)
            return key + _when_key(step.when)
        case "sign":
            key = _sign_key(step.component, step.sign, state, step.wiggled_zone)
            return key + _when_key(step.when)
        case "verify" if tried := turning(vocabulary, "yes"):
            return entry_key(tried[0], vocabulary)
        case "bridge":
            return _bridge_key(step.watched, step.sign, step.lead)
        case "look" | "repair" | "authorize":
            return f"{step.type} {step.component}"
    return f"{step.type} {step.text}"


def entry_key(entry: Mapping[str, Any], vocabulary: Vocabulary) -> str:
    """Key of the step that an entry answers, "" if no step asks for such."""
    state = _state_text(vocabulary.moved(entry.get("state", {})))
    lifted = entry.get("lifted", [])
    plain = "provoked" not in entry
    how = "" if plain else entry["provoked"].get("how")
    match entry["type"]:
        case "reading" if plain and "red" in entry:
            probes = (entry["red"], entry["black"])
            isolated = bool(entry.get("isolated"))
            key = _reading_key(entry["instrument"], probes, state, lifted, isolated=isolated)
            return key + _when_key(entry.get("when", {}))
        case "sign" if LEAD in entry:
            return _bridge_key(entry["part"], entry["sign"], entry[LEAD])
        case "sign" if (plain or how == "wiggle") and not lifted:
            zone = "" if plain else entry["provoked"]["zone"]
            key = _sign_key(entry["part"], entry["sign"], state, zone)
            return key + _when_key(entry.get("when", {}))
        case "look":
            return f"look {entry['component']}"
    return ""


def open_keys(entries: Iterable[Mapping[str, Any]], vocabulary: Vocabulary) -> set[str]:
    """Keys of the steps that entries answer with "not sure" or "can't"."""
    return {entry_key(e, vocabulary) for e in entries if e.get("outcome") in _OPEN} - {""}


def answered(entries: Iterable[Mapping[str, Any]], vocabulary: Vocabulary) -> dict[str, list[str]]:
    """Ids of the entries since the last repair that answer a step, by its key."""
    found: dict[str, list[str]] = {}
    for entry in entries:
        if entry["type"] == "repair":
            found = {}
        elif key := entry_key(entry, vocabulary):
            found.setdefault(key, []).append(entry["id"])
    return found


def _reading_key(
    instrument: str, probes: tuple[str, str], state: str, lifted: Sequence[str], *, isolated: bool
) -> str:
    key = f"reading {instrument} {' '.join(probes)} {state}" + (" isolated" if isolated else "")
    return key + "".join(f" {end} lifted" for end in sorted(lifted))


def _sign_key(part: str, sign: str, state: str, wiggled_zone: str) -> str:
    return f"sign {part}.{sign} {state}" + (f" wiggled {wiggled_zone}" if wiggled_zone else "")


def _when_key(when: Mapping[str, Any]) -> str:
    return f" when {when['part']}.{when['sign']} {when['outcome']}" if when else ""


def _bridge_key(part: str, sign: str, lead: Any) -> str:
    ends = " ".join(str(end) for end in lead) if isinstance(lead, list | tuple) else ""
    return f"bridge {part}.{sign} {ends}"


def _state_text(state: Mapping[str, str]) -> str:
    return ",".join(f"{control}={state[control]}" for control in sorted(state))
