"""What is marked on a drawing: suspects with their probability, entries where they were taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from faultloom._words import lower_first, ohms, percent, volts, words
from faultloom.answers import Ranking
from faultloom.pages.text import clean

# From where on a step of the scale holds [1].
STEPS = (0.02, 0.10, 0.25, 0.50, 0.80)


def step_of(share: float) -> int:
    """Step of the scale, 1..5; 0 below the first."""
    return sum(share >= least for least in STEPS)


@dataclass(frozen=True, slots=True)
class Probe:
    """A reading at a terminal.

    Attributes:
        entry: Id of the entry.
        sign: "+" for the red probe, "-" for the black one.
        value: What was shown, at the red probe only.
    """

    entry: str
    sign: str
    value: str = ""


@dataclass(slots=True)
class Marks:
    """Everything marked.

    Attributes:
        shares: Probability by suspect; wires stand for their ends too.
        probed: Readings by terminal.
        notes: Lines by part, wire or pin: signs, looks, repairs, clamp readings.
        outside: What has no place in a harness, in words with its probability.
    """

    shares: dict[str, float] = field(default_factory=dict)
    probed: dict[str, list[Probe]] = field(default_factory=dict)
    notes: dict[str, list[str]] = field(default_factory=dict)
    outside: list[tuple[str, float]] = field(default_factory=list)

    def leading(self) -> list[tuple[str, float]]:
        """Suspects, likeliest first."""
        return sorted(self.shares.items(), key=lambda item: (-item[1], item[0]))

    def share(self, name: str) -> str:
        """The probability in words, "" if it is below the scale."""
        value = self.shares.get(name, 0)
        return percent(value) if step_of(value) else ""


def value_of(entry: Mapping[str, Any]) -> str:
    """What an entry of a job found, in few words."""
    if "volts" in entry:
        return volts(entry["volts"])
    if "ohms" in entry:
        return ohms(entry["ohms"])
    if "amps" in entry:
        return f"{entry['amps']:.3g} A"
    if "tries" in entry:
        tries = entry["tries"]
        return ", ".join(
            f"{count} {answer}" for answer, count in tries.items() if isinstance(count, int)
        )
    return words(str(entry.get("outcome", entry.get("action", ""))))


def entries_of(job: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Entries of a job that were not taken back."""
    gone = set(job.get("withdrawn", []))
    return [entry for entry in job.get("entries", []) if entry["id"] not in gone]


def cut_after(job: Mapping[str, Any], entry: str) -> dict[str, Any]:
    """The job as it stood after an entry: later ones and the closing left out.

    Raises:
        ValueError: There is no such entry.
    """
    ids = [row["id"] for row in job.get("entries", [])]
    if entry not in ids:
        known = ", ".join(ids) or "none"
        raise ValueError(f"There is no entry '{entry}'; there is {known}")
    kept = job["entries"][: ids.index(entry) + 1]
    names = {row["id"] for row in kept}
    cut = {key: value for key, value in job.items() if key != "closing"}
    cut["entries"] = kept
    if "withdrawn" in job:
        cut["withdrawn"] = [name for name in job["withdrawn"] if name in names]
    return cut


def marks_of(ranking: Ranking | None, job: Mapping[str, Any] | None) -> Marks:
    """What a job marks.

    Args:
        ranking: Of the job, None to mark no suspects.
        job: The job, None to mark no entries.
    """
    marks = Marks()
    if ranking is not None:
        wires = {wire.id: wire.probability for wire in ranking.wires}
        for suspect in ranking.components:
            base, _, end = suspect.id.partition(":")
            # What earlier hands did is at the part; the end of a wire is the wire's.
            if end not in ("from", "to") and base not in wires:
                before = marks.shares.get(base, 0)
                marks.shares[base] = max(before, suspect.probability)
        marks.shares.update(wires)
        marks.outside = [
            ("Nothing is broken", ranking.no_fault),
            ("Not in the model", ranking.not_in_model),
        ]
    for entry in entries_of(job) if job else ():
        _mark(marks, entry)
    return marks


def _mark(marks: Marks, entry: Mapping[str, Any]) -> None:
    name, value = clean(entry["id"]), clean(value_of(entry))
    if entry["type"] == "reading" and "red" in entry:
        marks.probed.setdefault(entry["red"], []).append(Probe(name, "+", value))
        marks.probed.setdefault(entry["black"], []).append(Probe(name, "-"))
    elif entry["type"] == "reading":
        _note(marks, entry["wire"], [f"{name} {value}"])
    elif entry["type"] == "sign":
        sign = lower_first(words(entry["sign"]))
        _note(marks, entry["part"], [f"{name} {sign}: {value}"])
    elif entry["type"] in ("look", "repair") and "component" in entry:
        base = entry["component"].partition(":")[0]
        _note(marks, base, [f"{name} {value or 'repaired'}"])


def _note(marks: Marks, name: str, lines: Iterable[str]) -> None:
    marks.notes.setdefault(name, []).extend(map(clean, lines))
