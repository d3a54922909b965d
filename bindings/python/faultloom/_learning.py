"""The commands `learn` and `calibrate`: what they read, ask and print."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from faultloom._bench import (
    RefusedError,
    Sources,
    build_model,
    one_line,
    parse,
    problem_line,
    read_file,
)
from faultloom._layout import and_more, indented
from faultloom._terminal import Patience, show, write_exactly
from faultloom.documents import find_vehicle
from faultloom.errors import Code, Error
from faultloom.learning import Calibration, Change, Learned, Scores, calibration, learn_rates
from faultloom.model import Model, Progress

_FINE = 0
_MOST_CHANGES = 12
_MOST_DOUBTS = 8

Arguments = argparse.Namespace
AddCommand = Callable[..., argparse.ArgumentParser]


def add_commands(commands: Any, command: AddCommand, whole: Callable[[str, int, int], int]) -> None:
    """Adds the commands to a parser.

    Args:
        commands: Where argparse keeps the commands.
        command: Makes one: (commands, name, function to run, help).
        whole: Reads a whole number between two others.
    """
    learn = command(commands, "learn", _learn, "learn failure rates from a history of closed jobs")
    _add_history(learn, whole)
    learn.add_argument(
        "--output", metavar="FILE", help="write the new rates document to FILE, for --rates"
    )
    learn.add_argument(
        "--no-pool", action="store_true", help="do not let kinds of a class learn from each other"
    )
    judge = command(
        commands,
        "calibrate",
        _calibrate,
        "show how right the rankings of past jobs were, where the cause was confirmed",
    )
    _add_history(judge, whole)
    judge.add_argument(
        "--against", metavar="FILE", help="rates to compare with those of --rates on the same jobs"
    )
    judge.add_argument(
        "--bins",
        type=lambda text: whole(text, 1, 1000),
        metavar="N",
        help="points of the reliability diagram (10)",
    )


def _add_history(parser: argparse.ArgumentParser, whole: Callable[[str, int, int], int]) -> None:
    parser.add_argument("history", metavar="HISTORY", help="history document")
    parser.add_argument(
        "--vehicle",
        action="append",
        metavar="FILE",
        help="vehicle in the history, once for each (found by their ids in ../vehicles beside it, "
        "else in the shipped data)",
    )
    parser.add_argument(
        "--budget-sets",
        type=lambda text: whole(text, 0, 1000000000),
        metavar="N",
        help="end the search in each job after about so many sets of faults, 0 for no limit (8000)",
    )


def _learn(given: Arguments) -> int:
    def ask(text: bytes, progress: Progress) -> str:
        models = _models(given, text, given.rates)
        return learn_rates(
            models,
            text,
            pool=False if given.no_pool else None,
            budget_sets=given.budget_sets,
            progress=progress,
        ).text

    answer = _asked(given, ask)
    if given.output is not None:
        _write(given.output, json.dumps(json.loads(answer)["rates"], indent=2) + "\n")
    if given.json:
        write_exactly(answer)
    else:
        show(*_learned(Learned(answer)))
    return _FINE


def _calibrate(given: Arguments) -> int:
    def ask(text: bytes, progress: Progress) -> str:
        others = () if given.against is None else _models(given, text, given.against)
        return calibration(
            _models(given, text, given.rates),
            text,
            against=others,
            bins=given.bins,
            budget_sets=given.budget_sets,
            progress=progress,
        ).text

    answer = _asked(given, ask)
    if given.json:
        write_exactly(answer)
    else:
        show(*_calibrated(Calibration(answer)))
    return _FINE


def _asked(given: Arguments, ask: Callable[[bytes, Progress], str]) -> str:
    text = read_file(given.history)
    parse(given.history, text, "history")
    with Patience() as patience:
        try:
            return ask(text, patience)
        except Error as error:
            if error.code >= int(Code.ARGUMENT):
                raise
            raise RefusedError(
                problem_line(given.history, problem) for problem in error.problems
            ) from None


def _models(given: Arguments, text: bytes, rates: str | None) -> list[Model]:
    """A model of each vehicle in the history."""
    history = json.loads(text)
    rows = [*history["jobs"], *history.get("running", [])]
    wanted = dict.fromkeys(row["vehicle"] for row in rows)
    files = list(given.vehicle or [])
    known = {json.loads(read_file(file)).get("id") for file in files} if files else set()
    beside = None if given.history == "-" else given.history
    for vehicle_id in wanted:
        if vehicle_id in known:
            continue
        try:
            files.append(str(find_vehicle(vehicle_id, beside)))
        except FileNotFoundError:
            line = f"There is no file for vehicle '{vehicle_id}'; give one with --vehicle"
            raise RefusedError([one_line(f"{given.history}: {line}")]) from None
    if not files:
        raise RefusedError([one_line(f"{given.history}: The history has no job and no hours")])
    sources = Sources(None, given.kinds, rates, given.instruments)
    return [build_model(file, read_file(file), sources) for file in files]


def _write(path: str, text: str) -> None:
    """Writes a file in one go, so that a half-written one never stands there."""
    target = Path(path)
    part = target.with_name(target.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise RefusedError(
            [one_line(f"{path}: Can't be written: {error.strerror or error}")]
        ) from None


# -- layout ----------------------------------------------------------------------------------------


def _table(*columns: str) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for i, column in enumerate(columns):
        table.add_column(column, justify="left" if i == 0 else "right", no_wrap=i > 0)
    table.add_row(*(Text(column, style="dim") for column in columns))
    return table


def _weight(change: Change) -> float:
    """How much there is to tell of a change: a great factor from few failures comes late."""
    return abs(change.factor - 1) * (change.certain_failures + 0.1)


def _learned(learned: Learned) -> Iterable[RenderableType]:
    history = learned["history"]
    jobs = history["confirmed"] + history["weighed"]
    yield Text(
        f"Learned from {jobs} jobs, {history['confirmed']} with a confirmed cause and "
        f"{history['weighed']} weighed by their entries, and {history['running_hours']:,.0f} h "
        "without a failure."
    )
    for row in history["skipped"]:
        yield indented(Text(one_line(f"{row['id']} left out: {row['why']}")))
    changes = sorted(learned.changes, key=_weight, reverse=True)
    if changes:
        yield Text("\nFailures per million hours, with 5 % and 95 % quantiles:")
        table = _table("kind", "before", "after", "low", "high", "seen")
        for change in changes[:_MOST_CHANGES]:
            after = change.after
            table.add_row(
                change.kind,
                f"{change.before.mean:.3g}",
                f"{after.mean:.3g}",
                f"{after.low:.3g}",
                f"{after.high:.3g}",
                f"{change.failures:.1f}",
            )
        yield indented(table)
        if len(changes) > _MOST_CHANGES:
            yield indented(Text(f"and {len(changes) - _MOST_CHANGES} more that changed less"))
    doubts = learned.cannot_say
    if doubts:
        yield Text("\nWhat this history can't say yet:")
        for about, why in doubts[:_MOST_DOUBTS]:
            yield indented(Text(one_line(f"{about}: {why}")))
        if len(doubts) > _MOST_DOUBTS:
            yield indented(Text(and_more(len(doubts) - _MOST_DOUBTS)))


def _calibrated(answer: Calibration) -> Iterable[RenderableType]:
    scores = answer.scores
    yield Text(f"{answer.jobs} jobs with entries and a confirmed cause.")
    table = _table("", "these rates", *(["against"] if answer.against else []))
    rows: list[tuple[str, Callable[[Scores], str]]] = [
        ("log loss [nat per job]", lambda s: f"{s.log_loss:.3f} ± {s.log_loss_error:.3f}"),
        ("what it should be", lambda s: f"{s.entropy:.3f}"),
        ("excess", lambda s: f"{s.excess:+.3f} ± {s.excess_error:.3f}"),
        ("Brier score", lambda s: f"{s.brier:.5f}"),
        ("calibration error", lambda s: f"{s.calibration_error:.4f}"),
        ("of which noise", lambda s: f"{s.noise_floor:.4f}"),
    ]
    for title, cell in rows:
        table.add_row(title, cell(scores), *([cell(answer.against)] if answer.against else []))
    yield indented(table)
    if answer.log_loss_difference is not None:
        mean, error = answer.log_loss_difference
        yield Text(f"\nLog loss, these minus against, job by job: {mean:+.3f} ± {error:.3f} nat")
    yield Text("\nWhat was said, and how often it was so:")
    diagram = _table("said", "was so", "claims")
    for point in scores.diagram:
        diagram.add_row(
            f"{point.mean_probability:.4f}", f"{point.share_happened:.4f}", f"{point.claims}"
        )
    yield indented(diagram)
