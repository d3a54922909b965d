"""Plays jobs in parallel processes; every number comes out of the seed and the job's number."""

from __future__ import annotations

import json
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import faultloom
import numpy as np

from whole_jobs.chart import ChartMaker
from whole_jobs.draw import Draw, Truth, doubled_or_halved
from whole_jobs.hand import Errors, Hand
from whole_jobs.shop import OutOfPatienceError, Shop
from whole_jobs.spice import Spice
from whole_jobs.strategies import (
    STRATEGIES,
    Advised,
    ContactorFirst,
    FixedChart,
    HalfSplit,
    LikeliestPart,
    Manual,
    Strategy,
    TruthKnown,
)
from whole_jobs.strategies.base import by_frequency

Json = dict[str, Any]

SETTINGS = ("as assumed", "twice the errors")
"""The second: every error twice as frequent or large, each true rate off by a factor of two."""

# Streams of random numbers of a job; the truth is the same for all strategies.
TRUTH, RATES, HAND, FAULTS, CHOICE = range(5)


@dataclass(frozen=True)
class Task:
    """One job for one strategy."""

    vehicle: str
    setting: str
    strategy: str
    job: int
    seed: int


@dataclass(frozen=True)
class Result:
    """What came of it.

    Attributes:
        sort: Of the truth, see Truth.
        truth: What was wrong, COMPONENT/mode with its share of tries where it comes and goes.
        usd: Labour, parts, comebacks and referral.
        log: What was done, a line each.
    """

    vehicle: str
    setting: str
    strategy: str
    job: int
    sort: str
    truth: str
    solved: bool
    minutes: float
    usd: float
    parts_usd: float
    probes: int
    signs: int
    looks: int
    zones: int
    repairs: int
    good_parts: int
    good_joints: int
    visits: int
    comebacks: int
    stalls: int
    log: tuple[str, ...] = ()


def documents(vehicle_id: str) -> tuple[Json, Json, Json, Json]:
    """The vehicle, and the shipped kinds, rates and instruments."""
    folder = faultloom.data_path()
    names = (f"vehicles/{vehicle_id}.json", "kinds.json", "rates.json", "instruments.json")
    vehicle, kinds, rates, instruments = (
        json.loads((folder / n).read_text(encoding="utf-8")) for n in names
    )
    return vehicle, kinds, rates, instruments


class Workplace:
    """Everything about one vehicle that jobs share; one per process.

    Args:
        vehicle_id: Id of a shipped vehicle.
        spice: The simulator of this process.
    """

    def __init__(self, vehicle_id: str, spice: Spice) -> None:
        self.vehicle_id = vehicle_id
        self.spice = spice
        self.vehicle, self.kinds, self.rates, instruments = documents(vehicle_id)
        self.instruments: Json = instruments["instruments"]
        self.model = faultloom.Model.shipped(vehicle_id)
        self.draw = Draw(self.vehicle, self.kinds, self.rates, spice)
        self.rest = {c.id: c.rest for c in self.draw.wiring.controls.values()}
        self.manual = Manual(
            self.draw.wiring,
            tuple(ChartMaker(self.draw.wiring, spice).charts()),
            by_frequency(self.draw.wiring, self.draw.priors),
        )
        self._truths: dict[tuple[str, int, int], tuple[Truth, Draw]] = {}

    def truth(self, setting: str, job: int, seed: int) -> tuple[Truth, Draw]:
        """What is wrong in a job, the same for every strategy."""
        key = (setting, job, seed)
        if key not in self._truths:
            draw = self.draw
            if setting != SETTINGS[0]:
                factors = doubled_or_halved(self.rates, random_numbers(seed, job, RATES))
                draw = Draw(self.vehicle, self.kinds, self.rates, self.spice, factors)
            self._truths = {key: (draw.truth(random_numbers(seed, job, TRUTH)), draw)}
        return self._truths[key]

    def strategy(self, name: str) -> Strategy:
        """A technician who works in one of the ways."""
        make: dict[str, Callable[[], Strategy]] = {
            "advice": lambda: Advised(self.model, self.vehicle_id, self.rest),
            "fixed chart": lambda: FixedChart(self.manual),
            "half-split": lambda: HalfSplit(self.manual),
            "likeliest part": lambda: LikeliestPart(self.model, self.vehicle_id),
            "contactor first": lambda: ContactorFirst(self.manual),
            "truth known": TruthKnown,
        }
        return make[name]()

    def play(self, task: Task) -> Result:
        """One job from the complaint to its end."""
        truth, draw = self.truth(task.setting, task.job, task.seed)
        wiring = draw.build(truth.factors)
        errors = Errors() if task.setting == SETTINGS[0] else Errors().doubled()
        # The same stream for every strategy: none is luckier than the others from the start.
        hand = Hand(wiring, self.instruments, errors, random_numbers(task.seed, task.job, HAND))
        rng = random_numbers(task.seed, task.job, FAULTS)
        shop = Shop(truth, wiring, self.spice, self.instruments, hand, rng=rng)
        strategy = self.strategy(task.strategy)
        try:
            while not shop.over:
                strategy.visit(shop)
        except OutOfPatienceError:
            shop.give_up()
        t = shop.tally
        return Result(
            task.vehicle,
            task.setting,
            task.strategy,
            task.job,
            truth.sort,
            " ".join(_fault_text(f.mode, f.duty) for f in truth.faults),
            t.solved,
            round(t.minutes, 6),
            round(shop.usd, 6),
            t.parts_usd,
            t.probes,
            t.signs,
            t.looks,
            t.zones,
            t.repairs,
            t.good_parts,
            t.good_joints,
            t.visits,
            t.comebacks,
            t.stalls,
            tuple(t.log),
        )


