"""Vehicles that wait, as jobs of their models: words made entries, everything checked."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from faultloom._words import lower_first
from faultloom.answers import Summary
from faultloom.dialogue.grammar import NotUnderstoodError
from faultloom.dialogue.own import OwnFindings
from faultloom.dialogue.vocabulary import Vocabulary
from faultloom.documents import Document, data_path, text_of
from faultloom.errors import Error
from faultloom.fleet.document import Fleet, SetAside, Unit
from faultloom.model import Model
from faultloom.pages.parts import work_on

Texts = tuple[str | bytes | None, ...]
"""The documents of a model in the order of its arguments."""


@lru_cache(maxsize=16)
def model_of(texts: Texts) -> Model:
    """The model of some documents, built once per process."""
    vehicle, *others = texts
    assert vehicle is not None
    return Model(vehicle, *others)


@dataclass(frozen=True, slots=True)
class Repair:
    """What it takes to put a component right.

    Attributes:
        component: Id of the component.
        title: What it is.
        kind: Id of its kind; of a setting the id of the control.
        action: What is done.
        minutes: Of the repair, opening and closing its place included [min].
        price_usd: Of the part or material [USD].
        item: Name of what has to be in the van, "" if nothing has to.
    """

    component: str
    title: str
    kind: str
    action: str
    minutes: float
    price_usd: float
    item: str


class Kind:
    """A kind of vehicle in the yard: its model, and what its repairs take.

    Args:
        path: Vehicle document.
        others: The other documents of the model, in their order; None for shipped ones.

    Raises:
        Error: With every problem of the documents.
        OSError: The document can't be read.
    """

    def __init__(self, path: Path, others: Sequence[Document | None]) -> None:
        given = [None if document is None else text_of(document) for document in others]
        self.texts: Texts = (text_of(path), *given)
        self.path = path
        self.model = model_of(self.texts)
        self.vehicle: dict[str, Any] = json.loads(self.texts[0] or "")
        kinds = given[0] or (data_path() / "kinds.json").read_bytes()
        instruments = given[2] or (data_path() / "instruments.json").read_bytes()
        self.id: str = self.vehicle["id"]
        self.title: str = self.vehicle.get("title", self.id)
        self.modes = self.model.modes
        self._priors: dict[str, NDArray[np.float64]] = {}
        summary = self.model.summary()
        signs = tuple(self.model.solve().signs)
        self.turning = tuple(s.rpartition(".")[0] for s in signs if s.endswith(".turns"))
        table = json.loads(kinds)["kinds"]
        self.repairs = {
            c.id: self._repair(c.id, c.title, c.kind, table) for c in summary.components
        }
        self.cause_titles = self._cause_titles(summary, table)
        self._words = OwnFindings(
            Vocabulary(
                self.vehicle,
                json.loads(instruments),
                summary,
                self.model.terminals,
                signs,
            )
        )

    def entry(self, words: str) -> dict[str, Any]:
        """A finding in words as an entry.

        Raises:
            NotUnderstoodError: With everything that is missing or not understood.
        """
        return self._words.entry(words, {})

    def causes_of(self, mode: str) -> tuple[str, str]:
        """Kind of the component of a mode, and KIND/mode."""
        component, _, name = mode.rpartition("/")
        kind = self.repairs[component].kind
        return kind, f"{kind}/{name}"

    def _cause_titles(self, summary: Summary, table: Mapping[str, Any]) -> dict[str, str]:
        titles = {}
        for mode in summary["modes"]:
            kind, both = self.causes_of(mode["name"])
            control = self.vehicle.get("controls", {}).get(kind, {}).get("title")
            title = table.get(kind, {}).get("title", control or kind.replace("_", " "))
            titles[kind] = title
            titles[both] = f"{title}, {lower_first(mode['title'])}"
        return titles

    def priors(self, job: str) -> NDArray[np.float64]:
        """Chance of each mode before anything was found, kept by job.

        Raises:
            Error: With every problem of the job.
        """
        if job not in self._priors:
            self._priors[job] = self.model.mode_priors(job)
        return self._priors[job]

    def _repair(self, component: str, title: str, kind: str, table: dict[str, Any]) -> Repair:
        work = work_on(component, "", vehicle=self.vehicle, kinds=table, job={}, opened=())
        setting = component in self.vehicle.get("controls", {})
        carried = work.action == "replace" and not component.endswith(":work") and not setting
        return Repair(
            component,
            title,
            component if setting else kind,
            "set right" if setting else work.action,
            work.minutes + work.zone_minutes,
            work.part_usd,
            self._item(component, kind, table) if carried else "",
        )

    def _item(self, component: str, kind: str, table: dict[str, Any]) -> str:
        """A part in the store: one and the same on all vehicles where it has the same values."""
        part = self.vehicle.get("parts", {}).get(component, {})
        title = str(table.get(kind, {}).get("title", kind))
        values = json.dumps(part.get("parameters", {}), sort_keys=True)
        return f"{title}{_VALUES}{values}"


_VALUES = "\x1f"


def item_names(kinds: Iterable[Kind]) -> dict[str, str]:
    """How to ask for each part in the store, by its `Repair.item`.

    Parts of one title and different values are told apart by the vehicles they are for.
    """
    users: dict[str, list[str]] = {}
    yard = list(kinds)
    for kind in yard:
        for item in sorted({r.item for r in kind.repairs.values() if r.item}):
            users.setdefault(item, []).append(kind.id)
    titles = [item.partition(_VALUES)[0] for item in users]
    names = {}
    for item, vehicles in users.items():
        title = item.partition(_VALUES)[0]
        alone = titles.count(title) == 1 or len(vehicles) == len(yard)
        names[item] = title if alone else f"{title} for {', '.join(vehicles)}"
    return names


@dataclass(frozen=True, slots=True)
class Ready:
    """A vehicle that waits, as a job.

    Attributes:
        unit: The vehicle.
        kind: What kind of vehicle it is.
        job: Its job document.
        blank: The same vehicle, of which nothing is known but that it does not drive.
    """

    unit: Unit
    kind: Kind
    job: str
    blank: str


class _RefusedError(Exception):
    def __init__(self, lines: Iterable[str]) -> None:
        super().__init__()
        self.lines = tuple(lines)


def kinds_of(
    units: Iterable[Unit],
    others: Sequence[Document | None],
    heard: Callable[[], object] = lambda: None,
) -> dict[Path, Kind]:
    """The kinds of vehicles in a yard, by their documents.

    Args:
        units: The vehicles.
        others: Kinds, rates, instruments and cautions; None for the shipped ones.
        heard: Called after each.

    Raises:
        Error: With every problem of every vehicle document.
        OSError: One can't be read.
    """
    found: dict[Path, Kind] = {}
    problems = []
    for path in dict.fromkeys(unit.vehicle for unit in units):
        try:
            found[path] = Kind(path, others)
        except Error as error:
            problems += [replace(p, message=f"{path}: {p.message}") for p in error.problems]
        heard()
    if problems:
        raise Error(problems)
    return found


def make_ready(fleet: Fleet, kinds: Mapping[Path, Kind]) -> tuple[list[Ready], list[SetAside]]:
    """Jobs of the vehicles that wait, and those that can't be used, with what to do about them."""
    ready, refused = [], []
    for unit in fleet.waiting:
        kind = kinds[unit.vehicle]
        try:
            job = _job_of(unit, kind, fleet)
        except _RefusedError as no:
            row = fleet.rows.get(unit.where, {})
            refused.append(SetAside(unit.id, unit.where, no.lines, row))
            continue
        ready.append(Ready(unit, kind, json.dumps(job), json.dumps(_blank(job, kind))))
    return ready, refused


