"""python -m whole_jobs: plays jobs, prints tables, writes CSV, logs and plots."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from whole_jobs.plots import draw_plots
from whole_jobs.run import SETTINGS, Result, Task, in_order, play_all, write_logs
from whole_jobs.spice import SpiceError
from whole_jobs.strategies import STRATEGIES
from whole_jobs.tables import bars, by_sort, table, write_csv

VEHICLES = ("mulch-tug", "orchid-runner", "seedling-hauler")


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        message = f"{number} is not above 0"
        raise argparse.ArgumentTypeError(message)
    return number


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command line, read."""
    parser = argparse.ArgumentParser(
        prog="run-whole-jobs",
        description="Plays whole jobs and compares the library's advice with four habits.",
    )
    parser.add_argument("folder", type=Path, help="where CSV, tables, logs and plots go")
    parser.add_argument("--jobs", type=_positive, default=60, help="jobs per vehicle and setting")
    parser.add_argument("--first", type=int, default=0, help="number of the first job")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=_positive, default=2)
    parser.add_argument("--vehicle", action="append", choices=VEHICLES, help="all by default")
    parser.add_argument("--setting", action="append", choices=SETTINGS, help="both by default")
    parser.add_argument("--strategy", action="append", choices=STRATEGIES, help="all by default")
    return parser.parse_args(words)


def tasks_of(chosen: argparse.Namespace) -> list[Task]:
    """What the command line asks for, a job's strategies together."""
    return [
        Task(vehicle, setting, strategy, job, chosen.seed)
        for vehicle in chosen.vehicle or VEHICLES
        for setting in chosen.setting or SETTINGS
        for job in range(chosen.first, chosen.first + chosen.jobs)
        for strategy in chosen.strategy or STRATEGIES
    ]


def main(words: list[str] | None = None) -> int:
    """Runs the bench; 2 if ngspice is missing."""
    chosen = arguments(words)
    folder: Path = chosen.folder
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("logs/*.txt"):
        old.unlink()
    tasks = tasks_of(chosen)
    results: list[Result] = []
    columns = (TextColumn("jobs"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    try:
        with Progress(*columns, console=Console(stderr=True)) as progress:
            bar = progress.add_task(
                "jobs", total=len({(t.vehicle, t.setting, t.job) for t in tasks})
            )
            for done in play_all(tasks, chosen.processes):
                write_logs(done, folder)
                results = in_order([*results, *done])
                write_csv(results, folder / "jobs.csv")
                progress.advance(bar)
    except SpiceError as error:
        print(error, file=sys.stderr)
        return 2
    text = report(results)
    (folder / "tables.txt").write_text(text, encoding="utf-8")
    print(text, end="")
    draw_plots(results, folder)
    return 0


def report(results: list[Result]) -> str:
    """All tables and, where they apply, the bars."""
    blocks = []
    for vehicle, setting in sorted({(r.vehicle, r.setting) for r in results}):
        blocks.append(table(results, vehicle, setting))
        blocks.append(by_sort(results, vehicle, setting))
        if vehicle == "seedling-hauler" and (found := bars(results, setting)):
            blocks.append(found)
    return "\n\n".join(blocks) + "\n"
