"""In which order to take vehicles, who takes which, and when each is done.

What comes first without question is what is dangerous or in the way, then what a few minutes
probably mend. The rest goes by the value of an hour of downtime over expected minutes, the largest
first: with one technician no other order costs less downtime (W. E. Smith, "Various optimizers for
single-stage production", Naval Research Logistics Quarterly 3, 1956). Several technicians take
the next one in that order as they get free, which costs at most 1.21 times the least there is
(T. Kawaguchi and S. Kyan, "Worst case bound of an LRF schedule for the mean weighted flow-time
problem", SIAM Journal on Computing 15, 1986).
"""

from __future__ import annotations

import datetime
import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from faultloom.fleet.costs import Terms

FIRST, QUICK, BY_VALUE = "first", "quick", "by value"


@dataclass(frozen=True, slots=True)
class Task:
    """Something to put in order.

    Attributes:
        id: Name of the vehicle.
        minutes: Expected time [min].
        usd_per_hour: What a working hour without it costs [USD/h].
        rank: `FIRST`, `QUICK` or `BY_VALUE`.
        needed_by: When it has to run again.
        complained: When the complaint came in.
    """

    id: str
    minutes: float
    usd_per_hour: float
    rank: str = BY_VALUE
    needed_by: datetime.datetime | None = None
    complained: datetime.datetime | None = None


@dataclass(frozen=True, slots=True)
class Slot:
    """A place in the order of work.

    Attributes:
        id: Name of the vehicle.
        technician: Who takes it, from 1.
        rank: Why it stands here: `FIRST`, `QUICK` or `BY_VALUE`.
        starts_minute: Working time before it starts [min].
        ends_minute: Working time when it is done [min].
        usd_per_hour: What a working hour without it costs [USD/h].
        ready: When it is done; None if the list does not say when work begins.
        needed_by: When it has to run again; None if it is not said.
        late_hours: Hours by the clock from `needed_by` to `ready`, 0 if in time [h]; None if one of
            them is not known.
    """

    id: str
    technician: int
    rank: str
    starts_minute: float
    ends_minute: float
    usd_per_hour: float
    ready: datetime.datetime | None = None
    needed_by: datetime.datetime | None = None
    late_hours: float | None = None


def in_order(tasks: Iterable[Task]) -> list[Task]:
    """Tasks in the order in which to take them up."""
    ranks = (FIRST, QUICK, BY_VALUE)

    def key(task: Task) -> tuple[int, float, str]:
        value = task.usd_per_hour / max(task.minutes, 1e-9)
        return ranks.index(task.rank), -value, task.id

    return sorted(tasks, key=key)


def scheduled(
    tasks: Sequence[Task], terms: Terms, begins: datetime.datetime | None = None
) -> list[Slot]:
    """Tasks in the order given, each to whoever is free first.

    Args:
        tasks: In order.
        terms: Number of technicians and hours of a day.
        begins: When work can begin.
    """
    free = [(0.0, technician) for technician in range(1, terms.technicians + 1)]
    slots = []
    for task in tasks:
        start, technician = heapq.heappop(free)
        end = start + task.minutes
        heapq.heappush(free, (end, technician))
        ready = None if begins is None else clock(begins, end, terms)
        needed = None if task.needed_by is None else _end_of_day(task.needed_by, terms)
        late = None
        if ready is not None and needed is not None:
            late = max(0.0, (ready - needed).total_seconds() / 3600)
        slots.append(
            Slot(task.id, technician, task.rank, start, end, task.usd_per_hour, ready, needed, late)
        )
    return slots


def downtime_usd(slots: Iterable[Slot]) -> float:
    """What it costs that vehicles stand until they are done, working hours only [USD]."""
    return sum(slot.usd_per_hour * slot.ends_minute / 60 for slot in slots)


def as_they_came(tasks: Iterable[Task]) -> list[Task]:
    """Tasks by the time of their complaint; those without one last, in the order given."""
    return sorted(tasks, key=lambda task: task.complained or datetime.datetime.max)


def clock(begins: datetime.datetime, minutes: float, terms: Terms) -> datetime.datetime:
    """The time on the clock after so much working time; Saturdays and Sundays are free.

    Args:
        begins: When work begins. Outside working hours it begins with the next ones.
        minutes: Working time [min].
        terms: Hours of a working day.
    """
    day_minutes = terms.working_hours * 60
    opens = terms.day_starts_hour * 60
    day: np.datetime64 = np.datetime64(begins.date(), "D")
    into = begins.hour * 60 + begins.minute - opens
    if not np.is_busday(day) or into >= day_minutes:
        day = np.busday_offset(day, 0 if not np.is_busday(day) else 1, roll="forward")
        into = 0.0
    total = max(into, 0.0) + minutes
    days = max(0, int(np.ceil(total / day_minutes - 1e-9)) - 1)
    date = np.busday_offset(day, days, roll="forward").astype(datetime.date)
    midnight = datetime.datetime.combine(date, datetime.time())
    after = datetime.timedelta(minutes=opens + total - days * day_minutes)
    return (midnight + after).replace(second=0, microsecond=0)


def _end_of_day(needed: datetime.datetime, terms: Terms) -> datetime.datetime:
    """A day without a time means the end of its working hours."""
    if needed.time() != datetime.time():
        return needed
    return needed + datetime.timedelta(hours=terms.day_starts_hour + terms.working_hours)
