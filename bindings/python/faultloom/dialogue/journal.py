"""The job document as it grows: entries added, taken back, steps set aside; nothing is erased."""

from __future__ import annotations

import copy
import json
import re
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any, Self

from faultloom.dialogue.own import EntryData
from faultloom.dialogue.questions import WITH

_ASIDE = "x-set-aside"
_ANSWERED = "answered"
_CLOSINGS = "x-earlier-closings"
_NUMBERED = re.compile(r"e(\d{1,9})")
_NO_ID = re.compile(r"[^A-Za-z0-9_-]+")
_LONGEST_ID = 64
_LONGEST_TITLE = 60


class Journal:
    """A job document and what may be done to it. Changes give a new journal and leave this one.

    Args:
        document: The job document.
    """

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.document = document

    @classmethod
    def begun(cls, name: str, vehicle: str, instruments: Iterable[str] | None) -> Self:
        """A job with nothing in it.

        Args:
            name: What to call it; becomes an id.
            vehicle: Id of the vehicle.
            instruments: Ids of those at hand, None for all.
        """
        job: dict[str, Any] = {
            "format": "faultloom.job",
            "version": "1.0",
            "id": job_id(name),
            "vehicle": vehicle,
        }
        if instruments:
            job["instruments"] = sorted(set(instruments))
        return cls({**job, "entries": []})

    @property
    def text(self) -> str:
        """The document as it is written."""
        return json.dumps(self.document, indent=2, ensure_ascii=False) + "\n"

    @property
    def entries(self) -> list[EntryData]:
        """Entries that count, in order."""
        withdrawn = set(self.document.get("withdrawn", []))
        return [entry for entry in self.document["entries"] if entry["id"] not in withdrawn]

    @property
    def aside(self) -> set[str]:
        """Keys of the steps that were set aside; of answered ones, until something is added."""
        count = len(self.document["entries"])
        return {
            item["step"]
            for item in _asides(self.document)
            if not item.get(_ANSWERED) or item["after"] == count
        }

    @property
    def verdict(self) -> str:
        """How the job was closed, "" if it is open."""
        return str(self.document.get("closing", {}).get("verdict", ""))

    @property
    def repaired(self) -> bool:
        """Whether a repair is recorded."""
        return any(entry["type"] == "repair" for entry in self.entries)

    @property
    def started(self) -> bool:
        """Whether anything was found or put aside, so that the opening questions are over."""
        return bool(self.document["entries"] or self.aside)

    def with_complaint(self, complaint: str) -> Journal:
        """The job with what the driver says; "" says that nothing is known."""
        changed = self._copy()
        changed["complaint"] = complaint
        if complaint and "title" not in changed:
            changed["title"] = textwrap.shorten(complaint, _LONGEST_TITLE, placeholder=" ...")
        # Entries stay last, where they are looked for.
        changed["entries"] = changed.pop("entries")
        return Journal(changed)

    def with_entries(self, entries: Iterable[EntryData]) -> Journal:
        """The job with more entries, which get their ids.

        Those that come along with the first (`WITH`) are marked, to be taken back with it.
        """
        added_ones = list(entries)
        if not added_ones:
            return self
        changed = self._reopened()
        first = ""
        for entry in added_ones:
            name = _next_id(changed["entries"])
            members = {key: value for key, value in entry.items() if key != WITH}
            added = {"id": name, **members}
            if WITH in entry and first:
                added[WITH] = first
            first = first or name
            changed["entries"].append(added)
        return Journal(changed)

    def with_zones(self, zones: Iterable[str]) -> Journal:
        """The job with more places open."""
        opened = list(self.document.get("opened_zones", []))
        new = [zone for zone in dict.fromkeys(zones) if zone not in opened]
        if not new:
            return self
        changed = self._copy()
        changed["opened_zones"] = opened + new
        changed["entries"] = changed.pop("entries")
        return Journal(changed)

    def with_aside(self, key: str, *, answered: bool) -> Journal:
        """The job with a step that is not to be proposed again.

        Args:
            key: Of the step.
            answered: Whether the last entries answer it.
        """
        changed = self._copy()
        item: dict[str, Any] = {"step": key, "after": len(changed["entries"])}
        if answered:
            item[_ANSWERED] = True
        changed[_ASIDE] = [*_asides(changed), item]
        changed["entries"] = changed.pop("entries")
        return Journal(changed)

    def undone(self) -> tuple[Journal, list[str]] | None:
        """The job without its last answer, and ids of the entries or the step taken back.

        None if there is nothing to take back.
        """
        withdrawn = list(self.document.get("withdrawn", []))
        rows = self.document["entries"]
        last = next((i for i in reversed(range(len(rows))) if rows[i]["id"] not in withdrawn), -1)
        changed = self._reopened()
        aside = _asides(changed)
        if aside and aside[-1]["after"] > last:
            taken = aside.pop()
            changed[_ASIDE] = aside
            # A step that was answered and set aside in one is taken back in one.
            if not taken.get(_ANSWERED):
                return Journal(changed), []
        if last < 0:
            return None
        head = rows[last].get(WITH, rows[last]["id"])
        taken_back = [
            row["id"]
            for row in rows
            if row["id"] not in withdrawn and head in (row["id"], row.get(WITH))
        ]
        changed["withdrawn"] = withdrawn + taken_back
        return Journal(changed), taken_back

    def _reopened(self) -> dict[str, Any]:
        """A copy that is not closed: what a closing says holds for what was found before it."""
        changed = self._copy()
        closing = changed.pop("closing", None)
        if closing is not None:
            earlier = changed.get(_CLOSINGS)
            changed[_CLOSINGS] = [*(earlier if isinstance(earlier, list) else []), closing]
            changed["entries"] = changed.pop("entries")
        return changed

    def _copy(self) -> dict[str, Any]:
        return copy.deepcopy(dict(self.document))


def job_id(name: str) -> str:
    """An id from any name."""
    made = _NO_ID.sub("-", name).strip("-")
    if not made[:1].isalpha():
        made = f"job-{made}".rstrip("-")
    return made[:_LONGEST_ID]


def _next_id(entries: list[EntryData]) -> str:
    taken = [int(match[1]) for entry in entries if (match := _NUMBERED.fullmatch(entry["id"]))]
    return f"e{max(taken, default=0) + 1}"


def _asides(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Steps set aside; extensions are not checked by the schema, so odd ones are left out here."""
    found = document.get(_ASIDE)
    return [
        item
        for item in (found if isinstance(found, list) else [])
        if isinstance(item, dict)
        and isinstance(item.get("step"), str)
        and isinstance(item.get("after"), int)
    ]
