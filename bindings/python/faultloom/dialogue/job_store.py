"""Where the bench keeps a job: in a journal, or in a plain document if its name says so.

A name that ends in `.json` stands for a job document, which is replaced as a whole each time. Every
other name stands for a journal, to which only what is new is added. A document under another name
becomes a journal when it is opened.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from faultloom._closing import Closing
from faultloom.dialogue.job_file import ChangedError, InUseError, JobFile, Lock
from faultloom.documents import is_journal
from faultloom.errors import Code, Error
from faultloom.journal import Journal


class JobStore(Protocol):
    """A job's file, held by one run."""

    path: Path

    def __enter__(self) -> Self:
        """The store itself."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Gives it free."""

    @property
    def text(self) -> bytes | None:
        """The job document in it, None if there is none yet."""

    def write(self, text: str) -> None:
        """Makes it hold this document, which is on the disk then; on failure the old one is.

        Raises:
            ChangedError: Something else wrote it.
            OSError: No space, no permission, or the like.
        """

    def close(self) -> None:
        """Gives it free. May be called more than once."""


class JournalFile(Closing):
    """A job kept in a journal.

    Args:
        path: Of the journal; need not exist. Behind a symbolic link the file it points to is meant.

    Attributes:
        remarks: What has to be said of it, a line each: damage that was found, a document that
            became a journal.

    Raises:
        InUseError: Another run or program has it open.
        OSError: It can't be read or written.
        Error: It is no journal, or none that can be read.
    """

    def __init__(self, path: os.PathLike[str] | str) -> None:
        self.path = Path(path).resolve()
        self.remarks: list[str] = []
        self._lock = Lock(self.path)
        self._journal: Journal | None = None
        try:
            if self.path.exists():
                self._journal = self._opened()
        except BaseException:
            self._lock.release()
            raise

    @property
    def text(self) -> bytes | None:
        """The job document in it, None if there is none yet."""
        return None if self._journal is None else self._journal.text.encode()

    def write(self, text: str) -> None:
        """Adds what the document has more than the journal.

        Raises:
            ChangedError: Something else wrote the file.
            OSError: No space, no permission, or the like; nothing was added.
        """
        try:
            if self._journal is None:
                self._journal = Journal.create(self.path, text)
            else:
                self._journal.update(text)
        except Error as error:
            said = _as_here(error, self.path)
            raise (OSError(0, str(said)) if isinstance(said, Error) else said) from None

    def close(self) -> None:
        """Gives the file free. May be called more than once."""
        if self._journal is not None:
            self._journal.close()
        self._lock.release()

    def _opened(self) -> Journal:
        try:
            journal = Journal.open(self.path)
        except Error as error:
            raise _as_here(error, self.path) from None
        status = journal.status()
        for damage in status.damage:
            where = f"; they are kept in {damage.kept_in}" if damage.kept_in else ""
            self.remarks.append(damage.message + where)
        if status.old_kept_in:
            self.remarks.append(
                f"Is a journal now; the job document it was is kept in {status.old_kept_in}"
            )
        return journal


def open_store(path: os.PathLike[str] | str, *, by_name: bool = True) -> JobStore:
    """The store of a job's file, there or not.

    Args:
        path: Of the file.
        by_name: Whether a name decides where there is no journal; if not, it is a document.

    Raises:
        InUseError: Another run has it open.
        OSError: It can't be read or written.
        Error: It is a journal that can't be read.
    """
    place = Path(path)
    if place.is_file():
        with place.open("rb") as stream:
            kept_as_journal = is_journal(stream.read(64))
    else:
        kept_as_journal = False
    if kept_as_journal or (by_name and place.suffix.lower() != ".json"):
        return JournalFile(place)
    return JobFile(place)


def _as_here(error: Error, path: Path) -> Exception:
    """What the library says of a file, as a run says it; anything else stays as it is."""
    if error.code == Code.IN_USE:
        return InUseError("In use by another program; end that one first")
    if error.code == Code.CHANGED:
        return ChangedError(f"{path.name} was changed by something else meanwhile")
    if error.code == Code.STORAGE:
        # "File 'x' can't be written: No space left on device; make room": only the middle is new.
        said = error.problems[0].message.rpartition("' can't be ")[2]
        return OSError(0, said.partition(": ")[2].partition("; ")[0] or said)
    return error
