"""The sheet of a job: complaint, cause, correction, and everything that proves them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Self

from faultloom._show import merged_suspects
from faultloom._words import Names, lower_first, percent, words
from faultloom.answers import Advice, Caution, Ranking, Suspect
from faultloom.documents import Document, data_path, text_of
from faultloom.model import Model
from faultloom.pages.found import findings
from faultloom.pages.marks import entries_of, marks_of
from faultloom.pages.parts import Work, rate_of, work_on
from faultloom.pages.render import render
from faultloom.pages.svg import harness_drawing
from faultloom.pages.symbols import Kinds
from faultloom.proof import Verification

WORTH_NAMING = 0.05  # probability of a suspect that is named in words [1]
MOST_NAMED = 5

_SERIOUS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
VERDICTS = {
    "repaired": "Repaired",
    "fixed_itself": "Runs again, and nothing was done that could have mended it",
    "no_fault_found": "Runs, and no fault was found",
    "not_repaired": "Not repaired: stays out of service",
    "": "Open",
}
_DECIDED = {
    "verification": "Every check on this sheet was made and passed.",
    "word": "The technician answers for checks that were not made; interlocks were proved.",
    "": "Nobody has decided yet: the job is open.",
}


@dataclass(frozen=True, slots=True)
class Sources:
    """What pages are made of.

    Attributes:
        job: The job as an object.
        vehicle: The vehicle document.
        kinds: Member "kinds" of the kinds document.
        names: Titles of what these name.
    """

    job: Mapping[str, Any]
    vehicle: Mapping[str, Any]
    kinds: Kinds
    names: Names

    @classmethod
    def of(
        cls,
        job: Document,
        vehicle: Document,
        model: Model,
        *,
        kinds: Document | None = None,
        instruments: Document | None = None,
    ) -> Self:
        """Reads what pages are made of; nothing is checked that the model has not checked.

        Args:
            job: The job.
            vehicle: The vehicle document that the model was made from.
            model: The vehicle, for the titles of its components.
            kinds: Those the model was made with; the shipped ones if None.
            instruments: The same.

        Raises:
            OSError: A path can't be read.
            Error: A journal can't be read.
        """
        data = data_path()
        texts = (
            job,
            vehicle,
            kinds or data / "kinds.json",
            instruments or data / "instruments.json",
        )
        read = [json.loads(text_of(text)) for text in texts]
        return cls(read[0], read[1], read[2]["kinds"], Names(read[1], read[3], model.summary()))


def job_sheet(
    sources: Sources,
    ranking: Ranking,
    verification: Verification,
    advice: Advice | None = None,
) -> str:
    """The sheet of a job as one HTML page that asks for nothing from outside.

    Args:
        sources: Job and vehicle.
        ranking: Of the job.
        verification: Of the job.
        advice: The next step of an open job, None if there is none.
    """
    job, names = sources.job, sources.names
    closing = job.get("closing", {})
    work = works(sources)
    notes = {entry["id"]: entry.get("note", "") for entry in entries_of(job)}
    cautions = [c for check in verification.checks for c in check.cautions]
    if advice is not None:
        cautions += advice.step.cautions
    values: dict[str, object] = {
        "job": job,
        "title": job.get("title") or job["id"],
        "vehicle": names.vehicle,
        "status": VERDICTS.get(closing.get("verdict", ""), ""),
        "complaint": job.get("complaint", ""),
        "causes": _causes(ranking, names),
        "settled": bool(ranking.repairs),
        "corrections": [
            (names.component_in_words(w.component), words(w.action), notes.get(entry, ""))
            for entry, w in work
        ],
        "next_step": advice.step if advice is not None else None,
        "findings": findings(job, ranking, names, sources.vehicle, sources.kinds),
        "checks": verification.checks,
        "earlier": [
            (w.title, w.probability, ", ".join(lower_first(m.title) for m in w.modes))
            for w in verification.earlier_work
        ],
        "work": [(names.component_in_words(w.component), w) for _, w in work],
        "rate": rate_of(job),
        "minutes_in_all": sum(w.minutes + w.zone_minutes for _, w in work),
        "total_usd": sum(w.total_usd for _, w in work),
        "cautions": in_order(cautions),
        "decided": _DECIDED.get(closing.get("by", ""), ""),
        "closing_note": closing.get("note", ""),
    }
    return render("sheet.html", values, suspects_drawing(sources, ranking))


def suspects_drawing(sources: Sources, ranking: Ranking) -> str:
    """The part of the harness that the job is about, for use inside a page."""
    marks = marks_of(ranking, sources.job)
    return harness_drawing(sources.vehicle, sources.kinds, marks, suspects_only=True, styled=False)


def in_order(cautions: Iterable[Caution]) -> list[Caution]:
    """Each caution once, the most serious first."""
    once = {caution.id: caution for caution in cautions}
    known = {word: place for place, word in enumerate(_SERIOUS)}
    return sorted(once.values(), key=lambda c: known.get(c.signal_word, len(known)))


def works(sources: Sources) -> list[tuple[str, Work]]:
    """Repairs made, each with its entry; a place that was opened stays open."""
    opened: set[str] = set()
    rows = []
    for entry in entries_of(sources.job):
        if entry["type"] != "repair":
            continue
        component = entry["component"]
        work = work_on(
            component,
            entry.get("action", ""),
            vehicle=sources.vehicle,
            kinds=sources.kinds,
            job=sources.job,
            opened=opened,
        )
        opened.add(work.zone)
        rows.append((entry["id"], work))
    return rows


def leading(ranking: Ranking) -> list[Suspect]:
    """Suspects worth naming, likeliest first."""
    rows = [s for s in merged_suspects(ranking) if s.probability >= WORTH_NAMING]
    return rows[:MOST_NAMED]


def _causes(ranking: Ranking, names: Names) -> list[str]:
    """What was the matter if something was repaired, else what probably is."""
    if ranking.repairs:
        return [
            f"{names.component_in_words(repair.id)}, faulty until repaired: "
            f"{percent(repair.was_faulty)}" + _ways([m.title for m in repair.modes[:3]])
            for repair in ranking.repairs
        ]
    return [
        f"{names.component_in_words(s.id)}: {percent(s.probability)}"
        + _ways([m.title for m in s.modes[:2]])
        for s in leading(ranking)
    ]


def _ways(titles: list[str]) -> str:
    return f" ({', or '.join(lower_first(title) for title in titles)})" if titles else ""
