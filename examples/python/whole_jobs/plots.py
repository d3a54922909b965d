"""Plots of the results as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from whole_jobs.run import Result
from whole_jobs.strategies import STRATEGIES
from whole_jobs.tables import MEASURES, mean_and_error, of

SHOWN = ("USD", "minutes", "probes", "zones", "good parts /100", "unsolved /100")
PALETTE = ("#1b6ca8", "#8a8a8a", "#c98b2b", "#7a4b94", "#3f8f5b", "#3a3a3a")
COLORS = dict(zip(STRATEGIES, PALETTE, strict=True))


def draw_plots(results: Sequence[Result], folder: Path) -> list[Path]:
    """Writes one picture of means and one of distributions per vehicle and setting.

    The same results give the same bytes: no date, and ids that do not change.
    """
    mpl.rcParams["svg.hashsalt"] = "whole_jobs"
    written = []
    for vehicle, setting in sorted({(r.vehicle, r.setting) for r in results}):
        here = of(results, vehicle=vehicle, setting=setting)
        name = f"{vehicle}-{setting.replace(' ', '-')}"
        for kind, figure in (("means", _means(here)), ("costs", _costs(here))):
            jobs = len({r.job for r in here})
            figure.suptitle(f"{vehicle}, errors {setting}, {jobs} jobs")
            file = folder / f"{name}-{kind}.svg"
            figure.savefig(file, metadata={"Date": None})
            written.append(file)
    return written


def _present(results: Sequence[Result]) -> list[str]:
    found = {r.strategy for r in results}
    return [s for s in STRATEGIES if s in found]


def _means(results: Sequence[Result]) -> Figure:
    """A bar per strategy with its standard error, a panel per measure."""
    figure = Figure(figsize=(11, 6), layout="constrained")
    panels = np.ravel(figure.subplots(2, 3))
    strategies = _present(results)
    for axes, name in zip(panels, SHOWN, strict=True):
        measure, _ = MEASURES[name]
        pairs = [mean_and_error([measure(r) for r in of(results, strategy=s)]) for s in strategies]
        places = range(len(strategies))
        colors = [COLORS[s] for s in strategies]
        axes.barh(places, [m for m, _ in pairs], xerr=[e for _, e in pairs], color=colors)
        axes.set_yticks(places, strategies)
        axes.invert_yaxis()
        axes.set_title(name)
        _plain(axes)
    return figure


def _costs(results: Sequence[Result]) -> Figure:
    """Share of jobs that are done for at most so much."""
    figure = Figure(figsize=(8, 5), layout="constrained")
    axes = figure.subplots()
    for strategy in _present(results):
        usd = sorted(r.usd if r.solved else np.inf for r in of(results, strategy=strategy))
        done = [u for u in usd if np.isfinite(u)]
        shares = [100 * (i + 1) / len(usd) for i in range(len(done))]
        axes.step(done, shares, where="post", label=strategy, color=COLORS[strategy])
    axes.set_xscale("log")
    axes.set_xlabel("cost of the job [USD]")
    axes.set_ylabel("jobs solved for at most so much [%]")
    axes.set_ylim(0, 101)
    axes.legend(frameon=False)
    _plain(axes)
    return figure


def _plain(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
