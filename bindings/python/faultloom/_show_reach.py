"""What the tests at hand can tell apart, laid out for a terminal: `groups` and `testability`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from faultloom._bench import one_line
from faultloom._layout import (
    FLOW,
    NAME,
    NOTHING,
    NUMBER,
    and_more,
    grid,
    heading,
    in_a_row,
    indented,
)
from faultloom._show import cautions_in_order, title
from faultloom._words import Names, percent, words
from faultloom.reach import Ambiguity, AmbiguityGroup, Reach, Splitter, Testability, Thing

_WORTH_SHOWING = 0.005
_MOST_THINGS = 8
_MOST_NAMED = 6
_MOST_PARTS = 4


def ambiguity(answer: Ambiguity, job: dict[str, Any], names: Names) -> Iterator[RenderableType]:
    """How much of the suspicion is on single things, and the groups with their probabilities."""
    yield title(job, names)
    yield NOTHING
    yield heading("What the tests at hand can tell apart")
    alone = answer.isolated_to_one
    table, padded = grid(NUMBER, FLOW)
    table.add_row(percent(alone), "of the suspicion is on things that can be told from all others")
    table.add_row(percent(1 - alone), "is on things that can't, listed below")
    yield padded
    yield _with_reach(answer.reach, names)
    groups = [g for g in answer.groups if g.probability >= _WORTH_SHOWING]
    yield from _ambiguity_groups(groups, answer.group_count, names, 1)


def testability(answer: Testability, names: Names) -> Iterator[RenderableType]:
    """The figures of a vehicle, and its worst groups with their shares of all faults."""
    yield Text(names.vehicle, style="bold")
    yield NOTHING
    yield heading("Of all faults, by how likely they are")
    table, padded = grid(NUMBER, FLOW)
    table.add_row(percent(answer.detected), "can be told from a healthy vehicle")
    table.add_row(percent(answer.isolated_to_one), "can be traced to one thing")
    table.add_row(percent(answer.isolated_to_two), "can be traced to one thing or two")
    table.add_row(f"{answer.mean_group_size:.1f}", "things are left to choose from on average")
    yield padded
    yield _with_reach(answer.reach, names)
    sums = ((sum(thing.probability for thing in g.things), g.share) for g in answer.groups)
    whole = next((total / share for total, share in sums if share > 0), 1)
    yield from _ambiguity_groups(answer.groups, answer.group_count, names, whole)


def _with_reach(reach: Reach, names: Names) -> RenderableType:
    used = [words(instrument) for instrument in reach.instruments]
    if reach.allow_live:
        used.append("what can be heard, seen and felt")
    if reach.looks:
        used.append("looks")
    if reach.lifting:
        used.append("wire ends taken off")
    lines = ["with " + ", ".join(used)]
    if not reach.allow_live:
        lines.append("with the pack off all the time")
    if reach.closed_zones:
        closed = ", ".join(names.zone(zone) for zone in reach.closed_zones)
        lines.append(f"with these closed: {closed}")
    return indented(Text("\n".join(lines), style="dim"))


def _ambiguity_groups(
    groups: Sequence[AmbiguityGroup], count: int, names: Names, whole: float
) -> Iterator[RenderableType]:
    """The groups, how many more there are, and the cautions of all that would split one.

    Args:
        groups: Those to show.
        count: How many there are.
        names: Titles of the vehicle.
        whole: The probability that counts as 100 %.
    """
    for group in groups:
        yield NOTHING
        yield heading(f"{percent(group.probability / whole)}: {_sort_of(group)}")
        yield _things(group.things, whole)
        yield _split_by(group.splitter, names)
    if count > len(groups):
        yield NOTHING
        yield Text(and_more(count - len(groups), "--json and --top"), style="dim")
    warnings = {c.id: c for g in groups if g.splitter for c in g.splitter.cautions}
    if warnings:
        yield NOTHING
        yield heading("Before any of this")
        yield cautions_in_order(warnings.values())


def _sort_of(group: AmbiguityGroup) -> str:
    things = f"{len(group.things)} things"
    if group.shows_nothing:
        return f"{things} whose faults change nothing that can be measured"
    if group.like_no_fault:
        return f"one of {things}, or nothing at all"
    return f"one of {things}"


def _things(things: Sequence[Thing], whole: float) -> RenderableType:
    table, padded = grid(NUMBER, NAME, FLOW)
    for thing in things[:_MOST_THINGS]:
        name = Text(one_line(thing.id), style="bold")
        table.add_row(percent(thing.probability / whole), name, one_line(thing.title))
    if len(things) > _MOST_THINGS:
        table.add_row("", "", Text(and_more(len(things) - _MOST_THINGS), style="dim"))
    return padded


def _split_by(splitter: Splitter | None, names: Names) -> RenderableType:
    if splitter is None:
        line = Text("Nothing tried would split it: look closely, or renew all of it", style="dim")
        return indented(line)
    table, padded = grid({"no_wrap": True}, FLOW)
    text = Text(one_line(splitter.text), style="bold")
    if splitter.type == "look" and (place := names.place(splitter.component)):
        text.append(f", {place}", style="not bold")
    table.add_row("To split it", text)
    if len(splitter.parts) > 1:
        table.add_row("", Text(_split_into(splitter), style="dim"))
    return padded


def _split_into(splitter: Splitter) -> str:
    """The parts, as things; parts of the same things differ in their faults only."""
    parts = list(dict.fromkeys(in_a_row(part, _MOST_NAMED) for part in splitter.parts))
    more = [f"{len(parts) - _MOST_PARTS} more parts"] if len(parts) > _MOST_PARTS else []
    return "into " + "; ".join(parts[:_MOST_PARTS] + more)
