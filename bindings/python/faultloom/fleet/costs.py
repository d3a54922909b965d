"""What each vehicle probably takes: minutes, money, parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import entropy  # type: ignore[import-untyped, import-not-found, unused-ignore]

from faultloom.fleet.jobs import Kind
from faultloom.fleet.ranking import Belief
from faultloom.pages.parts import LABOR_USD_PER_HOUR


@dataclass(frozen=True, slots=True)
class Terms:
    """How time, parts and chance are reckoned. All figures common practice, no source.

    Attributes:
        technicians: How many work side by side.
        labour_usd_per_hour: Where neither job nor list says [USD/h].
        downtime_usd_per_day: Where neither vehicle nor list says [USD/day].
        working_hours: Of a day [h].
        day_starts_hour: Hour at which a working day starts, 0..24 [h].
        intake_minutes: To try the vehicle and hear the driver [min].
        minutes_per_bit: To halve the doubt once; a test that halves it gives one bit [min].
        verify_minutes: Drive test and interlocks after the repair [min].
        quick_minutes: A repair that takes no longer, opening included, is quick [min].
        quick_share: Chance from which a vehicle is taken for one with a quick repair [1].
        van_visits: The van is loaded for so many visits, the first in the order of work.
        van_share: Share of first visits that the parts in the van should finish [1].
        van_budget_usd: Most that the parts in the van may be worth [USD].
        return_trip_usd: A second visit because a part is missing [USD].
        loading_minutes: To draw a part from the store, stow it and put it back [min].
        holding_per_year: Cost of keeping a part, as a share of its price [1/year].
        van_trips_per_year: Trips that share that cost.
        false_rate: Expected share of false ones among the common causes named [1].
        window_days: Complaints within so many days count as of the same days.
    """

    technicians: int = 1
    labour_usd_per_hour: float = LABOR_USD_PER_HOUR
    downtime_usd_per_day: float = 85.0
    working_hours: float = 8.0
    day_starts_hour: float = 7.5
    intake_minutes: float = 5.0
    minutes_per_bit: float = 4.0
    verify_minutes: float = 10.0
    quick_minutes: float = 5.0
    quick_share: float = 0.4
    van_visits: int = 40
    van_share: float = 0.8
    van_budget_usd: float = 1e9
    return_trip_usd: float = 85.0
    loading_minutes: float = 2.0
    holding_per_year: float = 0.225
    van_trips_per_year: int = 250
    false_rate: float = 0.05
    window_days: int = 7


@dataclass(frozen=True, slots=True)
class Needs:
    """What a vehicle probably takes, each fault on its own.

    Attributes:
        causes: Chance that a component is what stops it [1], by component, likeliest first.
        modes: The same by mode COMPONENT/mode.
        nothing: Chance that nothing is broken now [1].
        unknown: Chance that it is something outside the model [1].
        items: Chance that a part from the store is needed [1], by its name.
        minutes: Expected time, finding and proving included [min].
        parts_usd: Expected price of parts and material [USD].
        cost_usd: Expected price of time and parts [USD].
        quick: Chance that a repair of a few minutes mends it [1].
        by: "belief": from the chances and the repairs' own figures; "advice": money from the
            expected cost of the next step and everything after it.
    """

    causes: Mapping[str, float] = field(default_factory=dict)
    modes: Mapping[str, float] = field(default_factory=dict)
    nothing: float = 0.0
    unknown: float = 0.0
    items: Mapping[str, float] = field(default_factory=dict)
    minutes: float = 0.0
    parts_usd: float = 0.0
    cost_usd: float = 0.0
    quick: float = 0.0
    by: str = "belief"


def shares_of(belief: Belief, kind: Kind, priors: NDArray[np.float64]) -> dict[str, float]:
    """Chance of each mode that it is what stops the vehicle [1].

    Together they have what `no_fault` and `not_in_model` leave. A fault that the complaint does not
    hang on keeps the chance it has in any such vehicle, and a vehicle has hundreds of them. So what
    counts is how far a chance is above that: 1 for a certain fault, 0 for one as likely as before.
    """
    known = dict(zip(kind.modes, map(float, priors), strict=True))
    raised = {
        name: max(0.0, chance - known[name]) / (1 - min(known[name], 0.999))
        for name, chance in belief.modes.items()
    }
    total = sum(raised.values())
    left = max(0.0, 1 - belief.no_fault - belief.not_in_model)
    if total <= 0:
        return {}
    ordered = sorted(raised.items(), key=lambda row: (-row[1], row[0]))
    return {name: left * share / total for name, share in ordered if share > 0}


def needs_of(
    belief: Belief, kind: Kind, priors: NDArray[np.float64], labour: float, terms: Terms
) -> Needs:
    """What a vehicle probably takes.

    Time is intake and proof, the repair of each cause by its chance, and the doubt in bits at
    `Terms.minutes_per_bit`; with advice it is what its expected cost leaves for work.

    Args:
        belief: What is broken.
        kind: What repairs take.
        priors: Chance of each mode of the job before anything was found.
        labour: Price of an hour of work [USD/h].
        terms: Minutes and prices.
    """
    modes = shares_of(belief, kind, priors)
    causes: dict[str, float] = {}
    for name, share in modes.items():
        component = name.rpartition("/")[0]
        causes[component] = causes.get(component, 0.0) + share
    causes = dict(sorted(causes.items(), key=lambda row: (-row[1], row[0])))
    items: dict[str, float] = {}
    for component, share in causes.items():
        if item := kind.repairs[component].item:
            items[item] = items.get(item, 0.0) + share
    known = sum(causes.values())
    repair = _mean(kind, causes, "minutes")
    parts = _mean(kind, causes, "price_usd")
    # What the model does not know is taken to need what the rest needs.
    unknown = max(0.0, 1 - known - belief.no_fault)
    beyond = unknown / known if known > 0 else 0.0
    doubt = [*causes.values(), belief.no_fault, unknown]
    bits = float(entropy([share for share in doubt if share > 0], base=2)) if known else 0.0
    minutes = terms.intake_minutes + terms.verify_minutes + terms.minutes_per_bit * bits
    minutes += repair * (1 + beyond)
    parts *= 1 + beyond
    cost = minutes * labour / 60 + parts
    by = "belief"
    if belief.next_usd is not None:
        by, cost = "advice", belief.next_usd
        minutes = max(0.0, cost - parts) / labour * 60 if labour > 0 else minutes
    return Needs(
        causes,
        modes,
        belief.no_fault,
        unknown,
        items,
        minutes,
        parts,
        cost,
        _quick(kind, causes, terms.quick_minutes),
        by,
    )


def _mean(kind: Kind, causes: Mapping[str, float], what: str) -> float:
    return sum(share * float(getattr(kind.repairs[name], what)) for name, share in causes.items())


def _quick(kind: Kind, causes: Mapping[str, float], most: float) -> float:
    return sum(share for name, share in causes.items() if kind.repairs[name].minutes <= most)
