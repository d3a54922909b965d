"""How a job ends: checks as steps at the bench, and the words that close it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from faultloom.answers import Step
from faultloom.dialogue.grammar import NotUnderstoodError, plain
from faultloom.dialogue.vocabulary import Vocabulary
from faultloom.proof import Check

VERDICTS = {
    "repaired": "what was found is mended",
    "fixed itself": "it runs, and nothing was done that could have mended it",
    "no fault found": "it runs and did throughout",
    "not repaired": "it goes back as it is, out of service",
}
"""Words that close a job, and what each says."""

WITH_REPAIR = ("repaired", "not repaired")
WITHOUT_REPAIR = ("fixed itself", "no fault found", "not repaired")

_CLOSING = re.compile(
    r"(?:it )?(?P<verdict>" + "|".join(VERDICTS).replace(" ", "[ _]") + r")"
    r"(?P<word>[,;]? (?:by|on) (?:my )?word)?"
    r"(?:\s*[:,;]\s*(?P<note>.*))?",
    re.IGNORECASE,
)
_MOST_NOTE = 2000


@dataclass(frozen=True)
class Closing:
    """A job closed in words.

    Attributes:
        verdict: As in a job document.
        by_word: Whether somebody answers for the checks not made.
        note: What goes with it.
    """

    verdict: str
    by_word: bool = False
    note: str = ""


def closing_in(text: str) -> Closing | None:
    """The closing that a text says, None if it says none.

    Raises:
        NotUnderstoodError: Its note is too long.
    """
    match = _CLOSING.fullmatch(plain(text))
    if match is None:
        return None
    note = match["note"] or ""
    if len(note.encode()) > _MOST_NOTE:
        raise NotUnderstoodError(f"That note is too long: at most {_MOST_NOTE} letters")
    verdict = match["verdict"].lower().replace(" ", "_")
    return Closing(verdict, bool(match["word"]), note)


def verdicts(*, repaired: bool) -> tuple[str, ...]:
    """The words that may close a job.

    Args:
        repaired: Whether a repair is recorded.
    """
    return WITH_REPAIR if repaired else WITHOUT_REPAIR


def step_of(check: Check) -> Step:
    """The step that makes a check. It has no price: the job does not end without it."""
    if check.type == "drop":
        return Step(
            "reading",
            check.text,
            0,
            0,
            0,
            instrument=check.instrument,
            red=check.red,
            black=check.black,
            state=check.state,
            cautions=check.cautions,
        )
    return Step(
        "sign",
        check.text,
        0,
        0,
        0,
        component=check.part,
        sign=check.sign,
        state=check.state,
        cautions=check.cautions,
    )


def how_to_answer(check: Check) -> str:
    """How to answer a check, "" as the step that makes it is answered."""
    return "the volts it shows, such as 20 mV" if check.type == "drop" else ""


def passes(check: Check) -> str:
    """What passes a check, in words."""
    if check.type == "drop":
        return f"at most {check.limit_volt:.3g} V passes"
    return f"{check.expected} passes"


def tries(entries: Iterable[Mapping[str, Any]], vocabulary: Vocabulary) -> list[str]:
    """How it went each time it was tried to drive since the last repair, in order."""
    run_state = vocabulary.moved(vocabulary.run_state)
    found: list[str] = []
    for entry in since_repair(entries):
        if {"lifted", "lead", "provoked", "isolated"} & set(entry):
            continue
        if vocabulary.moved(entry.get("state", {})) != run_state:
            continue
        told = entry.get("when", {})
        if told.get("sign") == "turns":
            found += ["yes"] * int(told.get("after", 0)) if told["outcome"] == "no" else []
            found.append(str(told["outcome"]))
        if entry["type"] == "sign" and entry["sign"] == "turns":
            for word, times in entry.get("tries", {entry.get("outcome"): 1}).items():
                found += [str(word)] * times if word in ("yes", "no", "chatters") else []
    return found


def since_repair(entries: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The entries after the last repair, all if there is none."""
    found: list[Mapping[str, Any]] = []
    for entry in entries:
        found.append(entry)
        if entry["type"] == "repair":
            found.clear()
    return found
