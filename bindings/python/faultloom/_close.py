"""The command `close`: a job written closed, or what stands against it."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultloom._bench import Bench, RefusedError, Sources, one_line, problem_line
from faultloom._terminal import Patience, complain, write_exactly
from faultloom.errors import Code, Error

if TYPE_CHECKING:
    from faultloom.dialogue.job_store import JobStore

FINE, FINDINGS = 0, 1

Arguments = argparse.Namespace
AddCommand = Callable[..., argparse.ArgumentParser]


def add_commands(
    commands: Any, command: AddCommand, add_job: Callable[[argparse.ArgumentParser], None]
) -> None:
    """Adds the command to a parser.

    Args:
        commands: Where argparse keeps the commands.
        command: Makes one: (commands, name, function to run, help).
        add_job: Adds the job and the option for its vehicle.
    """
    close = command(commands, "close", _close, "write the job closed, or what stands against it")
    add_job(close)
    close.add_argument(
        "verdict",
        metavar="VERDICT",
        choices=("repaired", "fixed_itself", "no_fault_found", "not_repaired"),
        help="repaired, fixed_itself, no_fault_found or not_repaired",
    )
    close.add_argument(
        "--word",
        action="store_true",
        help="answer for the checks not made; interlocks have to be proved all the same",
    )
    close.add_argument(
        "--output",
        metavar="FILE",
        help="write it to FILE, which may be JOB itself, in place of standard output",
    )
    close.add_argument("--note", default="", metavar="TEXT", help="words to go with it")


def _close(given: Arguments) -> int:
    with contextlib.ExitStack() as stack:
        patience = stack.enter_context(Patience())
        # Locked before the job is read, so that nobody changes it meanwhile.
        file = None if given.output is None else stack.enter_context(_output(given.output))
        bench = Bench(
            given.job, Sources(given.vehicle, given.kinds, given.rates, given.instruments), patience
        )
        by = "word" if given.word else "verification"
        try:
            text = bench.model.close(
                bench.job_text, given.verdict, by=by, note=given.note, progress=patience
            )
        except Error as error:
            if error.code != int(Code.NOT_VERIFIED):
                raise bench.refusal(error) from None
            complain([one_line(problem.message) for problem in error.problems])
            return FINDINGS
        if file is None:
            write_exactly(text)
        else:
            _write(file, text)
    return FINE


def _output(path: str) -> JobStore:
    """The file of a closed job, held until it is written.

    Raises:
        RefusedError: It can't be written to.
    """
    # Not at the top: what it locks files with is not there on every system.
    from faultloom.dialogue.job_file import InUseError  # noqa: PLC0415
    from faultloom.dialogue.job_store import open_store  # noqa: PLC0415

    try:
        if Path(path).is_dir():
            raise RefusedError([one_line(f"{path}: Is a folder; name a file in it")])
        return open_store(path, by_name=False)
    except InUseError as error:
        raise RefusedError([one_line(f"{path}: {error}")]) from None
    except Error as error:
        raise RefusedError(problem_line(path, p) for p in error.problems) from None
    except OSError as error:
        raise RefusedError(
            [one_line(f"{path}: Can't be written: {error.strerror or error}")]
        ) from None


def _write(file: JobStore, text: str) -> None:
    from faultloom.dialogue.job_file import ChangedError  # noqa: PLC0415

    try:
        file.write(text)
    except ChangedError as error:
        raise RefusedError([one_line(f"{file.path}: {error}")]) from None
    except OSError as error:
        raise RefusedError(
            [one_line(f"{file.path}: Can't be written: {error.strerror or error}")]
        ) from None
