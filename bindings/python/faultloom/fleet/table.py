"""A table of open complaints in CSV, one a row; rows that can't be read are set aside."""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from faultloom.errors import Code, Error, Problem
from faultloom.fleet.document import TRAITS, Fleet, SetAside, Unit, moment, traits_of, vehicle_path

COLUMNS: Mapping[str, str] = {
    "id": "name of the vehicle in the yard, once per table; a letter, then letters, digits, - or _",
    "vehicle": "id of the vehicle document, or its path seen from the table, ending in .json",
    "hours": "running hours since it was last known to be good",
    "environment": "surroundings by name in the failure rates, such as wet",
    "complained": "when the complaint came in, YYYY-MM-DD or YYYY-MM-DDTHH:MM",
    "complaint": "what the driver says",
    "found": "findings in the words of the bench, with | between them",
    "cues": "what the driver answered, by name in the failure rates, with | between; 'no' before "
    "a name turns it round",
    "job": "path of a job document or journal, seen from the table; excludes found and cues",
    "downtime_usd_per_hour": "what an hour without it costs",
    "downtime_usd_per_day": "the same for a working day",
    "needed_by": "when it has to run again, as complained",
    "drives": "yes or no; without it a vehicle is taken not to, unless its findings speak of it",
    "unsafe": "yes or no",
    "blocking": "yes or no",
    "site": "where it is kept",
    "build_batch": "with which others it was built",
    "battery_batch": "with which others it got its battery blocks",
    "battery_age_months": "age of its battery blocks in months",
    "charger": "the charger or supply that it stands at",
    "serviced": "its last service visit, by day or name",
    "washed": "day of the last wash or soaking, YYYY-MM-DD",
    "status": "open, or running for a vehicle that only counts where it is asked how many are down",
}
"""The columns a table may have and what they hold; `id` and `vehicle` have to be there."""

_NEEDED = ("id", "vehicle")
_ID = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,63}")
_MOST_BYTES = 64 << 20


class _CellError(Exception):
    """What is wrong with a cell."""


