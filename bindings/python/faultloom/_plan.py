"""A plan laid out for a terminal: its steps as an indented tree."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from faultloom import _show
from faultloom._bench import one_line
from faultloom._words import Names, dollars, minutes, percent
from faultloom.plan import Plan, PlanOutcome, PlanStep

_INDENT = 4
_DEEPEST = 8  # further in nothing would be left of a narrow terminal


def plan(answer: Plan, job: dict[str, Any], names: Names) -> Iterator[RenderableType]:
    """The steps below one another, each below the outcome that leads to it, and all cautions."""
    yield _show.title(job, names)
    yield Text("")
    yield from _branch(answer, answer.step(1), names)
    yield Text("")
    cautions = {c.id: c for step in answer.steps for c in step.step.cautions}
    if cautions:
        yield Text("Before any of this", style="bold")
        yield _show.cautions_in_order(cautions.values())
        yield Text("")
    yield Text(
        f"Expected to the end of the job: {dollars(answer.expected_usd)}; without another test: "
        f"{dollars(answer.repair_only_usd)}."
    )
    note = f"Not followed to the end: {percent(answer.open_share)}."
    yield Text(note + (" There would be more steps." if answer.cut_short else ""), style="dim")


def _branch(answer: Plan, first: PlanStep, names: Names) -> Iterator[RenderableType]:
    """A step and everything after it, without recursion: plans may be deep."""
    waiting: list[PlanStep | tuple[PlanStep, PlanOutcome]] = [first]
    while waiting:
        item = waiting.pop()
        if isinstance(item, PlanStep):
            yield _indented(_step(item), 2 * item.level)
            waiting += [(item, outcome) for outcome in reversed(item.outcomes)]
            continue
        step, outcome = item
        yield _indented(_outcome(step, outcome, names), 2 * step.level + 1)
        if outcome.step:
            waiting.append(answer.step(outcome.step))


def _indented(text: Text, level: int) -> RenderableType:
    return Padding(text, (0, 0, 0, _INDENT // 2 * min(level, 2 * _DEEPEST)))


def _step(item: PlanStep) -> Text:
    text = Text(f"{item.id}  ", style="bold").append(one_line(item.step.text))
    opened = ", ".join(one_line(zone.title) for zone in item.step.zones_to_open)
    details = [f"open {opened}"] if opened else []
    details += ["needs a helper"] if item.step.helper else []
    details += [minutes(item.step.minutes), dollars(item.step.cost_usd)]
    details.append(f"{dollars(item.step.expected_total_usd)} expected from here")
    return text.append("\n" + "; ".join(details), style="not bold dim")


def _outcome(step: PlanStep, outcome: PlanOutcome, names: Names) -> Text:
    label = one_line(names.seen(step.step, outcome.outcome))
    text = Text(f"{label} ({percent(outcome.probability)})", style="bold")
    text.append(f": {one_line(outcome.text)}", style="not bold")
    return text.append(f"  {one_line(outcome.means)}", style="not bold dim")
