"""What the library raises and reports: every problem with its place and a stable number."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from typing import Self


class Code(IntEnum):
    """Stable numbers of the kinds of problems.

    1xx documents, 2xx vehicle and circuit, 3xx evidence, 4xx advice, 5xx files, 9xx the call.
    """

    SYNTAX = 101
    SCHEMA = 102
    REFERENCE = 103
    VALUE = 104
    LOOP = 105
    LIMIT = 106
    DUPLICATE = 107
    DAMAGED = 108
    DANGLING = 201
    ISLAND = 202
    IDLE_CONTROL = 203
    UNREACHABLE = 204
    SHARED_PIN = 205
    SILENT_MODE = 206
    READING = 301
    NO_STEP = 401
    NOT_VERIFIED = 402
    STORAGE = 501
    IN_USE = 502
    CHANGED = 503
    ARGUMENT = 901
    MEMORY = 902
    CANCELLED = 903
    INTERNAL = 999


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: what, where, what to do.

    Attributes:
        code: Number of the kind of problem, one of `Code`.
        name: The same as a word, for example "reference".
        message: One English line.
        pointer: JSON pointer (RFC 6901) into the document, "" for all of it.
    """

    code: int
    name: str
    message: str
    pointer: str

    def __str__(self) -> str:
        return f"{self.message} ({self.pointer})" if self.pointer else self.message


class Error(ValueError):
    """Raised by every call of the library that fails. Carries all problems found.

    Attributes:
        problems: At least one problem, in the order of the document.
    """

    problems: list[Problem]

    def __init__(self, problems: Iterable[Problem]) -> None:
        unknown = Problem(int(Code.INTERNAL), "internal", "Unspecified problem", "")
        self.problems = list(problems) or [unknown]
        super().__init__(self.problems)

    @classmethod
    def from_rows(cls, rows: Iterable[tuple[int, str, str, str]]) -> Self:
        """An error from (number, name, message, pointer) as the native module reports them."""
        return cls(Problem(*row) for row in rows)

    @property
    def code(self) -> int:
        """Number of the first problem, one of `Code`."""
        return self.problems[0].code

    @property
    def name(self) -> str:
        """Name of the first problem's code."""
        return self.problems[0].name

    @property
    def pointer(self) -> str:
        """JSON pointer of the first problem."""
        return self.problems[0].pointer

    def __str__(self) -> str:
        more = len(self.problems) - 1
        return f"{self.problems[0]} and {more} more" if more else str(self.problems[0])
