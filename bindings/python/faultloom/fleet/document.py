"""A yard's vehicles and open complaints, from a fleet document or a table."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped, import-not-found, unused-ignore]

from faultloom.documents import Document, data_path, find_vehicle, raw_text_of
from faultloom.errors import Code, Error, Problem

TRAITS = (
    "site",
    "build_batch",
    "battery_batch",
    "battery_age_months",
    "charger",
    "serviced",
    "washed",
)
"""What vehicles can have in common, as members of a vehicle and columns of a table."""

_MONTHS_ALIKE = 6
_COMPLAINS = ("complained", "complaint", "found", "entries", "job")
_TEXTS = ("id", "vehicle", "environment", "complaint")


@dataclass(frozen=True, slots=True)
class Unit:
    """One vehicle of the yard.

    Attributes:
        id: Its name in the yard.
        vehicle: Path of its vehicle document.
        where: Place in the document or table it came from: "/vehicles/3" or "row 5".
        exposure_hours: Running hours since last known good [h]; None if not given.
        environment: Name in the failure rates, "" if not given.
        traits: What it shares with others, by the names in `TRAITS`.
        downtime_usd_per_hour: What an hour without it costs [USD/h]; None if not given.
        downtime_usd_per_day: The same for a working day [USD/day]; None if not given.
        complained: When the complaint came in.
        needed_by: When it has to run again.
        drives: Whether it drives all the same. One that waits without a job document is taken not
            to, unless its findings speak of it.
        unsafe: A danger; comes first.
        blocking: In the way of others; comes first.
        complaint: The driver's words.
        waits: Whether it waits for a repair.
        found: Findings in the words of the bench.
        entries: Findings as entries of a job.
        job: The job, if it came as a document; its members come before those above.
    """

    id: str
    vehicle: Path
    where: str
    exposure_hours: float | None = None
    environment: str = ""
    traits: Mapping[str, str] = field(default_factory=dict)
    downtime_usd_per_hour: float | None = None
    downtime_usd_per_day: float | None = None
    complained: datetime.datetime | None = None
    needed_by: datetime.datetime | None = None
    drives: bool = False
    unsafe: bool = False
    blocking: bool = False
    complaint: str = ""
    waits: bool = False
    found: tuple[str, ...] = ()
    entries: tuple[Mapping[str, Any], ...] = ()
    job: Mapping[str, Any] | Path | None = None


@dataclass(frozen=True, slots=True)
class SetAside:
    """What could not be used, and why; the rest goes on without it.

    Attributes:
        id: Name of the vehicle, "" if it has none.
        where: Place in the document or table: "/vehicles/3" or "row 5".
        problems: What to do about it, a line each.
        cells: The row as it was, by column; empty if it came from a document.
    """

    id: str
    where: str
    problems: tuple[str, ...]
    cells: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fleet:
    """The vehicles of a yard and what waits for a repair.

    Attributes:
        title: What the list is about.
        units: The vehicles, those that wait and those that run.
        begins: When work can begin; None if not given.
        labour_usd_per_hour: Price of an hour of work [USD/h]; None if not given.
        downtime_usd_per_hour: Of vehicles that do not say [USD/h]; None if not given.
        set_aside: Rows of a table that could not be read.
        rows: The rows of a table as they were, by `Unit.where`.
        columns: The columns of that table in their order.
    """

    title: str
    units: tuple[Unit, ...]
    begins: datetime.datetime | None = None
    labour_usd_per_hour: float | None = None
    downtime_usd_per_hour: float | None = None
    set_aside: tuple[SetAside, ...] = ()
    rows: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    columns: tuple[str, ...] = ()

    @property
    def waiting(self) -> tuple[Unit, ...]:
        """The vehicles that wait for a repair, in the order of the list."""
        return tuple(unit for unit in self.units if unit.waits)


def moment(text: str) -> datetime.datetime:
    """A day, or a day and time, without a time zone.

    Raises:
        ValueError: It is neither.
    """
    return datetime.datetime.fromisoformat(text)


def traits_of(members: Mapping[str, Any]) -> dict[str, str]:
    """What a vehicle shares with others; ages of blocks are alike within half a year."""
    traits = {name: str(members[name]) for name in TRAITS if members.get(name) not in (None, "")}
    if "battery_age_months" in traits:
        least = int(float(traits["battery_age_months"]) // _MONTHS_ALIKE) * _MONTHS_ALIKE
        traits["battery_age_months"] = f"{least} to {least + _MONTHS_ALIKE}"
    return traits


def check_fleet(document: Document) -> list[Problem]:
    """All problems of a fleet document; the jobs in it are checked by `triage`.

    Args:
        document: Path, JSON text or parsed object.

    Returns:
        An empty list if it is fine.

    Raises:
        OSError: A path can't be read.
    """
    text = raw_text_of(document)
    try:
        return _problems(_parsed(text), _folder_of(document))
    except Error as error:
        return error.problems


def fleet_of(document: Document) -> Fleet:
    """The fleet in a document.

    Raises:
        Error: With every problem of the document.
        OSError: A path can't be read.
    """
    parsed = _parsed(raw_text_of(document))
    folder = _folder_of(document)
    if problems := _problems(parsed, folder):
        raise Error(problems)
    units = tuple(
        _unit(members, f"/vehicles/{i}", folder) for i, members in enumerate(parsed["vehicles"])
    )
    return Fleet(
        str(parsed.get("title", "")),
        units,
        moment(parsed["begins"]) if "begins" in parsed else None,
        parsed.get("labour_usd_per_hour"),
        parsed.get("downtime_usd_per_hour"),
    )


def vehicle_path(name: str, folder: Path | None) -> Path:
    """The vehicle document that a fleet means.

    Args:
        name: Id, or a path that ends in .json.
        folder: Where the list is; None if it did not come from a file.

    Raises:
        FileNotFoundError: There is none.
    """
    if not name.endswith(".json"):
        return find_vehicle(name, None if folder is None else folder / "list")
    path = (folder or Path()) / name
    if not path.is_file():
        raise FileNotFoundError(path)
    return path


def _folder_of(document: Document) -> Path | None:
    if isinstance(document, str) and document.lstrip("\ufeff \t\r\n").startswith(("{", "[")):
        return None
    return Path(document).absolute().parent if isinstance(document, str | os.PathLike) else None


def _parsed(text: str | bytes) -> dict[str, Any]:
    try:
        parsed = json.loads(text)
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        raise Error([_problem(Code.SYNTAX, f"This is not JSON: {error}", "")]) from None
    if not isinstance(parsed, dict):
        raise Error([_problem(Code.SCHEMA, "A fleet document is an object", "")])
    return parsed


def _problem(code: Code, message: str, pointer: str) -> Problem:
    return Problem(int(code), code.name.lower(), message, pointer)


def pointer_of(path: Iterable[str | int]) -> str:
    """A JSON pointer (RFC 6901)."""
    return "".join("/" + str(p).replace("~", "~0").replace("/", "~1") for p in path)


def _problems(parsed: Mapping[str, Any], folder: Path | None) -> list[Problem]:
    schema = json.loads((data_path() / "schema" / "fleet.schema.json").read_text("utf-8"))
    validator = jsonschema.Draft7Validator(schema)
    found = sorted(validator.iter_errors(parsed), key=lambda e: [str(p) for p in e.path])
    problems = [_problem(Code.SCHEMA, _said(e), pointer_of(e.path)) for e in found]
    if problems:
        return problems
    return [*_twice(parsed["vehicles"]), *_missing(parsed, folder)]


def _said(error: Any) -> str:
    """What a schema says against a value, with what to do."""
    if error.validator == "not":
        return "Give either 'job', or 'found' and 'entries'"
    text = str(error.message)
    described = error.schema.get("description") if isinstance(error.schema, Mapping) else None
    if len(text) > 200:
        text = text[:197] + "..."
    return f"{text}; it is: {described}" if described else text


def _twice(vehicles: Sequence[Mapping[str, Any]]) -> list[Problem]:
    seen: dict[str, int] = {}
    problems = []
    for i, members in enumerate(vehicles):
        name = members["id"]
        if name in seen:
            line = f"'{name}' is the name of vehicle {seen[name]} too; give each its own"
            problems.append(_problem(Code.DUPLICATE, line, f"/vehicles/{i}/id"))
        seen.setdefault(name, i)
    return problems


def _missing(parsed: Mapping[str, Any], folder: Path | None) -> list[Problem]:
    problems = []
    for i, members in enumerate(parsed["vehicles"]):
        at = f"/vehicles/{i}"
        try:
            vehicle_path(members["vehicle"], folder)
        except FileNotFoundError:
            line = f"There is no vehicle '{members['vehicle']}'; give its id or its path"
            problems.append(_problem(Code.REFERENCE, line, f"{at}/vehicle"))
        job = members.get("job")
        if isinstance(job, str) and not ((folder or Path()) / job).is_file():
            line = f"There is no file '{job}'; give the path of a job document or journal"
            problems.append(_problem(Code.REFERENCE, line, f"{at}/job"))
        problems += _dates(members, at)
    return problems + _dates(parsed, "")


def _dates(members: Mapping[str, Any], at: str) -> list[Problem]:
    problems = []
    for name in ("begins", "complained", "needed_by", "washed"):
        if name not in members:
            continue
        try:
            moment(members[name])
        except ValueError:
            line = f"'{members[name]}' is no day of the calendar; write YYYY-MM-DD"
            problems.append(_problem(Code.VALUE, line, f"{at}/{name}"))
    return problems


def _unit(members: Mapping[str, Any], where: str, folder: Path | None) -> Unit:
    job = members.get("job")
    dates = {n: moment(members[n]) for n in ("complained", "needed_by") if n in members}
    return Unit(
        id=members["id"],
        vehicle=vehicle_path(members["vehicle"], folder),
        where=where,
        exposure_hours=members.get("exposure_hours"),
        environment=members.get("environment", ""),
        traits=traits_of(members),
        downtime_usd_per_hour=members.get("downtime_usd_per_hour"),
        downtime_usd_per_day=members.get("downtime_usd_per_day"),
        drives=members.get("drives", False),
        unsafe=members.get("unsafe", False),
        blocking=members.get("blocking", False),
        complaint=members.get("complaint", ""),
        waits=any(name in members for name in _COMPLAINS),
        found=tuple(members.get("found", ())),
        entries=tuple(members.get("entries", ())),
        job=(folder or Path()) / job if isinstance(job, str) else job,
        **dates,
    )