def read_table(path: os.PathLike[str] | str) -> Fleet:
    """The fleet in a table.

    The first row names the columns, see `COLUMNS`. Empty cells are taken as not given. Values are
    separated by commas, or by semicolons if the first row has no comma.

    Args:
        path: A file in UTF-8.

    Returns:
        The fleet; what is wrong with rows is in its `set_aside`.

    Raises:
        Error: The table has no such first row, or is no text in UTF-8.
        OSError: It can't be read.
    """
    try:
        with Path(path).open("rb") as stream:
            text = stream.read(_MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refusal("This is not text in UTF-8; save the table as CSV in UTF-8") from None
    first = text.partition("\n")[0]
    rows = csv.reader(io.StringIO(text, newline=""), delimiter="," if "," in first else ";")
    header = [name.strip().lower() for name in next(rows, [])]
    _check_header(header)
    reader = _Rows(header, Path(path).absolute().parent)
    try:
        for cells in rows:
            if any(cell.strip() for cell in cells):
                reader.take(rows.line_num, cells)
    except csv.Error as error:
        raise _refusal(f"Row {rows.line_num} can't be read as CSV: {error}") from None
    return Fleet(
        Path(path).stem,
        tuple(reader.units),
        set_aside=tuple(reader.set_aside),
        rows=reader.rows,
        columns=tuple(header),
    )


def _refusal(message: str) -> Error:
    return Error([Problem(int(Code.SYNTAX), "syntax", message, "")])


def _check_header(header: list[str]) -> None:
    problems = []
    known = ", ".join(COLUMNS)
    missing = [name for name in _NEEDED if name not in header]
    problems += [f"The first row has no column '{n}'; there may be {known}" for n in missing]
    for i, name in enumerate(header):
        if name in header[:i]:
            problems.append(f"The first row has the column '{name}' twice; leave one out")
        elif name not in COLUMNS and not name.startswith("x-"):
            problems.append(f"There is no column '{name}'; there may be {known}, or x-...")
    if problems:
        code = Code.SCHEMA
        raise Error(Problem(int(code), "schema", line, "") for line in problems)


class _Rows:
    """Makes vehicles of rows, or sets them aside."""

    def __init__(self, header: list[str], folder: Path) -> None:
        self.units: list[Unit] = []
        self.set_aside: list[SetAside] = []
        self.rows: dict[str, Mapping[str, str]] = {}
        self._header = header
        self._folder = folder
        self._names: dict[str, str] = {}

    def take(self, number: int, cells: list[str]) -> None:
        where = f"row {number}"
        given = [cell.strip() for cell in cells]
        row = dict(zip(self._header, given, strict=False))
        self.rows[where] = row
        problems: list[str] = []
        if len(given) != len(self._header):
            problems.append(
                f"{len(given)} cells, but the first row has {len(self._header)}; put cells that "
                "hold a comma in double quotes"
            )
        values: dict[str, Any] = {}
        for name, cell in row.items():
            if not cell or name.startswith("x-"):
                continue
            try:
                values[name] = _READERS.get(name, _text)(cell)
            except _CellError as error:
                problems.append(f"column {name}: {error}")
        problems += self._between(values)
        if problems:
            self.set_aside.append(SetAside(row.get("id", ""), where, tuple(problems), row))
            return
        self._names[values["id"]] = where
        self.units.append(self._unit(values, where))

    def _between(self, values: Mapping[str, Any]) -> list[str]:
        """What is wrong with cells taken together."""
        problems = [f"column {n}: is empty; give {COLUMNS[n]}" for n in _NEEDED if n not in values]
        if (first := self._names.get(values.get("id", ""))) is not None:
            problems.append(f"column id: '{values['id']}' is the name of {first} too")
        if "vehicle" in values:
            try:
                vehicle_path(values["vehicle"], self._folder)
            except FileNotFoundError:
                line = f"There is no vehicle '{values['vehicle']}'; give its id or its path"
                problems.append(f"column vehicle: {line}")
        if "job" in values:
            if not (self._folder / values["job"]).is_file():
                problems.append(f"column job: There is no file '{values['job']}'")
            if "found" in values or "cues" in values:
                problems.append("column job: Give either a job, or found and cues")
        return problems

    def _unit(self, values: Mapping[str, Any], where: str) -> Unit:
        cues = tuple(
            {"id": f"c{i + 1}", "type": "cue", "cue": name, "outcome": outcome}
            for i, (name, outcome) in enumerate(values.get("cues", ()))
        )
        simple = (
            *("environment", "downtime_usd_per_hour", "downtime_usd_per_day", "complained"),
            *("needed_by", "drives", "unsafe", "blocking", "complaint", "found"),
        )
        job = values.get("job")
        return Unit(
            id=values["id"],
            vehicle=vehicle_path(values["vehicle"], self._folder),
            where=where,
            exposure_hours=values.get("hours"),
            traits=traits_of({n: values[n] for n in TRAITS if n in values}),
            waits=values.get("status", "open") == "open",
            entries=cues,
            job=None if job is None else self._folder / job,
            **{name: values[name] for name in simple if name in values},
        )


# -- cells -----------------------------------------------------------------------------------------


def _text(cell: str) -> str:
    if len(cell) > 4000:
        raise _CellError("longer than 4000 characters")
    return cell


def _name(cell: str) -> str:
    if not _ID.fullmatch(cell):
        raise _CellError(
            f"'{cell}' is no name; begin with a letter, go on with letters, digits, - or _"
        )
    return cell


def _number(least: float, most: float, what: str) -> Callable[[str], float]:
    def read(cell: str) -> float:
        try:
            value = float(cell)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            raise _CellError(f"'{cell}' is not {what}")
        return value

    return read


def _day(cell: str) -> datetime.datetime:
    try:
        return moment(cell).replace(tzinfo=None)
    except ValueError:
        raise _CellError(f"'{cell}' is no day; write YYYY-MM-DD or YYYY-MM-DDTHH:MM") from None


def _washed(cell: str) -> str:
    return _day(cell).date().isoformat()


def _yes(cell: str) -> bool:
    if cell.lower() not in ("yes", "no"):
        raise _CellError(f"'{cell}' is neither yes nor no")
    return cell.lower() == "yes"


def _status(cell: str) -> str:
    if cell.lower() not in ("open", "running"):
        raise _CellError(f"'{cell}' is neither open nor running")
    return cell.lower()


def _listed(cell: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in cell.split("|") if part.strip())


def _cues(cell: str) -> tuple[tuple[str, str], ...]:
    said = []
    for part in _listed(cell):
        word, _, rest = part.partition(" ")
        negated = word.lower() == "no" and rest
        name = (rest if negated else part).strip().replace(" ", "_")
        said.append((name, "no" if negated else "yes"))
    return tuple(said)


_USD = _number(0, 1e6, "an amount in USD from 0 to 1000000; write such as 12.50")
_READERS: Mapping[str, Callable[[str], Any]] = {
    "id": _name,
    "hours": _number(1e-9, 1e6, "a number of hours above 0; write such as 350"),
    "environment": _name,
    "complained": _day,
    "needed_by": _day,
    "found": _listed,
    "cues": _cues,
    "downtime_usd_per_hour": _USD,
    "downtime_usd_per_day": _USD,
    "drives": _yes,
    "unsafe": _yes,
    "blocking": _yes,
    "battery_age_months": _number(0, 1000, "a number of months; write such as 30"),
    "washed": _washed,
    "status": _status,
}
