"""Jobs kept in files that survive crashes: one change a line, each with a checksum."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from faultloom import _core
from faultloom._closing import Closing
from faultloom.answers import Answer, Data, Part, parts
from faultloom.documents import Document, text_of
from faultloom.model import Model

_Path = os.PathLike[str] | str


@dataclass(frozen=True, slots=True)
class Damage(Part):
    """Something that was wrong with a journal when it was read.

    Attributes:
        what: "unfinished" (a change that was never reported as added), "damaged", "missing",
            "out_of_order", "repeated", "contradicting" or "unlinked".
        message: The same in one line.
        line: Number of the line, from 1; 0 if it is none.
        at_byte: Where it starts.
        bytes: How long it is.
        kept_in: Path of the file it was moved to, "" if it stays in the journal.
    """

    what: str
    message: str
    line: int
    at_byte: int
    bytes: int
    kept_in: str = ""


class JournalStatus(Answer):
    """What a journal holds, and what was wrong with it when it was opened or read."""

    @property
    def records(self) -> int:
        """Lines that are whole: the beginning and each change."""
        return int(self["records"])

    @property
    def bytes(self) -> int:
        """Size of the file."""
        return int(self["bytes"])

    @property
    def damage(self) -> tuple[Damage, ...]:
        """In the order of the file, empty if all is well."""
        return parts(Damage, self["damage"])

    @property
    def migrated_from(self) -> str:
        """Format of the old file that became this journal just now, "" if it was one before."""
        return str(self.get("migrated_from", ""))

    @property
    def old_kept_in(self) -> str:
        """Path of that old file, "" if there is none."""
        return str(self.get("old_kept_in", ""))


class Journal(Closing):
    """A job in a file, to which every change is added as it is made.

    What a method returned from is on the disk: neither a crash nor a full disk takes it away. What
    is refused, or does not fit on the disk, changes nothing. A journal belongs to one writer at a
    time, also among processes; the lock goes with the process. Threads take turns.

    Made by `create` or `open`; a context manager that closes the file.

    Example:
        >>> import faultloom, tempfile, pathlib
        >>> folder = tempfile.TemporaryDirectory()
        >>> path = pathlib.Path(folder.name) / "tug.journal"
        >>> job = faultloom.new_job("tug", "mulch-tug")
        >>> with faultloom.Journal.create(path, job, faultloom.Model.shipped("mulch-tug")) as kept:
        ...     kept.add({"type": "look", "component": "W7", "outcome": "clean"})
        'e1'
        >>> with faultloom.Journal.open(path) as kept:
        ...     len(kept.job["entries"])
        1
        >>> folder.cleanup()
    """

    def __init__(self, core: _core.Journal) -> None:
        self._core = core

    @classmethod
    def create(cls, path: _Path, job: Document, model: Model | None = None) -> Self:
        """Makes a journal that begins with a job document.

        Args:
            path: Of the new file, which appears whole or not at all.
            job: Job document.
            model: Of the job's vehicle; without it, names are not looked up.

        Raises:
            Error: The job's problems; storage, also when there is a file of that name; in_use.
        """
        return cls(_core.Journal.create(os.fsencode(path), text_of(job), _core_of(model)))

    @classmethod
    def open(cls, path: _Path, model: Model | None = None) -> Self:
        """Opens a journal to go on with it.

        An end that was broken off or damaged is moved to a file beside it, which `status` tells. A
        job document in plain JSON becomes a journal of the same name; the document stays beside it.

        Args:
            path: Of the file.
            model: Of the job's vehicle; without it, names are not looked up.

        Raises:
            Error: storage, in_use; damaged, if its first line can't be read; the job's problems.
        """
        return cls(_core.Journal.open(os.fsencode(path), _core_of(model)))

    @property
    def text(self) -> str:
        """The job as a document, JSON."""
        return self._core.job_json()

    @property
    def job(self) -> dict[str, Any]:
        """The same as an object of the caller's own."""
        job: dict[str, Any] = json.loads(self.text)
        return job

    def status(self) -> JournalStatus:
        """What it holds, and what was wrong with it when it was opened."""
        return JournalStatus(self._core.status_json())

    def append(
        self,
        add: Iterable[Data] = (),
        withdraw: Iterable[str] = (),
        members: Mapping[str, Any] | None = None,
    ) -> list[str]:
        """Adds a change, which counts as a whole or not at all.

        Args:
            add: Entries; those without an id get "e1", "e2" and so on.
            withdraw: Ids of entries to take back; they stay in the document.
            members: Members of the job to set; None as a value takes one off.

        Returns:
            Ids of the new entries, in order.

        Raises:
            Error: Every problem of the change, with pointers such as "/add/0/red"; storage;
                changed.
        """
        change = {"add": list(add), "withdraw": list(withdraw), "set": dict(members or {})}
        return self._core.append(text_of(change))

    def add(self, entry: Data) -> str:
        """Adds one entry and gives its id. Raises as `append`."""
        return self.append([entry])[0]

    def withdraw(self, *ids: str) -> None:
        """Takes entries back. Raises as `append`."""
        self.append(withdraw=ids)

    def update(self, job: Document) -> None:
        """Adds what a document of the same job has more than the journal, as one change.

        Raises:
            Error: As `append`; reference, if it is another job; value, if an entry is missing or
                different: nothing is erased from a job.
        """
        self._core.update(text_of(job))

    def compact(self, path: _Path) -> None:
        """Makes another journal that begins with the job as it is. This one stays as it is.

        Raises:
            Error: As `create`.
        """
        self._core.compact(os.fsencode(path))

    def close(self) -> None:
        """Gives the file free. May be called more than once."""
        self._core.close()


def read_journal(journal: _Path | bytes) -> tuple[str, JournalStatus]:
    """Reads the job out of a journal without writing to it, also while somebody else writes.

    Args:
        journal: Its path or its bytes.

    Returns:
        The job document as JSON text, and what is wrong with the journal.

    Raises:
        Error: damaged, if its first line can't be read; schema, of a later version.
        OSError: The path can't be read.
    """
    data = journal if isinstance(journal, bytes) else Path(journal).read_bytes()
    text, status = _core.read_journal(data)
    return text, JournalStatus(status)


def new_job(job_id: str, vehicle_id: str, **members: Any) -> dict[str, Any]:
    """A job document without entries.

    Args:
        job_id: A letter, then up to 63 letters, digits, _ or -.
        vehicle_id: Id of the vehicle.
        members: Others of the job, for example complaint="It stands still".

    Example:
        >>> new_job("tug", "mulch-tug")["entries"]
        []
    """
    head = {"format": "faultloom.job", "version": "1.0", "id": job_id, "vehicle": vehicle_id}
    return {**head, **members, "entries": []}


def _core_of(model: Model | None) -> _core.Model | None:
    return None if model is None else model._core
