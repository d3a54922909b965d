"""The command `faultloom`: answers on standard output, complaints on standard error.

Exit codes: 0 fine, 1 findings, no step to suggest or something against closing, 2 bad input or bad
usage, 3 a defect of the library, 130 stopped by Ctrl-C, 141 nobody reads the output; 129 and 143,
the bench was told to end.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultloom import _check, _close, _fleet, _learning, _plan, _show, _show_reach
from faultloom._bench import (
    Bench,
    RefusedError,
    Sources,
    build_model,
    one_line,
    parse,
    priors_of,
    read_file,
    read_instruments,
)
from faultloom._core import version
from faultloom._terminal import Patience, complain, show, write_exactly
from faultloom._words import Names
from faultloom.answers import Advice, Explanation, Ranking
from faultloom.errors import Code, Error
from faultloom.model import Progress
from faultloom.pages import commands as pages
from faultloom.plan import Plan
from faultloom.proof import Verification
from faultloom.reach import Ambiguity

if TYPE_CHECKING:
    pass

FINE, FINDINGS, BAD, DEFECT, STOPPED, UNREAD = 0, 1, 2, 3, 130, 141
_SIGNALED = 128

# A wire and its two ends are three components, so more are asked for than are shown.
_ROWS_BEHIND_A_ROW = 10

Arguments = argparse.Namespace


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command.

    Args:
        arguments: As given on the command line, without the name of the program.

    Returns:
        The exit code.
    """
    for stream in (sys.stdout, sys.stderr):
        if reconfigure := getattr(stream, "reconfigure", None):
            reconfigure(errors="replace")
    given = _parser().parse_args(arguments)
    try:
        code = _guarded(given)
        sys.stdout.flush()
    except KeyboardInterrupt:
        complain(["Stopped."])
        return STOPPED
    except BrokenPipeError:
        _leave_output()
        return UNREAD
    return code


