"""The command `triage`: what it reads, asks and prints."""

from __future__ import annotations

import argparse
import contextlib
import csv
import dataclasses
import datetime
import importlib
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import RenderableType
from rich.text import Text

from faultloom._bench import RefusedError, one_line, problem_line, read_file
from faultloom._layout import FLOW, NUMBER, and_more, grid, indented
from faultloom._terminal import Patience, complain, show, write_exactly
from faultloom._words import dollars, lower_first, minutes, percent
from faultloom.errors import Code, Error
from faultloom.pages.whole_file import write_whole

if TYPE_CHECKING:
    from faultloom.fleet import Cluster, Fleet, Rated, SetAside, Slot, Terms, Triage, VanList

_FINE, _FINDINGS, _STOPPED = 0, 1, 130
_MOST_SUSPECTS = 3
_WORTH_NAMING = 0.05
_MOST_LEFT = 5
_MOST_NAMED = 8

Arguments = argparse.Namespace
AddCommand = Callable[..., argparse.ArgumentParser]
Number = Callable[[str, float], float]
Whole = Callable[[str, int, int], int]


def add_commands(commands: Any, command: AddCommand, number: Number, whole: Whole) -> None:
    """Adds the command to a parser.

    Args:
        commands: Where argparse keeps the commands.
        command: Makes one: (commands, name, function to run, help).
        number: Reads a number from 0 to another.
        whole: Reads a whole number between two others.
    """
    parser = command(
        commands,
        "triage",
        _triage,
        "put open complaints of many vehicles in order: which first, what to load, what they share",
    )
    parser.add_argument(
        "fleet", metavar="FLEET", help="fleet document, or a table that ends in .csv, one row each"
    )
    parser.add_argument("--out", metavar="FILE", help="also write the answer to FILE, as JSON")
    parser.add_argument(
        "--aside",
        metavar="FILE",
        help="where to put rows that can't be used (beside the table, ending in .set-aside.csv)",
    )
    parser.add_argument(
        "--technicians",
        type=lambda text: whole(text, 1, 1000),
        metavar="N",
        help="how many work side by side (1)",
    )
    _add_share(parser, number, "--van-share", "share of first visits the van's parts finish (0.8)")
    parser.add_argument(
        "--van-visits",
        type=lambda text: whole(text, 1, 500),
        metavar="N",
        help="load the van for the first N visits (40)",
    )
    parser.add_argument(
        "--van-budget",
        type=lambda text: number(text, 1000000000),
        metavar="USD",
        help="most that the parts in the van may be worth",
    )
    parser.add_argument(
        "--begins",
        type=_moment,
        metavar="TIME",
        help="when work can begin, such as 2026-11-30T07:30 (as the document says)",
    )
    _add_share(
        parser, number, "--false-rate", "share of false ones among common causes named (0.05)"
    )
    parser.add_argument(
        "--advise",
        action="store_true",
        help="expected cost from the next step of each vehicle and all after it; takes longer",
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="have the work done by the workers of a Dask scheduler, such as tcp://10.0.0.5:8786",
    )
    parser.add_argument(
        "--chunk",
        type=lambda text: whole(text, 1, 100000),
        metavar="N",
        help="vehicles that are done in one go (8)",
    )
    parser.add_argument(
        "--quick",
        action="store_true",
        help="only look complaints up in tables: thousands in seconds, some of them roughly",
    )
    parser.add_argument(
        "--budget-sets",
        type=lambda text: whole(text, 0, 1000000000),
        metavar="N",
        help="end the search in each job after about so many sets of faults, 0 for no limit (8000)",
    )


def _add_share(parser: argparse.ArgumentParser, number: Number, name: str, help_text: str) -> None:
    parser.add_argument(name, type=lambda text: number(text, 1), metavar="P", help=help_text)


def _moment(text: str) -> datetime.datetime:
    try:
        return datetime.datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no time; write YYYY-MM-DDTHH:MM") from None


def _triage(given: Arguments) -> int:
    try:
        from faultloom import fleet  # noqa: PLC0415  # needs more packages than the rest
    except ModuleNotFoundError as error:
        line = f"This needs the Python package {error.name}; pip install 'faultloom[fleet]'"
        raise RefusedError([line]) from None
    with contextlib.ExitStack() as stack:
        patience = stack.enter_context(Patience())
        found = _read(given.fleet, fleet.load_fleet)
        if given.begins is not None:
            found = dataclasses.replace(found, begins=given.begins)
        client = stack.enter_context(_client(given.scheduler))
        try:
            answer = fleet.triage(
                found,
                terms=_terms(given, fleet.Terms),
                advise=given.advise,
                kinds=given.kinds,
                rates=given.rates,
                instruments=given.instruments,
                client=client,
                chunk=given.chunk,
                budget_sets=given.budget_sets,
                quick=given.quick,
                keep_partial=True,
                progress=patience,
            )
        except Error as error:
            if error.code >= int(Code.ARGUMENT):
                raise
            raise RefusedError(problem_line(given.fleet, p) for p in error.problems) from None
        except OSError as error:
            raise RefusedError([_unreadable(error)]) from None
    return _told(given, found, answer)