def _job_of(unit: Unit, kind: Kind, fleet: Fleet) -> dict[str, Any]:
    job = _own_job(unit)
    lines: list[str] = []
    job = {
        "format": "faultloom.job",
        "version": "1.0",
        **_given(unit, fleet),
        **job,
        "id": unit.id,
    }
    if job.setdefault("vehicle", kind.id) != kind.id:
        lines.append(f"The job is one of a '{job['vehicle']}', but the vehicle is a '{kind.id}'")
    entries = [dict(entry) for entry in job.setdefault("entries", [])]
    taken = {entry.get("id") for entry in entries}
    for i, words in enumerate(unit.found):
        name = next(n for n in (f"f{k}" for k in range(i + 1, 10000)) if n not in taken)
        try:
            entries.append({"id": name, **kind.entry(words)})
        except NotUnderstoodError as no:
            lines.append(f"found, '{words}': {no}")
        taken.add(name)
    if unit.job is None and not unit.drives:
        entries += _standing_still(kind, entries)
    job["entries"] = entries
    if not lines:
        try:
            kind.priors(json.dumps(job))
        except Error as error:
            lines += [str(problem) for problem in error.problems]
    if lines:
        raise _RefusedError(lines)
    return job


def _own_job(unit: Unit) -> dict[str, Any]:
    if unit.job is None:
        return {"entries": list(unit.entries)}
    try:
        job = json.loads(text_of(unit.job))
    except (OSError, ValueError, TypeError) as error:
        raise _RefusedError([f"job: Can't be read: {error}"]) from None
    if not isinstance(job, dict):
        raise _RefusedError(["job: This is no job document"])
    if "closing" in job:
        raise _RefusedError(["job: It is closed; leave it out, or open it again"])
    return job


def _given(unit: Unit, fleet: Fleet) -> dict[str, Any]:
    """Members of a job that the list gives, which the job's own go before."""
    members = {
        "complaint": unit.complaint,
        "exposure_hours": unit.exposure_hours,
        "environment": unit.environment,
        "labour_usd_per_hour": fleet.labour_usd_per_hour,
    }
    return {name: value for name, value in members.items() if value not in (None, "")}


def _blank(job: Mapping[str, Any], kind: Kind) -> dict[str, Any]:
    """The job with nothing but that no motor turns where it should.

    Hours are rounded to one digit, so that vehicles that ran about as long share one.
    """
    kept = ("format", "version", "vehicle", "environment")
    blank = {**{name: job[name] for name in kept if name in job}, "id": "blank"}
    if "exposure_hours" in job:
        blank["exposure_hours"] = float(f"{job['exposure_hours']:.1g}")
    return {**blank, "entries": _standing_still(kind, [])}


def _standing_still(kind: Kind, entries: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """That no motor turns in the run state, unless entries speak of that already."""
    spoken = {entry.get("part") for entry in entries if entry.get("sign") == "turns"}
    return [
        {
            "id": f"still{i + 1}",
            "type": "sign",
            "part": part,
            "sign": "turns",
            "state": kind.vehicle["run_state"],
            "outcome": "no",
        }
        for i, part in enumerate(kind.turning)
        if part not in spoken
    ]
