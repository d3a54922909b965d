"""The same fault on several vehicles that have something in common.

For each cause and each thing that vehicles share two questions are asked. Do more of the vehicles
that share it and wait have this cause than their failure rates lead to expect? Do they have it more
than the vehicles that do not share it? Both have to be answered with yes, so the larger of the two
chances counts (intersection-union test). The false ones among all that are named are held down by
the procedure of Y. Benjamini and Y. Hochberg (Journal of the Royal Statistical Society B 57, 1995).

The first question: how many times as likely are the findings if each of these vehicles has the
cause with one common, unknown chance (any from 0 to 1 alike) than if each has it as the rates say?
By the rates that number is 1 on the mean, so it reaches n with a chance of at most 1 / n (V. Vovk
and R. Wang, "E-values: calibration, combination and applications", Annals of Statistics 49, 2021).
It makes use of findings that point to a cause on each vehicle a little; what that chance has become
then says how probable the cause is on each, taken together. The second question: what
is shared is dealt out anew among all vehicles of the yard, the ones that run included. Of
complaints of the same days the first question alone is asked.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats  # type: ignore[import-untyped, import-not-found, unused-ignore]

from faultloom.fleet.costs import Terms

DAYS = "days"
"""The name of "complaints of the same days" among the things that vehicles share."""

_WORTH_A_THOUGHT = 0.5
_LEAST_TOGETHER = 1.5
_LEAST_IN_GROUP = 2
_NAMED = 0.1
_DEALS = 19999
_MOST_DEALT = 400
_EVEN = 0.5
_LEAST_CHANCE = 5e-4
_NODES, _TWICE_WEIGHTS = np.polynomial.legendre.leggauss(64)
_COMMON, _WEIGHTS = (_NODES + 1) / 2, _TWICE_WEIGHTS / 2

TELLS: Mapping[str, str] = {
    "charger": "look at the charger, its plug and its supply before the vehicles",
    "washed": "water: open and dry switches and plugs, then look for the way it came in",
    "battery_batch": "blocks at the end of their life: load-test the blocks of all of them",
    "battery_age_months": "blocks at the end of their life: load-test all of that age",
    "serviced": "workmanship: look at what was done at that visit, on all that were there",
    "build_batch": "a part that was weak from the start: expect it on the rest of the batch",
    "site": "something about the place: ground, water, rodents, or how they are driven there",
    "vehicle": "a weak point of that model",
    DAYS: "ask what happened to all of them in those days",
}
"""What to make of it, by what is shared; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How one vehicle stands to the causes.

    Attributes:
        id: Name of the vehicle.
        traits: What it shares with others.
        chances: Chance that each cause is what stops it [1]; empty if it runs.
        expected: The same before anything was found but that it does not drive [1].
        there: Chance that it has each cause at all, whether that stops it or not [1].
        there_before: The same before anything was found but that it does not drive [1].
        complained: When the complaint came in.
        waits: Whether it waits for a repair.
    """

    id: str
    traits: Mapping[str, str]
    chances: Mapping[str, float] = field(default_factory=dict)
    expected: Mapping[str, float] = field(default_factory=dict)
    there: Mapping[str, float] = field(default_factory=dict)
    there_before: Mapping[str, float] = field(default_factory=dict)
    complained: datetime.datetime | None = None
    waits: bool = False


@dataclass(frozen=True, slots=True)
class Cluster:
    """A cause that several vehicles with something in common have.

    Attributes:
        cause: Kind of component, or KIND/mode.
        trait: What is shared, one of `TELLS`.
        value: Which one.
        vehicles: Those that probably have it, with the chance taken together, likeliest first [1].
        sharing: How many vehicles share it.
        waiting: How many of them wait.
        found: How many of them have the cause, on the mean, each by its own findings.
        together: The same, taken together; of days the same again.
        expected: How many would by the failure rates.
        elsewhere: How many of the others have it, on the mean.
        surely: How many of them have it with at least even odds.
        tail: Chance of that many or more by the rates, a Poisson binomial tail [1]; to compare.
        by_rates: Chance of such findings by the rates, at most [1].
        by_dealing: Chance of so many if what is shared meant nothing [1]; 1 where not asked.
        chance: The larger one, or `by_rates` where only that was asked, after Benjamini and
            Hochberg: at most so many of those named are false, on the mean [1].
        tell: What to make of it.
        also: Other things that the same vehicles share and that stand out too: trait and value.
    """

    cause: str
    trait: str
    value: str
    vehicles: tuple[tuple[str, float], ...]
    sharing: int
    waiting: int
    found: float
    together: float
    expected: float
    elsewhere: float
    surely: int
    tail: float
    by_rates: float
    by_dealing: float
    chance: float
    tell: str
    also: tuple[tuple[str, str], ...] = ()


def clusters_of(standings: Sequence[Standing], terms: Terms, seed: int = 0) -> list[Cluster]:
    """The common causes in a yard, most certain first.

    Args:
        standings: All vehicles, those that run included.
        terms: How many may be false, and how long "the same days" are.
        seed: Of the dealing; the same seed gives the same answer.
    """
    causes = sorted({cause for s in standings for cause in s.chances})
    found: list[Cluster] = []
    for tested in (_of_traits(standings, causes, terms, seed), _of_days(standings, causes, terms)):
        if not tested:
            continue
        adjusted = stats.false_discovery_control([c.chance for c in tested], method="bh")
        found += [
            replace(cluster, chance=float(chance))
            for cluster, chance in zip(tested, adjusted, strict=True)
            if chance <= terms.false_rate and cluster.together >= _LEAST_TOGETHER
        ]
    return _merged(found)


def _of_traits(
    standings: Sequence[Standing], causes: Iterable[str], terms: Terms, seed: int
) -> list[Cluster]:
    """Every cause that is worth a thought with every thing that two vehicles share.

    Which causes are asked about depends on their sum over the yard alone, which dealing out anew
    leaves as it is.
    """
    rng = np.random.default_rng(seed)
    groups = _groups(standings)
    tested = []
    for cause in causes:
        chances = np.array([s.chances.get(cause, 0.0) for s in standings])
        if chances.sum() < _WORTH_A_THOUGHT:
            continue
        for shared, members in groups.items():
            cluster = _tested(standings, cause, shared, members)
            # What the rates explain well enough is not named, however it is dealt out.
            if cluster.by_rates <= terms.false_rate:
                inside = np.zeros(len(standings), dtype=bool)
                inside[members] = True
                dealt = _by_dealing(chances, inside, rng)
                cluster = replace(cluster, by_dealing=dealt, chance=max(cluster.by_rates, dealt))
            tested.append(cluster)
    return tested


def _groups(standings: Sequence[Standing]) -> dict[tuple[str, str], list[int]]:
    """The vehicles that share each thing, where two of them wait and not all share it."""
    groups: dict[tuple[str, str], list[int]] = {}
    for i, standing in enumerate(standings):
        for trait, value in standing.traits.items():
            groups.setdefault((trait, value), []).append(i)
    return {
        key: members
        for key, members in sorted(groups.items())
        if sum(standings[i].waits for i in members) >= _LEAST_IN_GROUP
        and len(members) < len(standings)
    }


def _of_days(standings: Sequence[Standing], causes: Iterable[str], terms: Terms) -> list[Cluster]:
    """Every cause in every span of days that begins with a complaint."""
    spans: dict[tuple[int, ...], str] = {}
    dated = [(i, s.complained) for i, s in enumerate(standings) if s.waits and s.complained]
    for _, begin in sorted(dated, key=lambda row: row[1]):
        end = begin + datetime.timedelta(days=terms.window_days)
        members = tuple(i for i, at in dated if begin <= at < end)
        if len(members) >= _LEAST_IN_GROUP:
            spans.setdefault(members, f"{begin.date().isoformat()} on")
    return [
        _tested(standings, cause, (DAYS, span), list(members))
        for members, span in spans.items()
        for cause in causes
    ]


def _tested(
    standings: Sequence[Standing],
    cause: str,
    shared: tuple[str, str],
    members: list[int],
) -> Cluster:
    trait, value = shared
    waiting = [standings[i] for i in members if standings[i].waits]
    chances = [s.chances.get(cause, 0.0) for s in waiting]
    expected = [s.expected.get(cause, 0.0) for s in waiting]
    all_of_it = sum(s.chances.get(cause, 0.0) for s in standings)
    # So few are no common cause, whatever the rates are; a chance of 1 takes nothing from the rest.
    by_rates, common = 1.0, chances
    if sum(chances) >= _WORTH_A_THOUGHT:
        by_rates, together = chance_by_rates(
            [s.there.get(cause, 0.0) for s in waiting],
            [s.there_before.get(cause, 0.0) for s in waiting],
        )
        # Days are shared by what has nothing to do with it too, so there each stands for itself.
        common = chances if trait == DAYS else together
    surely = sum(chance >= _EVEN for chance in chances)
    named = sorted(((s.id, c) for s, c in zip(waiting, common, strict=True)), key=lambda r: -r[1])
    return Cluster(
        cause,
        trait,
        value,
        tuple(row for row in named if row[1] >= _NAMED),
        len(members),
        len(waiting),
        sum(chances),
        sum(common),
        sum(expected),
        all_of_it - sum(chances),
        surely,
        tail(surely, expected),
        by_rates,
        1.0,
        by_rates,
        TELLS[trait],
    )


def chance_by_rates(
    chances: Sequence[float], expected: Sequence[float]
) -> tuple[float, list[float]]:
    """Chance of findings that point so much to a cause if only the rates were at work, at most [1].

    Args:
        chances: Of each vehicle to have it, by what was found.
        expected: The same before that.

    Returns:
        That, and the chance of each vehicle to have it if they have it with a common chance.
    """
    seen, rates = (np.array(_proper(row))[:, np.newaxis] for row in (chances, expected))
    common, weights = _COMMON, _WEIGHTS
    having = common * seen / rates
    ratios = having + (1 - common) * (1 - seen) / (1 - rates)
    # In logarithms: a common cause on hundreds of vehicles is beyond what a double holds.
    logs = np.sum(np.log(ratios), axis=0)
    log_total = float(special.logsumexp(logs, b=weights))
    likely = weights * np.exp(logs - log_total)
    together = np.sum(likely * having / ratios, axis=1)
    return math.exp(min(0.0, -log_total)), [float(chance) for chance in together]


def tail(count: int, expected: Sequence[float]) -> float:
    """Chance that the rates alone give so many vehicles the cause, or more [1]."""
    return float(stats.poisson_binom(_proper(expected)).sf(count - 1)) if expected else 1.0


def _proper(chances: Sequence[float]) -> list[float]:
    """Chances that are neither certain nor smaller than what a ranking keeps."""
    return [min(1 - 1e-9, max(_LEAST_CHANCE, chance)) for chance in chances]


def _by_dealing(
    chances: NDArray[np.float64], inside: NDArray[np.bool_], rng: np.random.Generator
) -> float:
    """Chance that those inside have as much of a cause when it is dealt out by chance [1].

    In a large yard vehicles count that have it with even odds or more, which takes no dealing.
    """

    def difference(a: NDArray[Any], b: NDArray[Any], axis: int = 0) -> Any:
        # Sums in floating point depend on their order; what is equal must count as equal.
        return np.round(a.mean(axis=axis) - b.mean(axis=axis), 12)

    if len(chances) > _MOST_DEALT:
        surely = chances >= _EVEN
        count, within = int(surely.sum()), int(surely[inside].sum())
        return float(stats.hypergeom.sf(within - 1, len(chances), count, int(inside.sum())))
    answer = stats.permutation_test(
        (chances[inside], chances[~inside]),
        difference,
        vectorized=True,
        n_resamples=_DEALS,
        alternative="greater",
        rng=rng,
    )
    return float(answer.pvalue)


def _merged(found: Iterable[Cluster]) -> list[Cluster]:
    """One cluster for vehicles that are named for the same cause more than once."""
    kept: list[Cluster] = []
    for cluster in sorted(found, key=lambda c: (c.trait == DAYS, c.chance, -c.found, c.cause)):
        shared = (cluster.trait, cluster.value)
        for i, other in enumerate(kept):
            if not _alike(cluster, other):
                continue
            same = cluster.trait == DAYS and any(trait == DAYS for trait, _ in other.also)
            if shared != (other.trait, other.value) and shared not in other.also and not same:
                kept[i] = replace(other, also=(*other.also, shared))
            break
        else:
            kept.append(cluster)
    return sorted(kept, key=lambda c: (c.chance, c.cause))


def _alike(cluster: Cluster, other: Cluster) -> bool:
    """Whether they name the same kind of component, and at least half the vehicles of one."""
    names, others = ({name for name, _ in c.vehicles} for c in (cluster, other))
    kinds = {c.cause.partition("/")[0] for c in (cluster, other)}
    return len(kinds) == 1 and 2 * len(names & others) >= min(len(names), len(others))