def _read(path: str, load: Callable[[str], Fleet]) -> Fleet:
    source = path if path != "-" else read_file("-").decode("utf-8", "replace")
    try:
        return load(source)
    except Error as error:
        raise RefusedError(problem_line(path, problem) for problem in error.problems) from None
    except OSError as error:
        raise RefusedError([_unreadable(error)]) from None


def _unreadable(error: OSError) -> str:
    return one_line(f"{error.filename or ''}: Can't be read: {error.strerror or error}")


def _terms(given: Arguments, make: type[Terms]) -> Terms:
    wanted = {
        "technicians": given.technicians,
        "van_share": given.van_share,
        "van_budget_usd": given.van_budget,
        "van_visits": given.van_visits,
        "false_rate": given.false_rate,
    }
    return make(**{name: value for name, value in wanted.items() if value is not None})


@contextlib.contextmanager
def _client(address: str | None) -> Iterator[Any]:
    """A client of a Dask scheduler, None if the work is to be done here."""
    if address is None:
        yield None
        return
    try:
        # Not at the top: only who has a cluster needs it.
        distributed: Any = importlib.import_module("distributed")
    except ModuleNotFoundError:
        line = "--scheduler: This needs the Python package distributed"
        raise RefusedError([f"{line}; pip install 'faultloom[cluster]'"]) from None
    try:
        client = distributed.Client(address, timeout=10)
    except (OSError, ValueError) as error:
        line = f"--scheduler {address}: No scheduler answers there: {error}"
        raise RefusedError([one_line(line)]) from None
    with client:
        yield client


def _told(given: Arguments, fleet: Fleet, answer: Triage) -> int:
    """Writes files and answer; returns the exit code."""
    text = answer.to_json()
    if given.out is not None:
        _write(given.out, text)
    if given.json:
        write_exactly(text)
    else:
        show(*triage_shown(answer))
    complain([one_line(f"{given.fleet}: {line}") for line in _aside_lines(answer.set_aside)])
    if rows := [row for row in answer.set_aside if row.cells]:
        path = given.aside or str(Path(given.fleet).with_suffix(".set-aside.csv"))
        _write(path, _as_table(fleet.columns, rows))
        complain([one_line(f"{len(rows)} rows set aside in {path}; mend them and run that file")])
    if answer.interrupted:
        missing = answer.missing
        names = ", ".join(missing[:_MOST_NAMED]) + (" ..." if len(missing) > _MOST_NAMED else "")
        complain([one_line(f"Stopped; {len(missing)} vehicles were not looked at: {names}")])
        return _STOPPED
    return _FINDINGS if answer.set_aside else _FINE


def _aside_lines(rows: Iterable[SetAside]) -> Iterator[str]:
    for row in rows:
        who = f"{row.where}{f' ({row.id})' if row.id else ''}"
        for problem in row.problems:
            yield f"{who}, {problem}"


