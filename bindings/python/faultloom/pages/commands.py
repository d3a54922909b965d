"""The commands that make pages: `sheet`, `estimate`, `drawing`."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from faultloom._bench import (
    Bench,
    RefusedError,
    Sources,
    build_model,
    one_line,
    parse,
    read_file,
)
from faultloom._terminal import Patience, complain, write_exactly
from faultloom.answers import Advice
from faultloom.documents import data_path, find_vehicle
from faultloom.errors import Code, Error
from faultloom.model import Progress
from faultloom.pages.estimate import job_estimate
from faultloom.pages.marks import cut_after, marks_of
from faultloom.pages.sheet import Sources as PageSources
from faultloom.pages.sheet import job_sheet
from faultloom.pages.svg import harness_drawing
from faultloom.pages.symbols import Kinds
from faultloom.pages.whole_file import write_whole
from faultloom.plan import Plan

# More than are drawn, as a wire and its ends are three.
_MOST_SUSPECTS = 200

_REPLACED = ("kinds", "rates", "instruments")

Arguments = argparse.Namespace


def sheet(given: Arguments) -> int:
    """Writes the sheet of a job."""

    def page(bench: Bench, job: dict[str, Any], progress: Progress) -> str:
        ranking = bench.model.rank(job, top=_MOST_SUSPECTS, progress=progress)
        verification = bench.model.verification(job, progress=progress)
        advice = None if "closing" in job else _advice(bench, job, progress)
        return job_sheet(_page_sources(bench, job, given), ranking, verification, advice)

    return _job_page(given, page)


def estimate(given: Arguments) -> int:
    """Writes the estimate of a job."""

    def page(bench: Bench, job: dict[str, Any], progress: Progress) -> str:
        ranking = bench.model.rank(job, top=_MOST_SUSPECTS, progress=progress)
        plan = None if "closing" in job else _plan(bench, job, given.authorized, progress)
        return job_estimate(_page_sources(bench, job, given), ranking, plan, given.authorized)

    return _job_page(given, page)


def drawing(given: Arguments) -> int:
    """Draws a vehicle, or a job on its vehicle."""
    file = given.job_or_vehicle
    if not _is_there(file):
        file = _shipped(file)
    # Standard input can be read only once, and is a job then.
    text = None if file == "-" else read_file(file)
    if text is not None and _format(text) == "faultloom.vehicle":
        return _vehicle_drawing(given, file, text)

    def page(bench: Bench, job: dict[str, Any], progress: Progress) -> str:
        ranking = bench.model.rank(job, top=_MOST_SUSPECTS, progress=progress)
        kinds = _kinds(given)
        title = bench.vehicle.get("title") or bench.vehicle["id"]
        drawn = harness_drawing(
            bench.vehicle,
            kinds,
            marks_of(ranking, job),
            heading=job.get("title") or job["id"],
            note=f"{job['id']}, {title}",
            suspects_only=given.suspects,
        )
        if not drawn:
            raise RefusedError([one_line(f"{file}: Nothing is suspected and nothing was measured")])
        return drawn

    given.job = file
    return _job_page(given, page)


def _vehicle_drawing(given: Arguments, file: str, text: bytes) -> int:
    vehicle = parse(file, text, "vehicle")
    if given.after or given.suspects:
        raise RefusedError([one_line(f"{file}: --after and --suspects need a job")])
    build_model(file, text, _sources(given))
    title = vehicle.get("title") or vehicle["id"]
    _write(given, harness_drawing(vehicle, _kinds(given), heading=title, note=vehicle["id"]))
    return 0


def _job_page(given: Arguments, page: Callable[[Bench, dict[str, Any], Progress], str]) -> int:
    with Patience() as patience:
        bench = Bench(given.job, _sources(given), patience)
        job = bench.job
        if given.after:
            try:
                job = cut_after(job, given.after)
            except ValueError as error:
                raise RefusedError([one_line(f"--after: {error}")]) from None
        try:
            text = page(bench, job, patience)
        except Error as error:
            if error.code >= int(Code.ARGUMENT):
                raise
            raise bench.refusal(error) from None
    _write(given, text)
    return 0


def _advice(bench: Bench, job: dict[str, Any], progress: Progress) -> Advice | None:
    try:
        return bench.model.next_step(job, progress=progress)
    except Error as error:
        if error.code == int(Code.NO_STEP):
            return None
        raise


def _plan(
    bench: Bench, job: dict[str, Any], authorized_usd: float | None, progress: Progress
) -> Plan | None:
    try:
        return bench.model.plan(job, authorized_usd=authorized_usd, progress=progress)
    except Error as error:
        if error.code == int(Code.NO_STEP):
            complain([one_line(str(problem)) for problem in error.problems])
            return None
        raise


def _page_sources(bench: Bench, job: dict[str, Any], given: Arguments) -> PageSources:
    return PageSources.of(
        job,
        bench.vehicle,
        bench.model,
        kinds=None if given.kinds is None else Path(given.kinds),
        instruments=bench.instruments,
    )


def _kinds(given: Arguments) -> Kinds:
    file = given.kinds or data_path() / "kinds.json"
    kinds: Kinds = json.loads(Path(file).read_bytes())["kinds"]
    return kinds


def _sources(given: Arguments) -> Sources:
    return Sources(given.vehicle, given.kinds, given.rates, given.instruments)


def _is_there(file: str) -> bool:
    return file == "-" or Path(file).exists()


def _shipped(name: str) -> str:
    """The file of a shipped vehicle; the name itself if there is none, to be refused as a file."""
    if Path(name).name != name:
        return name
    try:
        return str(find_vehicle(name))
    except FileNotFoundError:
        return name


def _format(text: bytes) -> str:
    try:
        document = json.loads(text)
    except ValueError:
        return ""
    return str(document.get("format", "")) if isinstance(document, dict) else ""


def _write(given: Arguments, text: str) -> None:
    if given.out is None or given.out == "-":
        write_exactly(text)
        return
    _keep_sources(given)
    try:
        write_whole(given.out, text)
    except OSError as error:
        line = f"{given.out}: Can't be written: {error.strerror or error}; name another file"
        raise RefusedError([one_line(line)]) from None


def _keep_sources(given: Arguments) -> None:
    """Refuses to write a page over what it was made from."""
    read = [getattr(given, name, None) for name in ("job", "job_or_vehicle", "vehicle", *_REPLACED)]
    out = Path(given.out)
    if any(name and Path(name).exists() and out.exists() and out.samefile(name) for name in read):
        line = f"{given.out}: The page is made from this file; name another one"
        raise RefusedError([one_line(line)])


# -- command line ----------------------------------------------------------------------------------


def add_commands(commands: Any, amount: Callable[[str], float]) -> None:
    """Adds the commands to those of the program.

    Args:
        commands: What `argparse` keeps commands in.
        amount: Reads an amount of money from the command line [USD].
    """
    page = _command(commands, "sheet", sheet, "write the sheet of a job to print, HTML")
    page.add_argument("job", metavar="JOB", help="job document or journal, - for standard input")
    _add_moment(page, "HTML")

    page = _command(commands, "estimate", estimate, "write the estimate of a job to print, HTML")
    page.add_argument("job", metavar="JOB", help="job document or journal, - for standard input")
    page.add_argument(
        "--authorized",
        type=amount,
        metavar="USD",
        help="what may be spent without asking again (a line to fill in)",
    )
    _add_moment(page, "HTML")

    page = _command(
        commands, "drawing", drawing, "draw the harness with suspects and readings, SVG"
    )
    page.add_argument(
        "job_or_vehicle",
        metavar="JOB|VEHICLE",
        help="job or vehicle document, or the id of a shipped vehicle",
    )
    page.add_argument(
        "--suspects",
        action="store_true",
        help="only what is suspected, what was measured, and the wires between",
    )
    _add_moment(page, "SVG")


def _command(
    commands: Any, name: str, run: Callable[[Arguments], int], help_text: str
) -> argparse.ArgumentParser:
    sentence = help_text[0].upper() + help_text[1:] + "."
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_text, description=sentence, allow_abbrev=False
    )
    parser.set_defaults(command=run)
    for option in _REPLACED:
        parser.add_argument(
            f"--{option}", metavar="FILE", help=f"{option} in place of the shipped ones"
        )
    return parser


def _add_moment(parser: argparse.ArgumentParser, kind: str) -> None:
    where = "by its id in ../vehicles beside the job, else in the shipped data"
    parser.add_argument("--vehicle", metavar="FILE", help=f"vehicle of the job (found {where})")
    parser.add_argument(
        "--after", metavar="ENTRY", help="the job as it stood after this entry (after the last)"
    )
    parser.add_argument(
        "--out", metavar="FILE", help=f"write the {kind} to FILE, in place of standard output"
    )
