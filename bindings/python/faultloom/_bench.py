"""What a command works on: files read, checked and put together, or refused with every reason."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultloom._terminal import complain
from faultloom.documents import Document, data_path, find_vehicle, is_journal
from faultloom.errors import Code, Error, Problem
from faultloom.journal import read_journal
from faultloom.model import Model, Progress, check_document

# One byte more than the library reads, so that it is the one to refuse.
_MOST_BYTES = (64 << 20) + 1

_REPLACEABLE = ("kinds", "rates", "instruments", "cautions")


class RefusedError(Exception):
    """Bad input; carries one line for each reason."""

    def __init__(self, lines: Iterable[str]) -> None:
        self.lines = list(lines)
        super().__init__("\n".join(self.lines))


@dataclass(frozen=True)
class Sources:
    """The files a user may give in place of the shipped ones."""

    vehicle: str | None = None
    kinds: str | None = None
    rates: str | None = None
    instruments: str | None = None


def one_line(text: str) -> str:
    """A text from a document without anything that moves the cursor or changes the terminal."""
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.splitlines()))


def problem_line(file: str, problem: Problem) -> str:
    """How a problem is reported."""
    return one_line(f"{file}: {problem}")


def read_file(file: str) -> bytes:
    """The bytes of a file, of standard input for "-".

    Raises:
        RefusedError: It can't be read.
    """
    try:
        if file == "-":
            return sys.stdin.buffer.read(_MOST_BYTES)
        with Path(file).open("rb") as stream:
            return stream.read(_MOST_BYTES)
    except OSError as error:
        raise RefusedError(
            [one_line(f"{file}: Can't be read: {error.strerror or error}")]
        ) from None


def read_job(file: str) -> bytes:
    """The job document in a file, which may be one itself or a journal; "-" is standard input.

    What is damaged in a journal is said on standard error.

    Raises:
        RefusedError: It can't be read.
    """
    text = read_file(file)
    if not is_journal(text):
        return text
    try:
        document, status = read_journal(text)
    except Error as error:
        raise RefusedError(problem_line(file, problem) for problem in error.problems) from None
    complain([one_line(f"{file}: {damage.message}") for damage in status.damage])
    return document.encode()


def read_instruments(sources: Sources) -> dict[str, Any]:
    """The instruments document as an object, once a model has been built with it."""
    file = sources.instruments or data_path() / "instruments.json"
    document: dict[str, Any] = json.loads(Path(file).read_bytes())
    return document


def parse(file: str, text: bytes, wanted: str) -> dict[str, Any]:
    """A checked document as an object.

    Raises:
        RefusedError: It has problems, or is not of the wanted format.
    """
    problems = check_document(text)
    if fatal := [p for p in problems if not is_lint(p)]:
        raise RefusedError(problem_line(file, p) for p in fatal)
    document: dict[str, Any] = json.loads(text)
    found = str(document.get("format", "")).removeprefix("faultloom.")
    if found != wanted:
        line = f"{file}: This is a {found} document, but a {wanted} is needed here (/format)"
        raise RefusedError([one_line(line)])
    return document


def is_lint(problem: Problem) -> bool:
    """Whether the document can be worked with all the same."""
    return int(Code.DANGLING) <= problem.code <= int(Code.SILENT_MODE)


def build_model(
    file: str, text: bytes, sources: Sources, progress: Progress | None = None
) -> Model:
    """The model of a vehicle text.

    Raises:
        RefusedError: With every problem of every file that went into it.
    """
    given = {name: getattr(sources, name, None) for name in _REPLACEABLE}
    texts = {name: None if path is None else read_file(path) for name, path in given.items()}
    try:
        return Model(text, **texts, progress=progress)
    except Error as error:
        raise RefusedError(_located(file, given, problem) for problem in error.problems) from None


def _located(vehicle_file: str, given: Mapping[str, str | None], problem: Problem) -> str:
    """The line for a problem, with the file that its message only names by kind."""
    for name, path in given.items():
        prefix = f"In the {name} document: "
        if path is not None and problem.message.startswith(prefix):
            message = problem.message.removeprefix(prefix)
            return problem_line(path, Problem(problem.code, problem.name, message, problem.pointer))
    return problem_line(vehicle_file, problem)


def priors_of(model: Model, job: Document) -> dict[str, float]:
    """Chance of each component to be broken before anything was found, modes added up [1]."""
    priors: dict[str, float] = {}
    for name, prior in zip(model.modes, model.mode_priors(job), strict=True):
        component = name.rpartition("/")[0]
        priors[component] = priors.get(component, 0.0) + float(prior)
    return priors


class Bench:
    """A job with the model of its vehicle.

    Attributes:
        job_text: The job exactly as read.
        job: The same as an object.
        vehicle: The vehicle document as an object.
        instruments: The instruments document as an object.
        model: The vehicle, ready to be asked.
    """

    def __init__(self, job_file: str, sources: Sources, progress: Progress | None = None) -> None:
        self.job_file = job_file
        self.job_text = read_job(job_file)
        self.job = parse(job_file, self.job_text, "job")
        vehicle_file = sources.vehicle or _vehicle_file(job_file, self.job["vehicle"])
        vehicle_text = read_file(vehicle_file)
        self.model = build_model(vehicle_file, vehicle_text, sources, progress)
        self.vehicle: dict[str, Any] = json.loads(vehicle_text)
        self.instruments = read_instruments(sources)

    def refusal(self, error: Error) -> RefusedError:
        """What the library says against the job."""
        return RefusedError(problem_line(self.job_file, problem) for problem in error.problems)


def _vehicle_file(job_file: str, vehicle_id: str) -> str:
    try:
        return str(find_vehicle(vehicle_id, None if job_file == "-" else job_file))
    except FileNotFoundError:
        line = f"There is no file for vehicle '{vehicle_id}'; give one with --vehicle (/vehicle)"
        raise RefusedError([one_line(f"{job_file}: {line}")]) from None