def _as_table(columns: Sequence[str], rows: Iterable[SetAside]) -> str:
    """Rows as they were, and what is wrong with each in one more column, which is not read back."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    kept = [name for name in columns if name != _WHY]
    writer.writerow([*kept, _WHY])
    for row in rows:
        why = "; ".join(one_line(problem) for problem in row.problems)
        writer.writerow([*(row.cells.get(name, "") for name in kept), why])
    return stream.getvalue()


_WHY = "x-why"


def _write(path: str, text: str) -> None:
    try:
        write_whole(path, text)
    except OSError as error:
        line = f"{path}: Can't be written: {error.strerror or error}"
        raise RefusedError([one_line(line)]) from None


# -- layout ----------------------------------------------------------------------------------------


def triage_shown(answer: Triage) -> Iterator[RenderableType]:
    """The answer for a terminal: common causes, order of work, sums, the van."""
    count = f"{len(answer.jobs)} of {answer.vehicles} vehicles wait"
    yield Text(one_line(answer.title or "Open complaints"), style="bold").append(
        f"\n{count}", style="dim"
    )
    if not answer.jobs:
        return
    if answer.clusters:
        yield Text("\nWhat several of them have in common", style="bold")
        for cluster in answer.clusters:
            yield indented(_cluster(cluster, answer))
    yield Text("\nOrder of work", style="bold")
    yield _order(answer)
    yield Text("\nTime and money", style="bold")
    yield _sums(answer)
    if answer.van is not None:
        yield Text("\nLoad into the van", style="bold")
        yield _van(answer.van)


_LEFT: dict[str, Any] = {"no_wrap": True}

_SHARED = {
    "charger": "charger {}",
    "washed": "washed on {}",
    "battery_batch": "battery blocks {}",
    "battery_age_months": "battery blocks {} months old",
    "serviced": "serviced {}",
    "build_batch": "build batch {}",
    "site": "kept at {}",
    "vehicle": "all {}",
    "days": "complaints from {}",
}


def _cluster(cluster: Cluster, answer: Triage) -> Text:
    shared = _SHARED[cluster.trait].format(cluster.value)
    title = answer.cause_titles[cluster.cause]
    text = Text(one_line(f"{shared}: {lower_first(title)}"), style="bold yellow")
    names = ", ".join(f"{name} {percent(chance)}" for name, chance in cluster.vehicles)
    text.append(f"\n{one_line(names)}", style="")
    seen = f"{cluster.together:.1f} of the {cluster.waiting} that wait have it"
    rates = f"the rates lead to expect {cluster.expected:.1f}"
    others = "" if cluster.trait == "days" else f", and {cluster.elsewhere:.1f} of all others"
    text.append(f"\n{seen}{others}; {rates}", style="dim")
    text.append(f"\nby chance alone: at most {percent(cluster.chance)}", style="dim")
    text.append(f"\n{cluster.tell}")
    if cluster.also:
        shared = ", ".join(_SHARED[trait].format(value) for trait, value in cluster.also)
        text.append(f"\n{one_line(f'also: {shared}')}", style="dim")
    return text


def _order(answer: Triage) -> RenderableType:
    table, padded = grid(NUMBER, _LEFT, _LEFT, NUMBER, NUMBER, FLOW)
    several = answer.terms.technicians > 1
    heads = ("", "", "ready" if answer.begins else "done after", "time", "per hour", "")
    table.add_row(*(Text(head, style="dim") for head in heads))
    for place, slot in enumerate(answer.order, 1):
        job = answer.job(slot.id)
        when = f"{slot.ready:%a %H:%M}" if slot.ready else f"{slot.ends_minute:.0f} min"
        if several:
            when += f", no. {slot.technician}"
        table.add_row(
            f"{place}",
            Text(one_line(slot.id), style="bold"),
            when,
            minutes(job.minutes),
            dollars(job.downtime_usd_per_hour),
            _suspects(job, slot),
        )
    return padded


def _suspects(job: Rated, slot: Slot) -> Text:
    """What it may be, likeliest first, and what is to be said about its place in the order."""
    text = Text()
    if job.unsafe or job.blocking:
        text.append("dangerous: " if job.unsafe else "in the way: ", style="bold red")
    elif slot.rank == "quick":
        text.append("maybe mended in minutes: ", style="green")
    rows = [s for s in job.suspects if s.probability >= _WORTH_NAMING][:_MOST_SUSPECTS]
    said = [f"{_called(s.id, s.title)} {percent(s.probability)}" for s in rows]
    if job.nothing >= _WORTH_NAMING:
        said.append(f"nothing broken {percent(job.nothing)}")
    text.append(one_line(", ".join(said) or "no part stands out"))
    if slot.late_hours:
        text.append(f"\nready {slot.late_hours:.1f} h after it is needed", style="yellow")
    return text


def _called(component: str, title: str) -> str:
    """Id and title, the id once; a setting has a title that says all."""
    words = lower_first(title)
    known = component in words.split() or words.startswith("setting of ")
    return words if known else f"{component} {words}"


def _sums(answer: Triage) -> RenderableType:
    table, padded = grid(NUMBER, FLOW)
    total = sum(job.minutes for job in answer.jobs)
    table.add_row(f"{total / 60:.1f} h", "of work expected")
    table.add_row(dollars(sum(job.cost_usd for job in answer.jobs)), "time and parts expected")
    table.add_row(dollars(answer.downtime_usd), "for standing still until done, in this order")
    table.add_row(dollars(answer.as_they_came_usd), "the same in the order the complaints came")
    if late := [slot for slot in answer.order if slot.late_hours]:
        hours = sum(slot.late_hours or 0.0 for slot in late)
        table.add_row(f"{len(late)}", f"later than needed, {hours:.1f} h in all")
    advised = sum(job.by == "advice" for job in answer.jobs)
    by = f"of {advised} from the next step and all after it" if advised else "from the chances and"
    rest = "" if advised else " what each repair takes; --advise asks for the next step"
    table.add_row("", Text(f"Money {by}{rest}", style="dim"))
    return padded


def _van(van: VanList) -> RenderableType:
    table, padded = grid(NUMBER, FLOW, NUMBER, NUMBER)
    heads = ("", "", "wanted", "price each")
    table.add_row(*(Text(head, style="dim") for head in heads))
    for part in van.parts:
        name = one_line(lower_first(part.name))
        table.add_row(f"{part.units}", name, percent(part.needed), dollars(part.price_usd))
    if not van.parts:
        table.add_row("", "no part")
    table.add_row()
    sentence = (
        f"finishes {percent(van.share)} of {van.visits} first visits; asked for "
        f"{percent(van.wanted)}, every part there is would finish {percent(van.most)}"
    )
    table.add_row("", Text(sentence), "", dollars(van.parts_usd))
    if van.left:
        left = [f"{one_line(lower_first(p.name))} {percent(p.needed)}" for p in van.left]
        more = f" {and_more(len(left) - _MOST_LEFT)}" if len(left) > _MOST_LEFT else ""
        table.add_row("", Text(f"left behind: {', '.join(left[:_MOST_LEFT])}{more}", style="dim"))
    return padded
