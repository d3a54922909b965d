"""Entries of a job as rows of a page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from faultloom._words import Names, lower_first, percent, words
from faultloom.answers import Entry, Ranking
from faultloom.pages.marks import entries_of, value_of
from faultloom.pages.symbols import Kinds, whole_kind

DOUBTFUL = 0.15  # probability of a misreading from which on it is said [1]


@dataclass(frozen=True, slots=True)
class Finding:
    """A row of what was found.

    Attributes:
        id: Of the entry.
        found: What was found and where.
        using: Instrument, or how else it was found.
        state: How the controls stood, and what was taken off.
        note: Free words of the entry.
        doubt: What speaks for a misreading, "" if nothing does.
    """

    id: str
    found: str
    using: str
    state: str
    note: str
    doubt: str


def findings(
    job: Mapping[str, Any],
    ranking: Ranking,
    names: Names,
    vehicle: Mapping[str, Any],
    kinds: Kinds,
) -> list[Finding]:
    """Everything noted in a job but repairs, in order; what was taken back is left out."""
    judged = {entry.id: entry for entry in ranking.entries}
    return [
        Finding(
            entry["id"],
            _found(entry, names, vehicle, kinds),
            _using(entry, names),
            _state(entry, names, vehicle),
            entry.get("note", ""),
            _doubt(judged.get(entry["id"])),
        )
        for entry in entries_of(job)
        if entry["type"] != "repair"
    ]


def _found(entry: Mapping[str, Any], names: Names, vehicle: Mapping[str, Any], kinds: Kinds) -> str:
    value = value_of(entry)
    if entry["type"] == "reading" and "red" in entry:
        return f"{value}: red {entry['red']}, black {entry['black']}"
    if entry["type"] == "reading":
        return f"{value}: clamp around {entry['wire']}"
    if entry["type"] == "sign":
        part = vehicle.get("parts", {}).get(entry["part"], {})
        _, whole = whole_kind(kinds, part.get("kind", ""))
        title = whole.get("signs", {}).get(entry["sign"], {}).get("title", words(entry["sign"]))
        return f"{value}: {lower_first(title)} ({entry['part']})"
    if entry["type"] == "look":
        component = entry["component"]
        return f"{value}: {names.component_in_words(component)}"
    return f"{value}: {words(entry.get('cue', entry['type']))}"


def _using(entry: Mapping[str, Any], names: Names) -> str:
    if entry["type"] == "reading":
        return names.instrument(entry["instrument"])
    return {"sign": "watched and listened", "look": "looked at", "cue": "told"}[entry["type"]]


def _state(entry: Mapping[str, Any], names: Names, vehicle: Mapping[str, Any]) -> str:
    if entry["type"] not in ("reading", "sign"):
        return ""
    said = names.settings_of(entry.get("state", {})) or ["all at rest"]
    if entry.get("isolated"):
        ends = ", ".join(vehicle.get("isolation", {}).get("lift", []))
        said.append(f"pack taken off ({ends})")
    if lifted := entry.get("lifted"):
        said.append("taken off: " + ", ".join(lifted))
    if lead := entry.get("lead"):
        said.append("fused lead from " + " to ".join(lead))
    if told := entry.get("when"):
        said.append(_when_text(told))
    if moved := entry.get("provoked"):
        said.append(f"{words(moved['how'])} in {names.zone(moved['zone'])}")
    return "; ".join(said)


def _when_text(told: Mapping[str, Any]) -> str:
    """When it was noticed: "when M1 turns: no, after 4 other tries"."""
    before = int(told.get("after", 0))
    tries = f", after {before} other {'try' if before == 1 else 'tries'}" if before else ""
    return f"when {told['part']} {words(told['sign'])}: {words(told['outcome'])}{tries}"


def _doubt(entry: Entry | None) -> str:
    if entry is None or entry.misreading is None or entry.misreading < DOUBTFUL:
        return ""
    like = f": {entry.looks_like}" if entry.looks_like else ""
    return f"perhaps misread, {percent(entry.misreading)}{like}"
