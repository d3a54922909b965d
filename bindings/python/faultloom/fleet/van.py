"""What to load into the van so that a stated share of first visits ends with a running vehicle.

Each visit needs one part from the store, or none; which one is not known before. The need of a part
over all visits is then a sum of independent yes-or-no draws, and the share of visits that the load
finishes is exact: visit by visit at most one part is wanted, so parts do not get in each other's
way. A second unit of a part never helps more than the first, which makes the choice a covering
knapsack over units, solved by the mixed-integer solver of SciPy (HiGHS).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats  # type: ignore[import-untyped, import-not-found, unused-ignore]

from faultloom.fleet.costs import Needs, Terms

_LEAST_USE = 1e-6


@dataclass(frozen=True, slots=True)
class Part:
    """A part from the store, as the yard may need it.

    Attributes:
        name: What it is.
        price_usd: Its price [USD].
        units: How many to load.
        expected: Units that are needed on the mean.
        needed: Chance that at least one is needed [1].
        per_visit: Chance that one visit needs it, on the mean over visits [1].
        keeping_usd: Cost of having one in the van on this trip [USD].
        saves_usd: What carrying one saves, a visit: chance per visit times a return trip [USD].
        holding_usd: What holding one costs, a visit [USD]. The stocking rule carries a part that
            saves more; it knows nothing of one day's vehicles or of loading.
        finishes: Visits that the units loaded finish, on the mean.
    """

    name: str
    price_usd: float
    units: int
    expected: float
    needed: float
    per_visit: float
    keeping_usd: float
    saves_usd: float
    holding_usd: float
    finishes: float


@dataclass(frozen=True, slots=True)
class VanList:
    """What to load.

    Attributes:
        parts: Those to load, the most useful first.
        left: Those that may be needed and stay behind, likeliest first.
        visits: How many visits it is for.
        wanted: Share of first visits that was asked for [1].
        share: Share that the load finishes, exactly by the beliefs [1].
        most: Share that every part together would finish; what is outside the model stays out [1].
        without: Share that no part at all finishes [1].
        parts_usd: Price of the load [USD].
        cost_usd: Keeping it, and return trips that are still to be expected [USD].
    """

    parts: tuple[Part, ...]
    left: tuple[Part, ...]
    visits: int
    wanted: float
    share: float
    most: float
    without: float
    parts_usd: float
    cost_usd: float


def van_list(
    needs: Sequence[Needs],
    prices: Mapping[str, float],
    terms: Terms,
    labour: float | None = None,
    names: Mapping[str, str] | None = None,
) -> VanList:
    """The load that costs least among those that finish the share of first visits asked for.

    Cost is loading and keeping the parts, and a return trip for each visit that is not finished. So
    more than the share is loaded where that saves trips. If the share is out of reach, also within
    the budget, the load finishes as many visits as any.

    Args:
        needs: What each visit probably needs.
        prices: Price of each part [USD].
        terms: Share and costs.
        labour: Price of an hour of loading [USD/h]; `Terms.labour_usd_per_hour` if None.
        names: What to call parts in the answer; as they are if None.

    Complexity: a knapsack over all units that may be of use, at most visits times parts.
    """
    visits = len(needs)
    parts = sorted({name for need in needs for name in need.items})
    uses = {name: unit_uses([need.items.get(name, 0.0) for need in needs]) for name in parts}
    without = sum(1 - need.unknown - sum(need.items.values()) for need in needs)
    rate = terms.labour_usd_per_hour if labour is None else labour
    loading = terms.loading_minutes * rate / 60
    per_year = terms.holding_per_year / max(terms.van_trips_per_year, 1)
    keeping = {name: loading + per_year * prices[name] for name in parts}
    owners = [name for name in parts for _ in uses[name]]
    chosen = chosen_units(
        np.array([keeping[name] for name in owners]),
        np.array([use for name in parts for use in uses[name]]),
        np.array([prices[name] for name in owners]),
        trip_usd=terms.return_trip_usd,
        still=terms.van_share * visits - without,
        budget_usd=terms.van_budget_usd,
    )
    units = dict.fromkeys(parts, 0)
    for name, taken in zip(owners, chosen, strict=True):
        units[name] += int(taken)
    rows = []
    for name in parts:
        expected = sum(need.items.get(name, 0.0) for need in needs)
        rows.append(
            Part(
                name if names is None else names[name],
                prices[name],
                units[name],
                expected,
                float(uses[name][0]) if len(uses[name]) else 0.0,
                expected / visits,
                keeping[name],
                expected / visits * terms.return_trip_usd,
                per_year * prices[name] / visits,
                float(np.sum(uses[name][: units[name]])),
            )
        )
    return _summed(rows, visits, without, terms)


def unit_uses(chances: Sequence[float]) -> NDArray[np.float64]:
    """Chance that the first, second, ... unit of a part gets used [1].

    Args:
        chances: Chance of each visit to need the part, visits being independent.

    Returns:
        P(need >= 1), P(need >= 2), ...; units next to never used are left out.
    """
    given = [min(1.0, max(0.0, chance)) for chance in chances if chance > 0]
    if not given:
        return np.zeros(0)
    tail = np.asarray(stats.poisson_binom(given).sf(np.arange(len(given))), dtype=float)
    return tail[tail > _LEAST_USE]


def chosen_units(
    keeping_usd: NDArray[np.float64],
    uses: NDArray[np.float64],
    prices_usd: NDArray[np.float64],
    *,
    trip_usd: float,
    still: float,
    budget_usd: float,
) -> NDArray[np.bool_]:
    """Which units to load.

    Args:
        keeping_usd: Cost of having each in the van [USD]; units of one part one after another.
        uses: Chance that each is used [1], of one part the first unit most.
        prices_usd: Price of each [USD].
        trip_usd: What an unfinished visit costs [USD].
        still: Visits that the units have to finish, on the mean.
        budget_usd: Most that they may be worth together [USD].
    """
    if not len(uses):
        return np.zeros(0, dtype=bool)
    # Units of one part cost the same and the first is used most, so a solution takes them in that
    # order by itself.
    afford = optimize.LinearConstraint(
        prices_usd[np.newaxis, :], ub=min(budget_usd, prices_usd.sum())
    )
    cost = keeping_usd - trip_usd * uses
    finish = optimize.LinearConstraint(uses[np.newaxis, :], lb=max(still, 0.0))
    taken = _solved(cost, [afford, finish])
    if taken is None:
        taken = _solved(-uses, [afford])
    if taken is None:
        raise RuntimeError("The load could not be chosen")
    return taken


def _solved(
    cost: NDArray[np.float64], constraints: Sequence[optimize.LinearConstraint]
) -> NDArray[np.bool_] | None:
    """The cheapest choice of yes or no for each; None if no choice meets the constraints."""
    answer = optimize.milp(
        cost,
        constraints=constraints,
        integrality=np.ones(len(cost)),
        bounds=optimize.Bounds(0, 1),
        options={"mip_rel_gap": 1e-9},
    )
    return None if answer.x is None else np.asarray(answer.x > 0.5)


def _summed(rows: Sequence[Part], visits: int, without: float, terms: Terms) -> VanList:
    loaded = sorted((r for r in rows if r.units), key=lambda r: (-r.finishes, r.name))
    left = sorted((r for r in rows if not r.units), key=lambda r: (-r.needed, r.name))
    finished = without + sum(row.finishes for row in loaded)
    most = without + sum(row.expected for row in rows)
    keeping = sum(row.units * row.keeping_usd for row in loaded)
    return VanList(
        tuple(loaded),
        tuple(left),
        visits,
        terms.van_share,
        finished / visits,
        most / visits,
        without / visits,
        sum(row.units * row.price_usd for row in loaded),
        keeping + terms.return_trip_usd * (visits - finished),
    )