def _leave_output() -> None:
    """Keeps the interpreter from complaining that nobody reads when it closes the stream."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _guarded(given: Arguments) -> int:
    command: Callable[[Arguments], int] = given.command
    try:
        return command(given)
    except RefusedError as refused:
        complain(refused.lines)
        return BAD
    except Error as error:
        complain([one_line(str(problem)) for problem in error.problems])
        return DEFECT if error.code >= int(Code.ARGUMENT) else BAD


# -- commands --------------------------------------------------------------------------------------


def _rank(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        top = given.top if given.json else max(20, given.top * _ROWS_BEHIND_A_ROW)
        return bench.model.rank(
            bench.job_text,
            top=top,
            bound=given.bound,
            budget_seconds=given.budget,
            budget_sets=given.budget_sets,
            progress=progress,
        ).text

    def lay_out(bench: Bench, text: str) -> None:
        priors = priors_of(bench.model, bench.job_text)
        show(*_show.ranking(Ranking(text), bench.job, _names(bench), given.top, priors))

    return _answer(given, ask, lay_out)


def _next(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        _check_names("--use", given.use, bench.instruments.get("instruments", {}))
        _check_names("--keep-closed", given.keep_closed, bench.vehicle.get("zones", {}))
        return bench.model.next_step(
            bench.job_text,
            instruments=given.use,
            closed_zones=given.keep_closed,
            alternatives=given.others,
            allow_live=False if given.pack_off else None,
            max_minutes=given.minutes,
            authorized_usd=given.authorized,
            budget_seconds=given.budget,
            progress=progress,
        ).text

    def lay_out(bench: Bench, text: str) -> None:
        show(*_show.advice(Advice(text), bench.job, _names(bench)))

    return _answer(given, ask, lay_out)


def _unroll(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        _check_names("--use", given.use, bench.instruments.get("instruments", {}))
        _check_names("--keep-closed", given.keep_closed, bench.vehicle.get("zones", {}))
        options: dict[str, Any] = {
            "instruments": given.use,
            "closed_zones": given.keep_closed,
            "allow_live": False if given.pack_off else None,
            "max_minutes": given.minutes,
            "authorized_usd": given.authorized,
            "depth": given.depth,
            "residual": given.residual,
        }
        if given.card is not None:
            card = bench.model.plan_card(bench.job_text, **options, progress=progress)
            _write_file(given.card, card)
        return bench.model.plan(bench.job_text, **options, progress=progress).text

    def lay_out(bench: Bench, text: str) -> None:
        show(*_plan.plan(Plan(text), bench.job, _names(bench)))

    return _answer(given, ask, lay_out)


def _write_file(path: str, text: str) -> None:
    try:
        Path(path).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise RefusedError([one_line(f"{path}: {error.strerror}; name another file")]) from None


def _check_names(option: str, names: list[str] | None, known: Collection[str]) -> None:
    unknown = [name for name in names or [] if name not in known]
    if unknown:
        among = ", ".join(sorted(known))
        raise RefusedError(
            one_line(f"{option}: There is no '{n}'; there is {among}") for n in unknown
        )


def _explain(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        return bench.model.explain(
            bench.job_text,
            top=given.top,
            bound=given.bound,
            budget_seconds=given.budget,
            budget_sets=given.budget_sets,
            progress=progress,
        ).text

    def lay_out(bench: Bench, text: str) -> None:
        show(*_show.explanation(Explanation(text), bench.job, _names(bench)))

    return _answer(given, ask, lay_out)


def _groups(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        reach = _reach(given, bench.instruments, bench.vehicle)
        return bench.model.ambiguity(bench.job_text, **reach, progress=progress).text

    def lay_out(bench: Bench, text: str) -> None:
        show(*_show_reach.ambiguity(Ambiguity(text), bench.job, _names(bench)))

    return _answer(given, ask, lay_out)


def _testability(given: Arguments) -> int:
    file = given.vehicle_file
    text = read_file(file)
    vehicle = parse(file, text, "vehicle")
    with Patience() as patience:
        model = build_model(file, text, _sources(given))
        instruments = read_instruments(_sources(given))
        reach = _reach(given, instruments, vehicle)
        answer = model.testability(**reach, progress=patience)
    if given.json:
        write_exactly(answer.text)
    else:
        show(*_show_reach.testability(answer, Names(vehicle, instruments, model.summary())))
    return FINE


def _reach(
    given: Arguments, instruments: Mapping[str, Any], vehicle: Mapping[str, Any]
) -> dict[str, Any]:
    """What the command line says may be used, as arguments of the model."""
    _check_names("--use", given.use, instruments.get("instruments", {}))
    _check_names("--keep-closed", given.keep_closed, vehicle.get("zones", {}))
    return {
        "instruments": given.use,
        "closed_zones": given.keep_closed,
        "allow_live": False if given.pack_off else None,
        "looks": given.look or None,
        "lifting": given.lift_wires or None,
        "top": given.top,
    }


def _answer(
    given: Arguments, ask: Callable[[Bench, Progress], str], lay_out: Callable[[Bench, str], None]
) -> int:
    """Puts a question about a job and shows what comes back."""
    with Patience() as patience:
        bench = Bench(given.job, _sources(given), patience)
        try:
            text = ask(bench, patience)
        except Error as error:
            if error.code == int(Code.NO_STEP):
                complain([one_line(str(problem)) for problem in error.problems])
                return FINDINGS
            if error.code >= int(Code.ARGUMENT):
                raise
            raise bench.refusal(error) from None
    if given.json:
        write_exactly(text)
    else:
        lay_out(bench, text)
    complain([one_line(str(warning)) for warning in json.loads(text).get("warnings", [])])
    return FINE


def _verify(given: Arguments) -> int:
    def ask(bench: Bench, progress: Progress) -> str:
        return bench.model.verification(bench.job_text, progress=progress).text

    def lay_out(bench: Bench, text: str) -> None:
        show(*_show.verification(Verification(text), bench.job, _names(bench)))

    return _answer(given, ask, lay_out)


def _deck(given: Arguments) -> int:
    file = given.vehicle_file
    text = read_file(file)
    parse(file, text, "vehicle")
    model = build_model(file, text, _sources(given))
    ask = model.solve if given.json else model.spice_deck
    try:
        answer = ask(dict(given.state), given.mode, given.lift, isolated=given.isolated)
    except Error as error:
        raise RefusedError(one_line(str(problem)) for problem in error.problems) from None
    write_exactly(answer if isinstance(answer, str) else answer.text)
    return FINE


def _bench(given: Arguments) -> int:
    # Not at the top: what it locks files with is not there on every system.
    from faultloom.dialogue import open_bench  # noqa: PLC0415
    from faultloom.dialogue.interrupts import TerminatedError  # noqa: PLC0415
    from faultloom.dialogue.session import Means  # noqa: PLC0415

    allow_live = False if given.pack_off else None
    means = Means(given.use, given.keep_closed, allow_live, given.authorized)
    try:
        open_bench(given.vehicle_name, given.job, _sources(given), means).run()
    except TerminatedError as ended:
        try:
            sys.stdout.flush()
        except OSError:
            _leave_output()
        return _SIGNALED + ended.signal_number
    return FINE


def _names(bench: Bench) -> Names:
    return Names(bench.vehicle, bench.instruments, bench.model.summary())


def _sources(given: Arguments) -> Sources:
    return Sources(getattr(given, "vehicle", None), given.kinds, given.rates, given.instruments)


# -- command line ----------------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="faultloom",
        description="Finds the electrical fault in a cart that will not run, from a few readings.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"faultloom {version}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    _check.add_commands(commands, _command, _add_vehicle)

    rank = _command(commands, "rank", _rank, "show what is probably broken")
    _add_job(rank)
    rank.add_argument(
        "--top", type=_count, default=10, metavar="N", help="most suspects to show (10)"
    )
    _add_search(rank)

    step = _command(commands, "next", _next, "show what to test or repair next")
    _add_job(step)
    _add_means(step, "in place of the job's list")
    step.add_argument("--others", type=_count, metavar="N", help="how many runners-up to show (3)")
    _add_limits(step)
    step.add_argument(
        "--budget",
        type=lambda text: _number(text, 3600),
        metavar="SECONDS",
        help="answer within about this time, 0 for no time limit",
    )

    plan = _command(
        commands, "plan", _unroll, "show what to do next, and after each outcome what then"
    )
    _add_job(plan)
    _add_means(plan, "in place of the job's list")
    _add_limits(plan)
    plan.add_argument("--depth", type=_count, metavar="N", help="most steps one after another (8)")
    plan.add_argument(
        "--residual",
        type=lambda text: _number(text, 1),
        metavar="P",
        help="do not follow what is less probable than this, 0 to 1 (0.02)",
    )
    plan.add_argument(
        "--card", metavar="FILE", help="also draw the first steps on a page to print, SVG"
    )

    verify = _command(
        commands, "verify", _verify, "show what has to be proved after a repair, and what is"
    )
    _add_job(verify)

    _close.add_commands(commands, _command, _add_job)

    explain = _command(
        commands, "explain", _explain, "show what each reading says for and against the suspects"
    )
    _add_job(explain)
    explain.add_argument(
        "--top", type=_count, default=6, metavar="N", help="most suspects to weigh (6)"
    )
    _add_search(explain)

    groups = _command(
        commands,
        "groups",
        _groups,
        "show which suspects no test at hand tells apart",
    )
    _add_job(groups)
    _add_means(groups, "in place of the job's list")
    _add_reach(groups)

    testability = _command(
        commands,
        "testability",
        _testability,
        "show how far the faults of a vehicle can be found and told apart at all",
    )
    testability.add_argument("vehicle_file", metavar="VEHICLE", help="vehicle document")
    _add_means(testability, "in place of all")
    _add_reach(testability)

    _add_deck(commands)
    _add_commands_of_modules(commands)
    return parser


def _add_deck(commands: Any) -> None:
    deck = _command(commands, "deck", _deck, "write the circuit in one situation as a SPICE deck")
    deck.add_argument("vehicle_file", metavar="VEHICLE", help="vehicle document")
    deck.add_argument(
        "--state",
        action="append",
        type=_setting,
        default=[],
        metavar="CONTROL=POSITION",
        help="a control that is moved",
    )
    deck.add_argument(
        "--mode", action="append", default=[], metavar="COMPONENT/MODE", help="something broken"
    )
    deck.add_argument(
        "--lift", action="append", default=[], metavar="WIRE:END", help="a wire end taken off"
    )
    deck.add_argument("--isolated", action="store_true", help="with the pack isolated")


def _add_commands_of_modules(commands: Any) -> None:
    _learning.add_commands(commands, _command, _whole)
    _fleet.add_commands(commands, _command, _number, _whole)
    pages.add_commands(commands, lambda text: _number(text, 1000000000))
    _add_bench(commands)


def _add_bench(commands: Any) -> None:
    bench = _command(
        commands,
        "bench",
        _bench,
        "work on a job step by step: asks, keeps every answer in the job's file, goes on later",
        answers=False,
    )
    bench.add_argument(
        "vehicle_name", metavar="VEHICLE", help="vehicle document, or the id of a shipped vehicle"
    )
    bench.add_argument(
        "--job",
        metavar="FILE",
        help="the job's file, to begin or to go on with (a new one, named after vehicle and day)",
    )
    _add_means(bench, "in place of the job's list")
    _add_authorized(bench)


def _add_authorized(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--authorized",
        type=lambda text: _number(text, 1000000000),
        metavar="USD",
        help="ask before a repair that costs more",
    )


def _command(
    commands: Any,
    name: str,
    run: Callable[[Arguments], int],
    help_text: str,
    *,
    answers: bool = True,
) -> argparse.ArgumentParser:
    sentence = help_text[0].upper() + help_text[1:] + "."
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_text, description=sentence, allow_abbrev=False
    )
    parser.set_defaults(command=run)
    if answers:
        in_json = "the solved circuit" if name == "deck" else "the answer"
        parser.add_argument("--json", action="store_true", help=f"write {in_json} as JSON")
    for option in ("kinds", "rates", "instruments"):
        parser.add_argument(
            f"--{option}", metavar="FILE", help=f"{option} in place of the shipped ones"
        )
    return parser


def _add_vehicle(parser: argparse.ArgumentParser) -> None:
    where = "by its id in ../vehicles beside the job, else in the shipped data"
    parser.add_argument("--vehicle", metavar="FILE", help=f"vehicle of the job (found {where})")


def _add_job(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="job document, - for standard input")
    _add_vehicle(parser)


def _add_means(parser: argparse.ArgumentParser, in_place: str) -> None:
    parser.add_argument(
        "--use", action="append", metavar="ID", help=f"instrument at hand, {in_place}"
    )
    parser.add_argument(
        "--keep-closed", action="append", metavar="ZONE", help="place that must stay closed"
    )
    parser.add_argument(
        "--pack-off", action="store_true", help="only what can be done with the pack disconnected"
    )


def _add_limits(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--minutes",
        type=lambda text: _number(text, 1000000),
        metavar="MIN",
        help="no step longer than this, opening included",
    )
    _add_authorized(parser)


def _add_reach(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--look", action="store_true", help="count looks at components as tests")
    parser.add_argument(
        "--lift-wires", action="store_true", help="count the taking off of wire ends as a test"
    )
    parser.add_argument(
        "--top", type=_count, default=5, metavar="N", help="most groups to show (5)"
    )


def _add_search(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--bound",
        type=lambda text: _number(text, 1),
        metavar="P",
        help="search until at most this probability is not looked at, 0 to 1 (0.001)",
    )
    parser.add_argument(
        "--budget",
        type=lambda text: _number(text, 3600),
        metavar="SECONDS",
        help="answer within about this time, 0 for no time limit",
    )
    parser.add_argument(
        "--budget-sets",
        type=lambda text: _whole(text, 0, 1000000000),
        metavar="N",
        help="end the search after about so many sets of faults, 0 for no limit (8000)",
    )


def _number(text: str, most: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if 0 <= value <= most:
        return value
    raise argparse.ArgumentTypeError(f"'{text}' is not a number from 0 to {most:g}")


def _count(text: str) -> int:
    return _whole(text, 1, 1000)


def _whole(text: str, least: int, most: int) -> int:
    # Longer ones need not be read to be refused.
    if text.isascii() and text.isdigit() and len(text) < 20 and least <= int(text) <= most:
        return int(text)
    raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from {least} to {most}")


def _setting(text: str) -> tuple[str, str]:
    control, sign, position = text.partition("=")
    if control and sign and position:
        return control, position
    raise argparse.ArgumentTypeError(
        f"'{text}' is not of the form CONTROL=POSITION, such as key=on"
    )


if __name__ == "__main__":
    sys.exit(main())
