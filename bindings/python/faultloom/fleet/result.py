"""What comes of a triage."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any

from faultloom.fleet.clusters import Cluster
from faultloom.fleet.costs import Terms
from faultloom.fleet.document import SetAside
from faultloom.fleet.order import Slot
from faultloom.fleet.van import Part, VanList

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True, slots=True)
class Suspect:
    """A component that may be what stops a vehicle.

    Attributes:
        id: Id of the component.
        title: What it is.
        probability: Chance that it is the cause [1].
        minutes: To put it right, opening and closing its place included [min].
        price_usd: Of the part or material [USD].
        item: Name of the part in the store, "" if none is needed.
    """

    id: str
    title: str
    probability: float
    minutes: float
    price_usd: float
    item: str


@dataclass(frozen=True, slots=True)
class Rated:
    """A vehicle that waits, and what it probably takes.

    Attributes:
        id: Name of the vehicle.
        vehicle: Id of its vehicle document.
        status: "ranked", or "screened": looked at less closely.
        complaint: The driver's words.
        suspects: What may stop it, likeliest first.
        nothing: Chance that nothing is broken now [1].
        unknown: Chance of something outside the model [1].
        bound: At most so much chance lies in what was not looked at [1].
        minutes: Expected time, finding and proving included [min].
        parts_usd: Expected price of parts [USD].
        cost_usd: Expected price of time and parts [USD].
        quick: Chance that a few minutes mend it [1].
        downtime_usd_per_hour: What a working hour without it costs [USD/h].
        by: "belief" or "advice", see `Needs.by`.
        next_step: What to do first; "" if advice was not asked for.
        unsafe: A danger.
        blocking: In the way of others.
    """

    id: str
    vehicle: str
    status: str
    complaint: str
    suspects: tuple[Suspect, ...]
    nothing: float
    unknown: float
    bound: float
    minutes: float
    parts_usd: float
    cost_usd: float
    quick: float
    downtime_usd_per_hour: float
    by: str
    next_step: str
    unsafe: bool
    blocking: bool


@dataclass(frozen=True)
class Triage:
    """The answer to a list of open complaints.

    Attributes:
        title: Of the list.
        begins: When work begins; None if not given.
        terms: How time, parts and chance were reckoned.
        vehicles: How many vehicles the list has, those that run included.
        jobs: The vehicles that wait, in the order of the list.
        order: In which order to take them.
        downtime_usd: Cost of the vehicles standing until each is done, in that order [USD].
        as_they_came_usd: The same in the order of the complaints [USD].
        van: What to load; None if nothing was ranked.
        clusters: Common causes, most certain first.
        cause_titles: Causes of clusters in words.
        set_aside: What could not be used, and why.
        columns: Columns of the table it came from; empty for a document.
        missing: Vehicles not looked at because the work was stopped.
        interrupted: Whether it was.
    """

    title: str
    begins: datetime.datetime | None
    terms: Terms
    vehicles: int
    jobs: tuple[Rated, ...]
    order: tuple[Slot, ...]
    downtime_usd: float
    as_they_came_usd: float
    van: VanList | None
    clusters: tuple[Cluster, ...]
    cause_titles: Mapping[str, str]
    set_aside: tuple[SetAside, ...] = ()
    columns: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    interrupted: bool = False

    @cached_property
    def _by_id(self) -> dict[str, Rated]:
        return {job.id: job for job in self.jobs}

    def job(self, name: str) -> Rated:
        """A vehicle that waits, by its name.

        Raises:
            KeyError: There is none, or it was not ranked.
        """
        return self._by_id[name]

    # -- other forms -------------------------------------------------------------------------------

    def to_json(self) -> str:
        """The answer as JSON text, format `faultloom.triage`."""
        answer = {
            "format": "faultloom.triage",
            "version": "1.0",
            "title": self.title,
            "begins": self.begins,
            "vehicles": self.vehicles,
            "terms": asdict(self.terms),
            "jobs": [asdict(job) for job in self.jobs],
            "order": [asdict(slot) for slot in self.order],
            "downtime_usd": self.downtime_usd,
            "as_they_came_usd": self.as_they_came_usd,
            "van": None if self.van is None else asdict(self.van),
            "clusters": [self._cluster(cluster) for cluster in self.clusters],
            "set_aside": [asdict(row) for row in self.set_aside],
            "missing": self.missing,
            "interrupted": self.interrupted,
        }
        return json.dumps(answer, ensure_ascii=False, indent=2, default=_time) + "\n"

    def _cluster(self, cluster: Cluster) -> dict[str, Any]:
        named = [{"id": name, "probability": chance} for name, chance in cluster.vehicles]
        return {**asdict(cluster), "title": self.cause_titles[cluster.cause], "vehicles": named}

    def to_frame(self) -> DataFrame:
        """The order of work, a row for each vehicle in that order; its index is the vehicle's name.

        Columns: technician, rank, starts_minute, ends_minute, ready, needed_by, late_hours,
        vehicle, complaint, suspect, probability [1], minutes, parts_usd, cost_usd,
        downtime_usd_per_hour, quick [1], nothing [1], unknown [1].

        Raises:
            ImportError: pandas is not installed.
        """
        rows = []
        for slot in self.order:
            job = self._by_id[slot.id]
            first = job.suspects[0] if job.suspects else None
            rows.append(
                {
                    **{n: getattr(slot, n) for n in ("id", "technician", "rank")},
                    **{n: getattr(slot, n) for n in ("starts_minute", "ends_minute", "ready")},
                    **{n: getattr(slot, n) for n in ("needed_by", "late_hours")},
                    **{n: getattr(job, n) for n in ("vehicle", "complaint")},
                    "suspect": first.id if first else "",
                    "probability": first.probability if first else 0.0,
                    **{n: getattr(job, n) for n in ("minutes", "parts_usd", "cost_usd")},
                    **{n: getattr(job, n) for n in ("downtime_usd_per_hour", "quick")},
                    **{n: getattr(job, n) for n in ("nothing", "unknown")},
                }
            )
        return _frame(rows, "id")

    def suspects_frame(self) -> DataFrame:
        """Every suspect of every vehicle, likeliest first; columns as in `Suspect`, and `job`."""
        rows = [{"job": job.id, **asdict(one)} for job in self.jobs for one in job.suspects]
        return _frame(rows)

    def van_frame(self) -> DataFrame:
        """Parts to load and parts that may be wanted and stay behind; columns as in `Part`."""
        parts: Iterable[Part] = () if self.van is None else (*self.van.parts, *self.van.left)
        return _frame([asdict(part) for part in parts], "name")

    def clusters_frame(self) -> DataFrame:
        """Common causes; columns as in `Cluster`, vehicles as a text."""
        rows = [
            {**asdict(c), "vehicles": ", ".join(name for name, _ in c.vehicles)}
            for c in self.clusters
        ]
        return _frame(rows)

    def _repr_html_(self) -> str:
        """The order of work as a notebook shows it."""
        names = ("", "Vehicle", "Suspect", "Chance", "Minutes", "USD", "Done after")
        head = "".join(f"<th>{escape(name)}</th>" for name in names)
        rows = []
        for place, slot in enumerate(self.order, 1):
            job = self._by_id[slot.id]
            first = job.suspects[0] if job.suspects else None
            cells = (
                str(place),
                slot.id,
                f"{first.id} {first.title}" if first else "nothing broken",
                f"{100 * (first.probability if first else job.nothing):.3g} %",
                f"{job.minutes:.0f}",
                f"{job.cost_usd:.0f}",
                f"{slot.ends_minute:.0f} min",
            )
            rows.append("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in cells) + "</tr>")
        return (
            f"<table><caption>{escape(self.title or 'Order of work')}</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
        )


def _time(value: object) -> str:
    if isinstance(value, datetime.datetime):
        return value.isoformat(timespec="minutes")
    raise TypeError(type(value).__name__)


def _frame(rows: list[dict[str, Any]], index: str | None = None) -> DataFrame:
    # Not at the top: only who asks for tables needs it.
    import pandas as pd  # noqa: PLC0415

    frame = pd.DataFrame(rows)
    return frame if index is None or frame.empty else frame.set_index(index)
