"""From a list of open complaints to an order of work, a load for the van and common causes."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultloom.documents import Document
from faultloom.errors import Code, Error, Problem
from faultloom.fleet.clusters import Standing, clusters_of
from faultloom.fleet.costs import Needs, Terms, needs_of, shares_of
from faultloom.fleet.document import Fleet, SetAside, Unit, fleet_of
from faultloom.fleet.jobs import Kind, Ready, Texts, item_names, kinds_of, make_ready
from faultloom.fleet.order import (
    BY_VALUE,
    FIRST,
    QUICK,
    Task,
    as_they_came,
    downtime_usd,
    in_order,
    scheduled,
)
from faultloom.fleet.ranking import Belief, Chunk, chunks_of, executor_of, results_of
from faultloom.fleet.result import Rated, Suspect, Triage
from faultloom.fleet.table import read_table
from faultloom.fleet.van import van_list
from faultloom.model import Progress
from faultloom.pages.parts import rate_of

if TYPE_CHECKING:
    from concurrent.futures import Executor

_CHUNK = 8


def load_fleet(source: Document) -> Fleet:
    """A yard's vehicles and open complaints.

    Args:
        source: Fleet document as a path, JSON text or parsed object, or the path of a table that
            ends in .csv.

    Raises:
        Error: With every problem of the document; of a table only if its first row is no good.
            Other bad rows are in `Fleet.set_aside`.
        OSError: It can't be read.

    Example:
        >>> fleet = load_fleet({
        ...     "format": "faultloom.fleet", "version": "1.0",
        ...     "vehicles": [{"id": "T1", "vehicle": "mulch-tug", "complaint": "dead"}],
        ... })
        >>> [unit.id for unit in fleet.waiting]
        ['T1']
    """
    named = isinstance(source, str | os.PathLike) and str(source).lower().endswith(".csv")
    if named:
        assert isinstance(source, str | os.PathLike)
        return read_table(source)
    return fleet_of(source)


def triage(
    fleet: Fleet | Document,
    *,
    terms: Terms | None = None,
    advise: bool = False,
    kinds: Document | None = None,
    rates: Document | None = None,
    instruments: Document | None = None,
    cautions: Document | None = None,
    client: Any = None,
    chunk: int | None = None,
    budget_sets: int | None = None,
    quick: bool = False,
    seed: int = 0,
    keep_partial: bool = False,
    progress: Progress | None = None,
) -> Triage:
    """Ranks the suspects of every vehicle that waits, and says in which order to take them.

    Args:
        fleet: What `load_fleet` gives, or what it takes.
        terms: Number of technicians, minutes, prices, shares; `Terms()` if None.
        advise: Whether money is the expected cost of the next step and all after it, which takes
            some tenths of a second a vehicle; otherwise it is reckoned from the chances.
        kinds: Part kinds; the shipped ones if None. The same goes for the next three.
        rates: Failure rates.
        instruments: Instruments and how they err.
        cautions: Texts of the cautions.
        client: Where the work is done: a client of Dask `distributed`, or any executor of
            `concurrent.futures`; in this process if None. The answer is the same.
        chunk: Jobs done in one go; 8 if None, 1 with `advise`.
        budget_sets: Sets of faults to look at for each job, as for `Model.rank`.
        quick: Whether jobs are only looked up in tables, as with `full=False` in `Model.rank_jobs`:
            thousands in seconds, but rough where `Rated.bound` is large.
        seed: For the common causes.
        keep_partial: Whether Ctrl-C, or a `progress` that returns False, ends the ranking and
            leaves what is done; `Triage.missing` then says what is not.
        progress: Watches the work.

    Raises:
        Error: With every problem of the documents; value, when no vehicle waits or `terms` are out
            of range; cancelled, when `progress` says stop and `keep_partial` is not set.
        KeyboardInterrupt: Ctrl-C, unless `keep_partial` is set.
    """
    given = fleet if isinstance(fleet, Fleet) else load_fleet(fleet)
    used = terms or Terms()
    _check(used)
    if given.labour_usd_per_hour is None:
        given = replace(given, labour_usd_per_hour=used.labour_usd_per_hour)
    watch = progress or (lambda _: None)
    others = (kinds, rates, instruments, cautions)
    by_path = kinds_of(given.units, others, lambda: watch(0.0))
    ready, refused = make_ready(given, by_path)
    aside = (*given.set_aside, *refused)
    run = _Run(ready, chunk or (1 if advise else _CHUNK), advise, budget_sets, quick)
    stopped = run.go(executor_of(client), watch)
    if stopped and not keep_partial:
        if isinstance(stopped, KeyboardInterrupt):
            raise stopped
        raise Error([Problem(int(Code.CANCELLED), "cancelled", "Stopped by the caller", "")])
    return _summed(given, by_path, run, aside, used, seed=seed, interrupted=stopped is not None)


def _check(terms: Terms) -> None:
    ranges: Mapping[str, tuple[float, float]] = {
        "technicians": (1, 1000),
        "van_share": (0, 1),
        "false_rate": (0, 1),
        "quick_share": (0, 1),
        "working_hours": (0.5, 24),
        "day_starts_hour": (0, 24),
        "window_days": (1, 3650),
        "van_visits": (1, 500),
        "van_trips_per_year": (1, 100000),
    }
    problems = []
    for name in Terms.__dataclass_fields__:
        least, most = ranges.get(name, (0, 1e9))
        value = getattr(terms, name)
        if not least <= value <= most:
            line = f"'{name}' is {value:g}; give {least:g} to {most:g}"
            problems.append(Problem(int(Code.VALUE), "value", line, f"/{name}"))
    if problems:
        raise Error(problems)


class _StopError(Exception):
    """The caller wants no more."""


@dataclass
class _Run:
    """The ranking of all jobs, as far as it gets.

    Attributes:
        beliefs: What was found of each job, by its number.
        blanks: The same of vehicles of which nothing is known but that they do not drive, by job.
    """

    ready: Sequence[Ready]
    size: int
    advise: bool
    budget_sets: int | None
    quick: bool
    beliefs: dict[int, Belief] = field(default_factory=dict)
    blanks: dict[tuple[Path, str], Belief] = field(default_factory=dict)
    _done: int = 0
    _total: int = 1

    def go(self, executor: Executor | None, watch: Progress) -> BaseException | None:
        """Ranks all jobs; gives back what stopped it."""
        blanks = list(dict.fromkeys((r.kind.path, r.blank) for r in self.ready))
        texts = {r.kind.path: r.kind.texts for r in self.ready}
        own = [(ready.kind.texts, ready.job) for ready in self.ready]
        alike = [(texts[path], job) for path, job in blanks]
        count = len(own)
        # The vehicles themselves first: common causes are what can best be done without.
        chunks = [
            *self._chunks(own, 0, advise=self.advise),
            *self._chunks(alike, count, advise=False),
        ]
        self._total = len(blanks) + len(own)
        try:
            for rows in results_of(chunks, executor, lambda more: self._say(watch, more)):
                for number, belief in rows:
                    if number < count:
                        self.beliefs[number] = belief
                    else:
                        self.blanks[blanks[number - count]] = belief
                self._done += len(rows)
                self._say(watch, 0)
        except (KeyboardInterrupt, _StopError) as stop:
            return stop
        return None

    def _chunks(
        self, jobs: Sequence[tuple[Texts, str]], first: int, *, advise: bool
    ) -> list[Chunk]:
        return chunks_of(
            jobs,
            self.size,
            first=first,
            advise=advise,
            budget_sets=self.budget_sets,
            quick=self.quick,
        )

    def _say(self, watch: Progress, more: float) -> None:
        if watch((self._done + more) / self._total) is False:
            raise _StopError


# -- from beliefs to answers -----------------------------------------------------------------------


def _summed(
    fleet: Fleet,
    kinds: Mapping[Path, Kind],
    run: _Run,
    aside: tuple[SetAside, ...],
    terms: Terms,
    *,
    seed: int,
    interrupted: bool,
) -> Triage:
    rated, tasks = [], []
    needs: dict[str, Needs] = {}
    standings = [_running(u, kinds[u.vehicle]) for u in fleet.units if not u.waits]
    names = item_names(kinds.values())
    for number, ready in enumerate(run.ready):
        belief = run.beliefs.get(number)
        if belief is None:
            continue
        if belief.status == "failed":
            row = fleet.rows.get(ready.unit.where, {})
            aside = (*aside, SetAside(ready.unit.id, ready.unit.where, belief.problems, row))
            continue
        labour = rate_of(json.loads(ready.job))
        need = needs_of(belief, ready.kind, ready.kind.priors(ready.job), labour, terms)
        hourly = _downtime(ready.unit, fleet, terms)
        rated.append(_rated(ready, belief, need, hourly, names))
        tasks.append(_task(ready.unit, need, hourly, terms))
        needs[ready.unit.id] = need
        if (blank := run.blanks.get((ready.kind.path, ready.blank))) is not None:
            standings.append(_waiting(ready, need, belief, blank))
    order = scheduled(in_order(tasks), terms, fleet.begins)
    round_ = [needs[slot.id] for slot in order[: terms.van_visits]]
    came = scheduled(as_they_came(tasks), terms, fleet.begins)
    parts = [r for k in kinds.values() for r in k.repairs.values() if r.item]
    prices = {r.item: r.price_usd for r in parts}
    return Triage(
        title=fleet.title,
        begins=fleet.begins,
        terms=terms,
        vehicles=len(fleet.units),
        jobs=tuple(rated),
        order=tuple(order),
        downtime_usd=downtime_usd(order),
        as_they_came_usd=downtime_usd(came),
        van=van_list(round_, prices, terms, fleet.labour_usd_per_hour, names) if round_ else None,
        clusters=tuple(clusters_of(standings, terms, seed)),
        cause_titles={c: t for k in kinds.values() for c, t in k.cause_titles.items()},
        set_aside=tuple(sorted(aside, key=lambda row: int(re.sub(r"\D", "", row.where)))),
        columns=fleet.columns,
        missing=tuple(r.unit.id for i, r in enumerate(run.ready) if i not in run.beliefs),
        interrupted=interrupted,
    )


def _downtime(unit: Unit, fleet: Fleet, terms: Terms) -> float:
    """What a working hour without a vehicle costs [USD/h]."""
    if unit.downtime_usd_per_hour is not None:
        return unit.downtime_usd_per_hour
    if unit.downtime_usd_per_day is not None:
        return unit.downtime_usd_per_day / terms.working_hours
    if fleet.downtime_usd_per_hour is not None:
        return fleet.downtime_usd_per_hour
    return terms.downtime_usd_per_day / terms.working_hours


def _task(unit: Unit, need: Needs, hourly: float, terms: Terms) -> Task:
    rank = QUICK if need.quick >= terms.quick_share else BY_VALUE
    if unit.unsafe or unit.blocking:
        rank = FIRST
    return Task(unit.id, need.minutes, hourly, rank, unit.needed_by, unit.complained)


def _rated(
    ready: Ready, belief: Belief, need: Needs, hourly: float, names: Mapping[str, str]
) -> Rated:
    suspects = []
    for component, share in need.causes.items():
        repair = ready.kind.repairs[component]
        suspects.append(
            Suspect(
                component,
                repair.title,
                share,
                repair.minutes,
                repair.price_usd,
                names.get(repair.item, ""),
            )
        )
    return Rated(
        id=ready.unit.id,
        vehicle=ready.kind.id,
        status=belief.status,
        complaint=ready.unit.complaint,
        suspects=tuple(suspects),
        nothing=need.nothing,
        unknown=need.unknown,
        bound=belief.bound,
        minutes=need.minutes,
        parts_usd=need.parts_usd,
        cost_usd=need.cost_usd,
        quick=need.quick,
        downtime_usd_per_hour=hourly,
        by=need.by,
        next_step=belief.next_text,
        unsafe=ready.unit.unsafe,
        blocking=ready.unit.blocking,
    )


def _running(unit: Unit, kind: Kind) -> Standing:
    return Standing(unit.id, {**unit.traits, "vehicle": kind.id})


def _waiting(ready: Ready, need: Needs, belief: Belief, blank: Belief) -> Standing:
    kind, unit = ready.kind, ready.unit
    rates = shares_of(blank, kind, kind.priors(ready.blank))
    return Standing(
        unit.id,
        {**unit.traits, "vehicle": kind.id},
        _by_cause(need.modes, kind),
        _by_cause(rates, kind),
        _by_cause(belief.modes, kind),
        _by_cause(blank.modes, kind),
        unit.complained,
        waits=True,
    )


def _by_cause(modes: Mapping[str, float], kind: Kind) -> dict[str, float]:
    """Chances by kind of component, and by kind and mode."""
    causes: dict[str, float] = {}
    for name, share in modes.items():
        for cause in kind.causes_of(name):
            causes[cause] = causes.get(cause, 0.0) + share
    return causes
