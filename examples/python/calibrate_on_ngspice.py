"""Judges the chances of a ranking on jobs that the library had no part in making.

Usage: calibrate_on_ngspice.py FOLDER [--vehicle ID] [--jobs N] [--readings N] [--seed N]
                               [--budget-sets N] [--processes N]

What is wrong is drawn from the shipped rates until the vehicle does not drive; then come the
driver's complaint, a trial, the signs on the way, and readings at points of a test chart, picked
at random. ngspice solves the circuit, and somebody reads who errs as `whole_jobs.hand` says. Four
settings depart from what the library assumes, each further than the one before; see `SETTINGS`.
The first three have the same faults, but where a part's own value decides whether it drives.

Writes into FOLDER a history for each setting, scores.json and reliability.svg (what was said and
how often it was so). The same arguments give the same scores.

Needs the shared library of ngspice, matplotlib and rich.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import faultloom
import matplotlib as mpl
import numpy as np
from faultloom import Scores
from matplotlib.figure import Figure
from rich.console import Console
from rich.table import Table
from rich.text import Text
from whole_jobs.chart import ChartMaker
from whole_jobs.draw import Draw, Truth, doubled_or_halved, drive_states
from whole_jobs.hand import NO_ERRORS, Errors, Hand
from whole_jobs.run import CHOICE, FAULTS, HAND, RATES, TRUTH, documents, random_numbers
from whole_jobs.shop import Shop
from whole_jobs.spice import Spice

Json = dict[str, Any]

BINS = 100
"""Nearly all claims are of good parts; the last bins have those that a technician would act on."""


@dataclass(frozen=True)
class Setting:
    """How far jobs depart from what the library assumes.

    Attributes:
        title: In tables.
        errors: Of whoever reads.
        own_values: Whether parts differ from their documents within the tolerances of their kinds.
        own_rates: Whether true rates are off by a factor of two, up or down, for each kind.
    """

    title: str
    errors: Errors
    own_values: bool = True
    own_rates: bool = False


SETTINGS = (
    Setting("nobody errs", NO_ERRORS, own_values=False),
    Setting("people err", Errors(), own_values=False),
    Setting("parts differ", Errors()),
    Setting("errors doubled", Errors().doubled(), own_rates=True),
)


class AsDocumented(Draw):
    """Draws vehicles whose parts have the values of their documents."""

    def own_values(self, rng: np.random.Generator) -> dict[tuple[str, str], float]:
        """None. Takes as many random numbers as if parts differed."""
        super().own_values(rng)
        return {}


class Maker:
    """Makes closed jobs of one vehicle in one setting.

    Args:
        vehicle_id: Id of a shipped vehicle.
        setting: How far they depart.
        seed: Of everything that is drawn.
    """

    def __init__(self, vehicle_id: str, setting: Setting, seed: int) -> None:
        self._setting = setting
        self._seed = seed
        self._spice = Spice()
        self._vehicle, self._kinds, self._rates, instruments = documents(vehicle_id)
        self._instruments: Json = instruments["instruments"]
        self._draw = self._draw_with({})
        self._charts = ChartMaker(self._draw.wiring, self._spice).charts()

    def _draw_with(self, rate_factors: Mapping[str, float]) -> Draw:
        sort = Draw if self._setting.own_values else AsDocumented
        return sort(self._vehicle, self._kinds, self._rates, self._spice, rate_factors)

    def _rng(self, job: int, stream: int) -> np.random.Generator:
        return random_numbers(self._seed, job, stream)

    def job(self, number: int, readings: int) -> Json:
        """A closed job with its cause, as a history holds it.

        Args:
            number: Of the job; the same number is the same job.
            readings: How many, after complaint, trial and signs.
        """
        draw = self._draw
        if self._setting.own_rates:
            draw = self._draw_with(doubled_or_halved(self._rates, self._rng(number, RATES)))
        truth = draw.truth(self._rng(number, TRUTH))
        return {
            "id": f"job-{number}",
            "vehicle": self._vehicle["id"],
            "exposure_hours": self._rates["exposure_hours"],
            "closing": {"verdict": "repaired", "by": "verification"},
            "confirmed": [fault.mode for fault in truth.faults],
            "entries": self._entries(draw, truth, number, readings),
        }

    def _entries(self, draw: Draw, truth: Truth, number: int, readings: int) -> list[Json]:
        wiring = draw.build(truth.factors)
        hand = Hand(wiring, self._instruments, self._setting.errors, self._rng(number, HAND))
        rng = self._rng(number, FAULTS)
        shop = Shop(truth, wiring, self._spice, self._instruments, hand, rng=rng)
        entries = shop.intake()
        direction = truth.dead_directions[0]
        state = drive_states(wiring)[direction]
        for part, sign in wiring.signs:
            if sign != "turns":
                entries.append(shop.notice(part, sign, state))
        points = {point for branch in self._charts[direction].branches for point in branch.points}
        choice = self._rng(number, CHOICE)
        there = sorted(points - {wiring.datum})
        for red in choice.choice(there, size=min(readings, len(there)), replace=False):
            entries.append(shop.read("meter", str(red), wiring.datum, state))
        return [{"id": f"e{i + 1}", **entry} for i, entry in enumerate(entries)]


def history(vehicle_id: str, setting: Setting, jobs: int, readings: int, seed: int) -> Json:
    """A history document of jobs of one vehicle in one setting."""
    maker = Maker(vehicle_id, setting, seed)
    return {
        "format": "faultloom.history",
        "version": "1.0",
        "title": f"{vehicle_id}: {setting.title}",
        "source": "Invented: drawn by examples/python/calibrate_on_ngspice.py, solved by ngspice.",
        "license": "CC0-1.0",
        "seen": "all",
        "jobs": [maker.job(number, readings) for number in range(jobs)],
    }


@dataclass(frozen=True)
class Task:
    """One setting to judge."""

    vehicle: str
    setting: Setting
    jobs: int
    readings: int
    seed: int
    budget_sets: int | None


def judge(task: Task) -> tuple[Json, faultloom.Calibration]:
    """Makes the jobs of a setting and judges their rankings; the history and the scores."""
    made = history(task.vehicle, task.setting, task.jobs, task.readings, task.seed)
    model = faultloom.Model.shipped(task.vehicle)
    return made, faultloom.calibration(model, made, bins=BINS, budget_sets=task.budget_sets)


def score_table(scores: Mapping[str, Scores], jobs: int) -> Table:
    """A column for each setting."""
    table = Table(title=f"{jobs} jobs in each setting", box=None, pad_edge=False)
    table.add_column("", no_wrap=True)
    for title in scores:
        table.add_column(title, justify="right", no_wrap=True)
    rows: tuple[tuple[str, Callable[[Scores], str]], ...] = (
        ("log loss [nat per job]", lambda s: f"{s.log_loss:.3f}"),
        ("what it should be", lambda s: f"{s.entropy:.3f}"),
        ("excess", lambda s: f"{s.excess:+.3f}"),
        ("  standard error", lambda s: f"{s.excess_error:.3f}"),
        ("Brier score", lambda s: f"{s.brier:.5f}"),
        ("  reliability", lambda s: f"{s.reliability:.6f}"),
        ("  resolution", lambda s: f"{s.resolution:.5f}"),
        ("calibration error", lambda s: f"{s.calibration_error:.5f}"),
        ("  of which noise", lambda s: f"{s.noise_floor:.5f}"),
        ("highest hundredth: said", lambda s: f"{s.diagram[-1].mean_probability:.3f}"),
        ("  was so", lambda s: f"{s.diagram[-1].share_happened:.3f}"),
    )
    for name, text in rows:
        table.add_row(Text(name), *(text(s) for s in scores.values()))
    return table


def draw_reliability(scores: Mapping[str, Scores], file: Path) -> None:
    """What was said against how often it was so."""
    mpl.rcParams["svg.hashsalt"] = "calibrate_on_ngspice"
    figure = Figure(figsize=(5.5, 5), layout="constrained")
    axes = figure.subplots()
    axes.plot([1e-5, 1], [1e-5, 1], color="0.7", linewidth=1)
    for (title, score), marker in zip(scores.items(), "os^D", strict=False):
        said = [max(point.mean_probability, 1e-5) for point in score.diagram]
        was = [max(point.share_happened, 1e-5) for point in score.diagram]
        axes.plot(said, was, f"{marker}-", label=title, markersize=5)
    axes.set(xscale="log", yscale="log", xlabel="said", ylabel="was so")
    axes.legend()
    figure.savefig(file, metadata={"Date": None})


def main(words: Sequence[str]) -> int:
    """Runs the example."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--vehicle", default="mulch-tug", metavar="ID")
    parser.add_argument("--jobs", type=int, default=200, metavar="N")
    parser.add_argument("--readings", type=int, default=4, metavar="N")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--budget-sets", type=int, metavar="N", help="for each ranking")
    parser.add_argument("--processes", type=int, default=2, metavar="N")
    given = parser.parse_args(words)
    given.folder.mkdir(parents=True, exist_ok=True)
    tasks = [
        Task(given.vehicle, s, given.jobs, given.readings, given.seed, given.budget_sets)
        for s in SETTINGS
    ]
    with multiprocessing.get_context("spawn").Pool(given.processes) as pool:
        judged = pool.map(judge, tasks, chunksize=1)
    scores = {}
    for task, (made, answer) in zip(tasks, judged, strict=True):
        name = task.setting.title.replace(" ", "-")
        (given.folder / f"{name}.json").write_text(json.dumps(made) + "\n", encoding="utf-8")
        scores[task.setting.title] = answer.scores
    written = {
        task.setting.title: dict(answer) for task, (_, answer) in zip(tasks, judged, strict=True)
    }
    (given.folder / "scores.json").write_text(
        json.dumps(written, indent=2) + "\n", encoding="utf-8"
    )
    draw_reliability(scores, given.folder / "reliability.svg")
    Console().print(score_table(scores, judged[0][1].jobs))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
