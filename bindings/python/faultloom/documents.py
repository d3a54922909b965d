"""Documents as callers have them: paths, texts, dictionaries. And where the shipped ones are."""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

from faultloom import _core


@runtime_checkable
class Kept(Protocol):
    """Something that has a document as JSON text, for example a `Journal`."""

    @property
    def text(self) -> str:
        """The document."""


Document = str | bytes | os.PathLike[str] | Mapping[str, Any] | Kept
"""A document: a path, its JSON text (recognised by the opening brace), the parsed object, or a
`Journal`. A path or text of a journal stands for the job in it."""


class DamagedJournalWarning(UserWarning):
    """A journal was read in which something is damaged or missing; the text says what."""


def is_journal(text: str | bytes) -> bool:
    """Whether a text starts as a journal does; it may be damaged all the same."""
    return text[:8] in ('{"crc":"', b'{"crc":"')


def text_of(document: Document) -> str | bytes:
    """The JSON text of a document.

    Args:
        document: Path, JSON text, parsed object or journal. Bytes are taken as text. In an object,
            scalars and arrays of numpy may stand for numbers and lists, and a table of pandas for
            a list with an object for each row, where an empty cell is a member left out.

    Raises:
        OSError: The path can't be read.
        TypeError: The object holds something that has no JSON form.
        Error: A journal can't be read.

    Warns:
        DamagedJournalWarning: Something is damaged in a journal.
    """
    text = raw_text_of(document)
    if not is_journal(text):
        return text
    job, status = _core.read_journal(text)
    for damage in json.loads(status)["damage"]:
        warnings.warn(damage["message"], DamagedJournalWarning, stacklevel=3)
    return job


def raw_text_of(document: Document) -> str | bytes:
    """The same, but a journal comes as it is. Raises as `text_of`."""
    if isinstance(document, bytes):
        return document
    if isinstance(document, str):
        is_text = document.lstrip("\ufeff \t\r\n").startswith(("{", "["))
        return document if is_text else Path(document).read_bytes()
    if isinstance(document, Mapping):
        # NaN is let through here, so that the library can say where it is.
        return json.dumps(document, ensure_ascii=False, default=_plain)
    if isinstance(document, Kept):
        return document.text
    return Path(document).read_bytes()


def _plain(value: object) -> object:
    """Scalars and arrays of numpy, tables of pandas, and mappings other than dict, as JSON."""
    if isinstance(value, Mapping):
        return dict(value)
    if hasattr(value, "iterrows"):
        return _rows_of(value)
    to_list = getattr(value, "tolist", None)
    if to_list is None:
        raise TypeError(f"{type(value).__name__} has no JSON form")
    plain: object = to_list()
    return plain


def _rows_of(table: Any) -> list[dict[str, object]]:
    """Rows of a table of pandas without their empty cells.

    A column of integers with an empty cell is one of floats in pandas; whole numbers are made whole
    again.
    """
    filled = table.astype(object).where(table.notna(), None).to_dict("records")
    return [
        {str(name): _whole(value) for name, value in row.items() if value is not None}
        for row in filled
    ]


def _whole(value: object) -> object:
    return int(value) if isinstance(value, float) and value.is_integer() else value


def data_path() -> Path:
    """The folder with the shipped documents: kinds, rates, instruments, vehicles, jobs.

    Raises:
        FileNotFoundError: The package was installed without its data.

    Example:
        >>> (data_path() / "kinds.json").is_file()
        True
    """
    here = Path(__file__).resolve().parent
    # Inside the installed package, or in the checkout that this file is part of.
    for folder in (here / "data", *(parent / "data" for parent in here.parents[1:3])):
        if (folder / "kinds.json").is_file():
            return folder
    raise FileNotFoundError(f"No data folder beside {here}; install the package again")


def find_vehicle(vehicle_id: str, job_path: os.PathLike[str] | str | None = None) -> Path:
    """The vehicle document a job means.

    Looks in the folder `vehicles` beside the job's folder, then in the shipped data.

    Args:
        vehicle_id: Id as in the job, for example "mulch-tug".
        job_path: Where the job came from, if from a file.

    Raises:
        FileNotFoundError: It is in neither place.

    Example:
        >>> find_vehicle("mulch-tug").name
        'mulch-tug.json'
    """
    name = f"{vehicle_id}.json"
    places = [data_path() / "vehicles"]
    if job_path is not None:
        places.insert(0, Path(job_path).absolute().parent.parent / "vehicles")
    for place in places:
        if (place / name).is_file():
            return place / name
    raise FileNotFoundError(f"No {name} in " + " or ".join(map(str, places)))
