"""From the words of a command line to a sitting at the bench."""

from __future__ import annotations

import datetime
import json
import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from faultloom._bench import (
    RefusedError,
    Sources,
    build_model,
    one_line,
    parse,
    problem_line,
    read_file,
    read_instruments,
)
from faultloom._terminal import Patience, complain
from faultloom._words import Names
from faultloom.dialogue.job_file import InUseError
from faultloom.dialogue.job_store import JobStore, JournalFile, open_store
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.session import Means, Session
from faultloom.dialogue.vocabulary import Vocabulary
from faultloom.documents import data_path, find_vehicle
from faultloom.errors import Error


def open_bench(vehicle: str, job_file: str | None, sources: Sources, means: Means) -> Session:
    """Everything that is needed to work on a job, new or begun.

    Args:
        vehicle: Path of a vehicle document, or the id of a shipped one.
        job_file: Path of the job, there or not; None for a new one in the present folder.
        sources: Documents in place of the shipped ones.
        means: What may be used.

    Raises:
        RefusedError: Something can't be read, written or understood.
    """
    vehicle_file = _vehicle_file(vehicle)
    text = read_file(vehicle_file)
    document = parse(vehicle_file, text, "vehicle")
    with Patience() as patience:
        model = build_model(vehicle_file, text, sources, patience)
    instruments = read_instruments(sources)
    _check(means, instruments.get("instruments", {}), document.get("zones", {}))
    summary = model.summary()
    file = _job_file(Path(job_file) if job_file else _free_path(document["id"]))
    try:
        journal = _journal(file, document["id"], means)
        _check_job(file, journal, model.mode_priors)
    except BaseException:
        file.close()
        raise
    vocabulary = Vocabulary(document, instruments, summary, model.terminals, model.solve().signs)
    command = ["faultloom", "bench", vehicle, *_options(sources, means)]
    return Session(
        model=model,
        names=Names(document, instruments, summary),
        vocabulary=vocabulary,
        file=file,
        journal=journal,
        cues=_cues(sources),
        means=means,
        resume=lambda path: shlex.join([*command, "--job", path]),
    )


def _options(sources: Sources, means: Means) -> list[str]:
    """The options of a command line that say the same."""
    options = []
    for option in ("kinds", "rates", "instruments"):
        if given := getattr(sources, option):
            options += [f"--{option}", given]
    for option, names in (("--use", means.instruments), ("--keep-closed", means.closed_zones)):
        for name in names or []:
            options += [option, name]
    if means.allow_live is False:
        options.append("--pack-off")
    if means.authorized_usd is not None:
        options += ["--authorized", f"{means.authorized_usd:g}"]
    return options


def _vehicle_file(vehicle: str) -> str:
    if Path(vehicle).exists() or vehicle == "-":
        if vehicle == "-":
            raise RefusedError(["The answers come on standard input; give the vehicle as a file"])
        return vehicle
    try:
        return str(find_vehicle(vehicle))
    except FileNotFoundError:
        shipped = ", ".join(sorted(path.stem for path in (data_path() / "vehicles").glob("*.json")))
        line = f"{vehicle}: There is neither such a file nor such a vehicle; shipped are {shipped}"
        raise RefusedError([one_line(line)]) from None


def _free_path(vehicle_id: str) -> Path:
    """A name that no file here has, with today's date in it."""
    stem = f"{vehicle_id}-{datetime.date.today().isoformat()}"
    path = Path(f"{stem}.journal")
    number = 2
    while path.exists():
        path = Path(f"{stem}-{number}.journal")
        number += 1
    return path


def _job_file(path: Path) -> JobStore:
    try:
        if path.is_dir():
            raise RefusedError([one_line(f"{path}: Is a folder; name a file in it")])
        store = open_store(path)
    except InUseError as error:
        raise RefusedError([one_line(f"{path}: {error}")]) from None
    except OSError as error:
        why = error.strerror or str(error)
        line = f"{path}: Can't be worked on: {why}; name another place with --job"
        raise RefusedError([one_line(line)]) from None
    except Error as error:
        raise RefusedError(problem_line(str(path), p) for p in error.problems) from None
    if isinstance(store, JournalFile):
        complain([one_line(f"{path}: {remark}") for remark in store.remarks])
    return store


def _journal(file: JobStore, vehicle_id: str, means: Means) -> Journal:
    if file.text is None:
        return Journal.begun(file.path.stem, vehicle_id, means.instruments)
    document = parse(str(file.path), file.text, "job")
    if document["vehicle"] != vehicle_id:
        line = (
            f"{file.path}: This job is about '{document['vehicle']}', not '{vehicle_id}' (/vehicle)"
        )
        raise RefusedError([one_line(line)])
    return Journal(document)


def _check_job(file: JobStore, journal: Journal, read: Any) -> None:
    """Refuses a job that the library can't work with before anybody has typed anything."""
    try:
        read(journal.document)
    except Error as error:
        raise RefusedError(problem_line(str(file.path), p) for p in error.problems) from None


def _check(means: Means, instruments: Mapping[str, Any], zones: Mapping[str, Any]) -> None:
    lines = []
    for option, given, known in (
        ("--use", means.instruments, instruments),
        ("--keep-closed", means.closed_zones, zones),
    ):
        among = ", ".join(sorted(known))
        lines += [
            one_line(f"{option}: There is no '{name}'; there is {among}")
            for name in given or []
            if name not in known
        ]
    if lines:
        raise RefusedError(lines)


def _cues(sources: Sources) -> dict[str, str]:
    """Titles of the cues by id."""
    file = sources.rates or data_path() / "rates.json"
    document = json.loads(Path(file).read_bytes())
    return {name: cue.get("title", name) for name, cue in document.get("cues", {}).items()}
