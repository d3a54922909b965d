"""What strategies have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from whole_jobs.chart import Chart
from whole_jobs.shop import Shop
from whole_jobs.wiring import Wiring

Json = dict[str, Any]


class Strategy(Protocol):
    """A way to work. One object per job; it may remember what it did at earlier visits."""

    def visit(self, shop: Shop) -> None:
        """Works until the vehicle is handed back or given up."""


@dataclass(frozen=True)
class Manual:
    """What a technician knows of the type of vehicle before touching one.

    Attributes:
        wiring: The vehicle as documented.
        charts: One for each drive state.
        likeliest: Components by how often they fail, the most frequent first.
    """

    wiring: Wiring
    charts: tuple[Chart, ...]
    likeliest: tuple[str, ...]


def by_frequency(wiring: Wiring, priors: Mapping[str, float]) -> tuple[str, ...]:
    """Components by the sum of their modes' chances."""
    sums = {c.id: sum(priors[m.name] for m in c.modes.values()) for c in wiring.components.values()}
    return tuple(sorted(sums, key=lambda c: (-sums[c], c)))


def fails(entry: Mapping[str, Any]) -> bool:
    """Whether a trial of the vehicle did not always come out well."""
    return entry.get("outcome") != "yes"
