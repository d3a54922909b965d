"""What the bench shows besides the step itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from faultloom._bench import one_line
from faultloom._layout import NOTHING, grid, heading
from faultloom._show import cautions, checks, found, how, merged_suspects
from faultloom._words import Names, dollars, lower_first, percent, volts
from faultloom.answers import Advice, Ranking, Step
from faultloom.dialogue.own import EXAMPLES
from faultloom.proof import Check, Verification

MOVED_ROWS = 5
_ABOUT_EQUAL = 0.0005
_NOTED = 0.0005

_HELP = (
    ("48.1 V, bright, no", "an answer to the step; the line above the prompt says which fit"),
    ("not sure", "you looked, but can't say: noted, changes nothing"),
    ("can't", "you can't get there: noted, another step is proposed"),
    ("undo", "takes the last answer back, as often as you like"),
    ("why", "why this step, and what speaks for and against the leading suspects"),
    ("skip", "proposes the next best step, nothing is noted"),
    ("other", "lists the other steps to choose from by number; other 2 takes the second"),
    ("something else: ...", "a finding of your own"),
    ("rank", "everything that was found, and where the fault is"),
    ("step", "shows the step again"),
    ("save, save FILE", "writes the job again, or to another file from now on"),
    ("close", "closes the job: repaired, fixed itself, no fault found or not repaired"),
    ("done, quit", "ends; everything is in the job's file, --job FILE goes on"),
)


def help_lines() -> Iterator[RenderableType]:
    """What may be typed."""
    yield heading("You can type")
    table, padded = grid({"no_wrap": True}, {"ratio": 1})
    for typed, does in _HELP:
        table.add_row(Text(typed, style="bold"), does)
    table.add_row()
    for example in EXAMPLES:
        table.add_row("", Text(example, style="dim"))
    yield padded


def choices(rows: Sequence[tuple[str, str]]) -> RenderableType:
    """Numbered rows of a text and what is said of it."""
    table, padded = grid({"justify": "right"}, {"no_wrap": True}, {"ratio": 1})
    for number, (text, note) in enumerate(rows, 1):
        table.add_row(str(number), note, one_line(text))
    return padded


def priced(step: Step) -> tuple[str, str]:
    """A step as a row of `choices`."""
    return step.text, dollars(step.expected_total_usd)


def answer_line(hint: str) -> Text:
    """How the open step is answered."""
    text = Text("Answer  ", style="bold")
    return text.append(one_line(hint), style="not bold")


def noted(ranking: Ranking, added: Collection[str]) -> Iterator[RenderableType]:
    """The entries just added as the library understood them, with its doubts."""
    yield heading("Noted")
    entries = [entry for entry in ranking.entries if entry.id in added]
    yield found(entries)


def reasons(step: Step, advice: Advice, others: Sequence[Step]) -> Iterator[RenderableType]:
    """What a step costs to the end of the job, against the other things that could be done."""
    yield heading("Why this step")
    table, padded = grid({"justify": "right", "no_wrap": True}, {"ratio": 1})
    table.add_row(
        Text(dollars(step.expected_total_usd), style="bold"),
        "expected to the end of the job with it",
    )
    for other in others[:2]:
        table.add_row(dollars(other.expected_total_usd), one_line(other.text))
    table.add_row(
        dollars(advice.repair_only_usd), "repairing the likeliest first, without another test"
    )
    yield padded


def moves(before: Ranking, after: Ranking) -> Iterator[RenderableType]:
    """How probable the leading suspects were and are: the first five of before and of after."""
    was, now = _shares(before), _shares(after)
    leading = [*list(was)[:MOVED_ROWS], *list(now)[:MOVED_ROWS]]
    rows = sorted(dict.fromkeys(leading), key=lambda name: (-now.get(name, 0), name))
    titles = _titles(before) | _titles(after)
    yield heading("How the suspicion moved")
    table, padded = grid(
        {"justify": "right", "no_wrap": True},
        {"no_wrap": True},
        {"justify": "right", "no_wrap": True},
        {"overflow": "fold", "max_width": 18},
        {"ratio": 1},
    )
    for name in rows:
        _move(table, was.get(name, 0), now.get(name, 0), name, titles[name])
    for old, new, what in (
        (before.no_fault, after.no_fault, "nothing is broken right now"),
        (before.not_in_model, after.not_in_model, "a fault the wiring document doesn't know"),
    ):
        if max(old, new) >= _NOTED:
            _move(table, old, new, "", what)
    yield padded


def mended(ranking: Ranking) -> Iterator[RenderableType]:
    """For each repair how probable it is that what was repaired had been faulty."""
    repairs = ranking.get("repairs", [])
    if not repairs:
        return
    yield NOTHING
    yield heading("What the repairs mended")
    table, padded = grid(
        {"justify": "right", "no_wrap": True},
        {"overflow": "fold", "max_width": 18},
        {"ratio": 1},
    )
    for repair in repairs:
        title = one_line(lower_first(repair["title"]))
        table.add_row(
            percent(repair["was_faulty"]),
            Text(one_line(repair["id"]), style="bold"),
            f"{title}, chance that it had been faulty",
        )
    yield padded


def check_card(check: Check, step: Step, names: Names, left: int) -> Iterator[RenderableType]:
    """What to prove, how, with which cautions, and how it was before the repair."""
    more = f", {left} left" if left > 1 else ""
    # Where the controls stand is said below.
    end = {"drop": ", ", "interlock": ": "}.get(check.type, "\n")
    yield heading(f"To prove{more}: {one_line(check.text.split(end)[0])}")
    yield how(step, names)
    if check.type == "drop":
        table, padded = grid({"justify": "right", "no_wrap": True}, {"ratio": 1})
        if check.before_volt is not None:
            table.add_row(volts(check.before_volt), "before the repair")
        table.add_row(volts(check.expected_volt or 0), "in a sound vehicle")
        table.add_row(volts(check.limit_volt or 0), "at the most")
        yield NOTHING
        yield padded
    if check.cautions:
        yield NOTHING
        yield cautions(check.cautions)


def settled(before: Verification | None, after: Verification | None) -> Iterator[RenderableType]:
    """The checks that the last entries decided, if there is anything to prove."""
    if after is None:
        return
    decided = {check.id: check.entry for check in before.checks} if before else {}
    fresh = [
        check
        for check in after.checks
        if check.result != "open" and decided.get(check.id) != check.entry
    ]
    if fresh:
        yield NOTHING
        yield heading("What that proves")
        yield checks(fresh)


def _move(table: Table, old: float, new: float, name: str, title: str) -> None:
    style = ""
    word = "to"
    if new > old + _ABOUT_EQUAL:
        word, style = "up to", "bold"
    elif new < old - _ABOUT_EQUAL:
        word, style = "down to", "dim"
    table.add_row(
        percent(old), word, Text(percent(new), style=style), Text(name, style="bold"), title
    )


def _shares(ranking: Ranking) -> dict[str, float]:
    return {one_line(s.id): s.probability for s in merged_suspects(ranking)}


def _titles(ranking: Ranking) -> dict[str, str]:
    return {one_line(s.id): one_line(lower_first(s.title)) for s in merged_suspects(ranking)}
