"""The command `check`: what is wrong with documents, run lists and tables of complaints."""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from faultloom._bench import Sources, build_model, is_lint, one_line, problem_line, read_file
from faultloom._terminal import complain, write_exactly
from faultloom.documents import find_vehicle, text_of
from faultloom.errors import Code, Error, Problem
from faultloom.model import check_document, vehicle_from_run_list

FINE, FINDINGS, BAD = 0, 1, 2
_FLEET = "faultloom.fleet"

Arguments = argparse.Namespace
AddCommand = Callable[..., argparse.ArgumentParser]


def add_commands(
    commands: Any, command: AddCommand, add_vehicle: Callable[[argparse.ArgumentParser], None]
) -> None:
    """Adds the command to a parser.

    Args:
        commands: Where argparse keeps the commands.
        command: Makes one: (commands, name, function to run, help).
        add_vehicle: Adds the option for the vehicle of a job.
    """
    check = command(
        commands, "check", _check, "check documents and tables, all problems one a line"
    )
    check.add_argument(
        "files",
        metavar="FILE",
        nargs="+",
        help="documents in JSON; run lists and tables of complaints in .csv",
    )
    add_vehicle(check)


def _check(given: Arguments) -> int:
    sources = Sources(given.vehicle, given.kinds, given.rates, given.instruments)
    worst = FINE
    report: list[dict[str, Any]] = []
    for file in given.files:
        problems, code = _checked(file, sources)
        worst = max(worst, code)
        rows = [
            {"code": p.name, "number": p.code, "message": p.message, "pointer": p.pointer}
            for p in problems
        ]
        report.append({"file": file, "problems": rows})
        if not given.json:
            lines = [problem_line(file, p) for p in problems] or [one_line(f"{file}: fine")]
            sys.stdout.writelines(line + "\n" for line in lines)
    if given.json:
        write_exactly(json.dumps(report, indent=2, ensure_ascii=False) + "\n")
    return worst


def _checked(file: str, sources: Sources) -> tuple[list[Problem], int]:
    """The problems of one file and the exit code they deserve."""
    text = read_file(file)
    if Path(file).suffix.lower() == ".csv":
        return _check_table(file) if _is_table(text) else _check_run_list(text)
    if _format_of(text) == _FLEET:
        return _check_fleet(file, text)
    kinds = None if sources.kinds is None else read_file(sources.kinds)
    problems = check_document(text, kinds)
    if all(is_lint(p) for p in problems):
        try:
            _check_further(file, text_of(text), sources)
        except Error as error:
            return error.problems, BAD
    if not problems:
        return [], FINE
    return problems, FINDINGS if all(is_lint(p) for p in problems) else BAD


def _check_further(file: str, given: str | bytes, sources: Sources) -> None:
    """Checks what one document alone does not show: names in a job, the use of a vehicle."""
    text = given.encode() if isinstance(given, str) else given
    document = json.loads(text)
    if document["format"] == "faultloom.vehicle":
        build_model(file, text, sources)
    if document["format"] != "faultloom.job":
        return
    try:
        vehicle = sources.vehicle or str(
            find_vehicle(document["vehicle"], None if file == "-" else file)
        )
    except FileNotFoundError:
        note = f"Checked without its vehicle '{document['vehicle']}'; give it with --vehicle"
        complain([one_line(f"{file}: {note}")])
        return
    build_model(vehicle, read_file(vehicle), sources).mode_priors(text)


def _format_of(text: bytes) -> str:
    try:
        document = json.loads(text)
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        return ""
    return str(document.get("format", "")) if isinstance(document, dict) else ""


def _check_run_list(text: bytes) -> tuple[list[Problem], int]:
    try:
        vehicle_from_run_list(text, "unnamed")
    except Error as error:
        return error.problems, BAD
    return [], FINE


def _check_fleet(file: str, text: bytes) -> tuple[list[Problem], int]:
    # Not at the top: it needs more packages than the rest.
    from faultloom.fleet import check_fleet  # noqa: PLC0415

    problems = check_fleet(text if file == "-" else file)
    return problems, BAD if problems else FINE


def _is_table(text: bytes) -> bool:
    """Whether a table is one of complaints, not a list of wires."""
    first = text.partition(b"\n")[0].decode("utf-8-sig", "replace")
    header = next(csv.reader(io.StringIO(first), delimiter="," if "," in first else ";"), [])
    names = {name.strip().lower() for name in header}
    return "vehicle" in names and "wire" not in names


def _check_table(file: str) -> tuple[list[Problem], int]:
    from faultloom.fleet import load_fleet  # noqa: PLC0415

    try:
        fleet = load_fleet(file)
    except Error as error:
        return error.problems, BAD
    problems = [
        Problem(int(Code.VALUE), "value", f"{row.where}, {line}", "")
        for row in fleet.set_aside
        for line in row.problems
    ]
    return problems, BAD if problems else FINE