def _fault_text(mode: str, duty: float) -> str:
    return mode if duty == 1 else f"{mode}@{duty:.2f}"


def random_numbers(seed: int, job: int, stream: int) -> np.random.Generator:
    """A stream of its own for each job and purpose."""
    return np.random.default_rng(np.random.SeedSequence([seed, job, stream]))


# -- processes ------------------------------------------------------------------------------------

_places: dict[str, Workplace] = {}
_spices: list[Spice] = []


def play(tasks: Sequence[Task]) -> list[Result]:
    """Plays tasks one after the other in this process."""
    results = []
    for task in tasks:
        if not _spices:
            _spices.append(Spice())
        if task.vehicle not in _places:
            _places[task.vehicle] = Workplace(task.vehicle, _spices[0])
        results.append(_places[task.vehicle].play(task))
    return results


def play_all(
    tasks: Sequence[Task], processes: int, *, keep_logs: bool = True
) -> Iterator[list[Result]]:
    """Plays tasks, all strategies of a job together, and yields the results of each job when done.

    Args:
        tasks: What to play.
        processes: How many at a time; each has an ngspice of its own.
        keep_logs: Whether results carry what was done.
    """
    jobs: dict[tuple[str, str, int], list[Task]] = {}
    for task in tasks:
        jobs.setdefault((task.vehicle, task.setting, task.job), []).append(task)
    groups = list(jobs.values())
    for results in _spread(groups, processes):
        yield results if keep_logs else [replace(r, log=()) for r in results]


def _spread(groups: list[list[Task]], processes: int) -> Iterator[list[Result]]:
    if processes <= 1:
        yield from map(play, groups)
        return
    # numpy's own threads would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes) as pool:
        yield from pool.imap_unordered(play, groups)


def in_order(results: Sequence[Result]) -> list[Result]:
    """Results in an order that does not depend on which process was faster."""
    return sorted(
        results, key=lambda r: (r.vehicle, r.setting, r.job, STRATEGIES.index(r.strategy))
    )


def write_logs(results: Sequence[Result], folder: Path) -> None:
    """One text file per job with what each strategy did."""
    for r in results:
        setting = r.setting.replace(" ", "-")
        file = folder / "logs" / f"{r.vehicle}-{setting}-{r.job:04d}.txt"
        file.parent.mkdir(parents=True, exist_ok=True)
        head = f"== {r.strategy}: {'solved' if r.solved else 'not solved'}, {r.usd:.0f} USD\n"
        truth = f"{r.sort}: {r.truth}\n"
        with file.open("a", encoding="utf-8") as stream:
            stream.write(head + truth + "\n".join(r.log) + "\n\n")
