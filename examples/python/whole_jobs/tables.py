"""Results as CSV and as tables with standard errors."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, fields
from pathlib import Path

import numpy as np

from whole_jobs.run import Result
from whole_jobs.strategies import STRATEGIES

COST_BAR, GOOD_PARTS_BAR = 0.45, 3.0
BARS_VEHICLE = "seedling-hauler"

Measure = Callable[[Result], float]

MEASURES: dict[str, tuple[Measure, str]] = {
    "minutes": (lambda r: r.minutes, ".0f"),
    "USD": (lambda r: r.usd, ".0f"),
    "probes": (lambda r: r.probes, ".1f"),
    "zones": (lambda r: r.zones, ".2f"),
    "good parts /100": (lambda r: 100.0 * r.good_parts, ".1f"),
    "good joints /100": (lambda r: 100.0 * r.good_joints, ".1f"),
    "unsolved /100": (lambda r: 0.0 if r.solved else 100.0, ".1f"),
    "comebacks /100": (lambda r: 100.0 * r.comebacks, ".0f"),
    "stalls /100": (lambda r: 100.0 * r.stalls, ".0f"),
}


def mean_and_error(values: Sequence[float]) -> tuple[float, float]:
    """Mean and its standard error; an error of nan for a single value."""
    array = np.asarray(values, dtype=float)
    error = float(array.std(ddof=1) / math.sqrt(len(array))) if len(array) > 1 else math.nan
    return float(array.mean()), error


def ratio_and_error(above: Sequence[float], below: Sequence[float]) -> tuple[float, float]:
    """Ratio of two means over the same jobs, and its standard error to first order."""
    a, b = np.asarray(above, dtype=float), np.asarray(below, dtype=float)
    ratio = float(a.mean() / b.mean())
    return ratio, mean_and_error(list((a - ratio * b) / b.mean()))[1]


def write_csv(results: Iterable[Result], file: Path) -> None:
    """One row per job and strategy; the same bytes for the same results."""
    columns = [f.name for f in fields(Result) if f.name != "log"]
    with file.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n", extrasaction="ignore")
        writer.writeheader()
        for result in results:
            row = asdict(result)
            row["solved"] = int(result.solved)
            writer.writerow(row)


def of(results: Iterable[Result], **wanted: str) -> list[Result]:
    """Results with these members, in the order of their jobs."""
    found = [r for r in results if all(getattr(r, k) == v for k, v in wanted.items())]
    return sorted(found, key=lambda r: r.job)


def table(results: Sequence[Result], vehicle: str, setting: str) -> str:
    """One row per strategy: mean and standard error of each measure, and the bars."""
    here = of(results, vehicle=vehicle, setting=setting)
    jobs = len({r.job for r in here})
    lines = [f"{vehicle}, {setting}, {jobs} jobs (mean and standard error)"]
    heads = "".join(f"{name:>18}" for name in MEASURES)
    lines.append(f"{'':16}{heads}{'USD / chart':>18}")
    chart = of(here, strategy="fixed chart")
    for strategy in STRATEGIES:
        own = of(here, strategy=strategy)
        if not own:
            continue
        cells = ""
        for measure, form in MEASURES.values():
            mean, error = mean_and_error([measure(r) for r in own])
            cells += f"{f'{mean:{form}} ± {error:{form}}':>18}"
        if chart and len(chart) == len(own):
            ratio, error = ratio_and_error([r.usd for r in own], [r.usd for r in chart])
            cells += f"{f'{ratio:.2f} ± {error:.2f}':>18}"
        lines.append(f"{strategy:16}{cells}")
    return "\n".join(lines)


def by_sort(results: Sequence[Result], vehicle: str, setting: str) -> str:
    """Mean cost [USD] by what was wrong, and how many jobs there were of it."""
    here = of(results, vehicle=vehicle, setting=setting)
    sorts = sorted({r.sort for r in here})
    counts = {s: len({r.job for r in here if r.sort == s}) for s in sorts}
    heads = "".join(f"{f'{s} ({counts[s]})':>20}" for s in sorts)
    lines = ["USD by what was wrong (jobs)", f"{'':16}{heads}"]
    for strategy in STRATEGIES:
        own = of(here, strategy=strategy)
        if own:
            cells = ""
            for sort in sorts:
                mean, error = mean_and_error([r.usd for r in own if r.sort == sort])
                cells += f"{f'{mean:.0f} ± {error:.0f}':>20}"
            lines.append(f"{strategy:16}{cells}")
    return "\n".join(lines)


def bars(results: Sequence[Result], setting: str) -> str:
    """Whether the library's advice keeps its promises on the largest vehicle."""
    advice = of(results, vehicle=BARS_VEHICLE, setting=setting, strategy="advice")
    chart = of(results, vehicle=BARS_VEHICLE, setting=setting, strategy="fixed chart")
    if not advice or len(advice) != len(chart):
        return ""
    ratio, ratio_error = ratio_and_error([r.usd for r in advice], [r.usd for r in chart])
    parts, parts_error = mean_and_error([100.0 * r.good_parts for r in advice])
    unsolved = sum(not r.solved for r in advice)
    rows = [
        (f"cost {ratio:.2f} ± {ratio_error:.2f} of the fixed chart", ratio <= COST_BAR, COST_BAR),
        (
            f"{parts:.1f} ± {parts_error:.1f} good parts replaced per 100 jobs",
            parts <= GOOD_PARTS_BAR,
            GOOD_PARTS_BAR,
        ),
        (f"{unsolved} jobs not solved", unsolved == 0, 0),
    ]
    return "\n".join(
        f"{'reached' if ok else 'MISSED ':8} {text}, at most {limit:g}" for text, ok, limit in rows
    )
