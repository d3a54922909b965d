"""The answers laid out for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import Any

from rich.console import Group as Stack
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
from faultloom._words import Names, bar, dollars, lower_first, minutes, ohms, percent, volts, words
from faultloom.answers import (
    Advice,
    Caution,
    Entry,
    Event,
    Explanation,
    Group,
    Mode,
    Outcome,
    Ranking,
    Repair,
    Resistance,
    Step,
    Suspect,
)
from faultloom.proof import Check, Verification

_LIKELY_MISREAD = 0.5
_DOUBTFUL = 0.15
_WORTH_SHOWING = 0.005
_WORTH_DETAILS = 0.05
_WORTH_NAMING = 0.02
_NO_MORE_THAN_BEFORE = 1.3  # times its prior: what others leave room for, not what was found
_MOST_ORDINARY = 6
_MOST_MODES = 4
_TOLD_EVENT = 0.1
_MOST_CHECKS = 6
_MOST_GROUPS = 5
_MOST_EVENTS = 4
_RARE_OUTCOME = 0.01
_SAYS_NOTHING = 0.99
_AUDIBLE_DECIBAN = 0.1

_SIGNAL_STYLES = {
    "DANGER": "bold red",
    "WARNING": "bold yellow",
    "CAUTION": "yellow",
    "NOTICE": "bold",
}


def title(job: dict[str, Any], names: Names) -> Text:
    """What every answer to a job is headed with."""
    text = Text(one_line(job.get("title") or job["id"]), style="bold")
    return text.append(f"\n{one_line(job['id'])}, {names.vehicle}", style="dim")


def _doubt(entry: Entry) -> Text:
    if not entry.used:
        return Text("says nothing", style="dim")
    if entry.misreading is None:
        return NOTHING
    looks_like = f", {one_line(entry.looks_like)}" if entry.looks_like else ""
    if entry.misreading >= _LIKELY_MISREAD:
        share = percent(entry.misreading)
        return Text(f"probably misread, {share}{looks_like}", style="bold yellow")
    if entry.misreading >= _DOUBTFUL:
        return Text(f"maybe misread, {percent(entry.misreading)}{looks_like}", style="yellow")
    return NOTHING


# -- rank ------------------------------------------------------------------------------------------


def ranking(
    answer: Ranking,
    job: dict[str, Any],
    names: Names,
    top: int,
    priors: Mapping[str, float],
) -> Iterator[RenderableType]:
    """The readings, the suspects, what lies outside, and what can't be told apart.

    Args:
        answer: Of `Model.rank`.
        job: The job asked about.
        names: Of what the vehicle has.
        top: Most suspects.
        priors: By component, see `_bench.priors_of`.
    """
    yield title(job, names)
    yield NOTHING
    if answer.entries:
        yield heading("What was found")
        yield found(answer.entries)
        yield NOTHING
    if answer.repairs:
        yield heading("What was repaired")
        yield _repairs(answer.repairs)
        yield NOTHING
    yield heading("Where the fault is")
    yield _suspects(answer, names, top, priors)
    if resistances := [r for r in answer.resistances if r.probability >= _WORTH_DETAILS]:
        yield NOTHING
        yield heading("How much resistance that would be")
        yield _resistances(resistances)
    if events := [e for e in answer.events if e.probability >= _TOLD_EVENT]:
        yield NOTHING
        yield heading("What may have hit more than one thing")
        yield _events(events, names)
    if groups := _named_groups(answer.groups, names):
        yield NOTHING
        yield heading("No test tells these apart: look closely, or renew all of it")
        yield _groups(groups)


def _repairs(repairs: tuple[Repair, ...]) -> RenderableType:
    table, padded = grid(NAME, NUMBER, FLOW)
    for repair in repairs:
        modes = "; ".join(lower_first(one_line(m.title)) for m in repair.modes[:_MOST_MODES])
        share = f"{percent(repair.was_faulty)} was faulty"
        table.add_row(one_line(repair.id), share, words(repair.action) + (modes and f": {modes}"))
    return padded


def verification(
    answer: Verification, job: dict[str, Any], names: Names
) -> Iterator[RenderableType]:
    """What was repaired, what has to be proved, and what earlier hands left."""
    yield title(job, names)
    yield NOTHING
    if answer.repairs:
        yield heading("What was repaired")
        yield _repairs(answer.repairs)
        yield NOTHING
    yield from proof(answer)
    if warnings := {c.id: c for check in answer.checks for c in check.cautions}:
        yield NOTHING
        yield cautions_in_order(warnings.values())


def proof(answer: Verification) -> Iterator[RenderableType]:
    """What has to be proved, with how each check went, and what earlier hands left."""
    yield heading(_RESULTS[answer.result])
    yield checks(answer.checks)
    if answer.earlier_work:
        yield NOTHING
        yield heading("Left by earlier hands: tell the customer, put it right")
        table, padded = grid(NAME, NUMBER, FLOW)
        for work in answer.earlier_work:
            modes = ", ".join(lower_first(one_line(m.title)) for m in work.modes)
            table.add_row(one_line(work.id), percent(work.probability), modes)
        yield padded


_WORDS = list(_SIGNAL_STYLES)
_RESULTS = {
    "passed": "Everything is proved",
    "failed": "Something failed: go on with the job",
    "open": "To prove before it goes back",
}
_RESULT_STYLES = {"passed": "green", "failed": "bold red", "open": "bold"}


def checks(rows: Iterable[Check]) -> RenderableType:
    """Checks in words, each with its result and the drops before and after the repair."""
    table, padded = grid({"no_wrap": True}, FLOW)
    for check in rows:
        text = Text(one_line(check.text))
        figures = [
            f"{when} {volts(volt)}"
            for when, volt in (("before", check.before_volt), ("after", check.after_volt))
            if volt is not None
        ]
        if figures:
            text.append("\n" + ", ".join(figures), style="dim")
        table.add_row(Text(check.result, style=_RESULT_STYLES[check.result]), text)
    return padded


def found(entries: Iterable[Entry]) -> RenderableType:
    """Entries in words, each with its id and what speaks for its having been misread."""
    table, padded = grid(NAME, FLOW)
    # Tries told in one entry come as one entry each; those that went one way are told together.
    alike = groupby(entries, lambda entry: (entry.id.split("#")[0], entry.text, _doubt(entry)))
    for (name, told, doubt), group in alike:
        count = len(list(group))
        text = Text(one_line(told) + (f", {count} times" if count > 1 else ""))
        if doubt:
            text.append("\n").append_text(doubt)
        table.add_row(one_line(name), text)
    return padded


def merged_suspects(answer: Ranking) -> list[Suspect]:
    """Suspects with both ends of a wire counted to the wire, likeliest first."""
    by_id = {c.id: c for c in answer.components}
    merged = []
    for wire in answer.wires:
        sections = [
            by_id[name] for name in (wire.id, f"{wire.id}:from", f"{wire.id}:to") if name in by_id
        ]
        modes = [
            Mode(mode.id, f"{section.id}: {lower_first(mode.title)}", mode.probability)
            for section in sections
            for mode in section.modes
        ]
        modes.sort(key=lambda mode: -mode.probability)
        merged.append(Suspect(wire.id, wire.title, wire.probability, modes=tuple(modes)))
    wires = {f"{w.id}{end}" for w in answer.wires for end in ("", ":from", ":to")}
    merged += [c for c in answer.components if c.id not in wires]
    return sorted(merged, key=lambda suspect: -suspect.probability)


def _is_suspected(suspect: Suspect, priors: Mapping[str, float]) -> bool:
    """Whether what was found makes a suspect likelier than it was, or it is likely anyhow."""
    before = sum(priors.get(f"{suspect.id}{end}", 0.0) for end in ("", ":from", ":to"))
    return suspect.probability >= min(_WORTH_DETAILS, _NO_MORE_THAN_BEFORE * before)


def _suspects(
    answer: Ranking, names: Names, top: int, priors: Mapping[str, float]
) -> RenderableType:
    table, padded = grid(NUMBER, {"no_wrap": True}, NAME, FLOW)
    likely = [s for s in merged_suspects(answer) if s.probability >= _WORTH_SHOWING]
    rows = [s for s in likely if _is_suspected(s, priors)] or likely
    ordinary = [s.id for s in likely if s not in rows]
    for suspect in rows[:top]:
        place = names.place(suspect.id)
        text = Text(one_line(suspect.title) + (f", {place}" if place else ""))
        for mode in suspect.modes[:3] if suspect.probability >= _WORTH_DETAILS else ():
            if mode.probability >= 0.1 * suspect.probability:
                line = f"\n{one_line(lower_first(mode.title))}, {percent(mode.probability)}"
                text.append(line, style="dim")
        share = suspect.probability
        table.add_row(
            percent(share),
            Text(bar(share), style="bold"),
            Text(one_line(suspect.id), style="bold"),
            text,
        )
    if not rows:
        table.add_row("", "", "", "No part stands out")
    if ordinary:
        note = f"No likelier than before anything was found: {in_a_row(ordinary, _MOST_ORDINARY)}"
        table.add_row("", "", "", Text(note, style="dim"))
    table.add_row()
    outside = (
        (answer.no_fault, "Nothing is broken right now"),
        (answer.not_in_model, "Not in the model: a fault the wiring document doesn't know"),
    )
    for share, line in outside:
        table.add_row(percent(share), bar(share), "", line)
    note = f"Not looked at: about {percent(answer.growth)}"
    if _SAYS_NOTHING > answer.bound > answer.growth:
        note += f", at the very most {percent(answer.bound)}"
    table.add_row("", "", "", Text(note, style="dim"))
    return padded


def _resistances(resistances: list[Resistance]) -> RenderableType:
    table, padded = grid(NUMBER, FLOW)
    for r in resistances:
        text = f"{r.id}: {ohms(r.median_ohm)} ({ohms(r.low_ohm)} to {ohms(r.high_ohm)})"
        table.add_row(percent(r.probability), one_line(text))
    return padded


def _events(events: list[Event], names: Names) -> RenderableType:
    """One line for each event, and below what to check before the place is closed, once a place."""
    table, padded = grid(NUMBER, FLOW)
    told = set()
    for event in events[:_MOST_EVENTS]:
        place = names.loom(event.loom) if event.loom else names.connector(event.connector)
        text = Text(f"{one_line(event.title)}: {place}")
        check = [c.id for c in event.check_before_closing if c.probability >= _WORTH_NAMING]
        if check and place not in told:
            told.add(place)
            listed = in_a_row(check, _MOST_CHECKS)
            what = "loom" if event.loom else "connector"
            text.append(f"\ncheck before closing the {what}: {listed}", style="dim")
        table.add_row(percent(event.probability), text)
    if len(events) > _MOST_EVENTS:
        table.add_row("", Text(and_more(len(events) - _MOST_EVENTS), style="dim"))
    return padded


def _named_groups(groups: Iterable[Group], names: Names) -> dict[str, float]:
    """What is worth naming of the groups, in words; those of the same words are one.

    Modes of one part are left out: it is renewed whichever it is.
    """
    shares: dict[str, float] = {}
    for group in groups:
        if len({member.rpartition("/")[0] for member in group.members}) < 2:
            continue
        text = names.group(group.members)
        shares[text] = shares.get(text, 0) + group.probability
    worth = ((text, share) for text, share in shares.items() if share >= _WORTH_NAMING)
    return dict(sorted(worth, key=lambda item: -item[1]))


def _groups(shares: dict[str, float]) -> RenderableType:
    table, padded = grid(NUMBER, FLOW)
    for text, share in list(shares.items())[:_MOST_GROUPS]:
        table.add_row(percent(share), text)
    if len(shares) > _MOST_GROUPS:
        table.add_row("", Text(and_more(len(shares) - _MOST_GROUPS), style="dim"))
    return padded


# -- next ------------------------------------------------------------------------------------------


def advice(answer: Advice, job: dict[str, Any], names: Names) -> Iterator[RenderableType]:
    """The step with where, how, cautions and outcomes, then what else could be done."""
    yield title(job, names)
    yield NOTHING
    yield from step_card(answer.step, names)
    yield NOTHING
    yield heading("Instead you could")
    yield _others(answer)


def step_card(step: Step, names: Names) -> Iterator[RenderableType]:
    """What to do, where and how, with cautions, what it may show, and what it takes."""
    helper = ", needs a helper" if step.helper else ""
    yield heading(f"Next: {_what(step, names)}")
    yield how(step, names)
    if step.cautions:
        yield NOTHING
        yield cautions(step.cautions)
    if step.outcomes:
        yield NOTHING
        asked = "If it is made, what may come of it, and what that means"
        shown = "What it may show, and what that means"
        yield heading(asked if step.type == "authorize" else shown)
        yield _outcomes(step, names)
    yield NOTHING
    yield heading("Time and money")
    table, padded = grid(NUMBER, FLOW)
    table.add_row(minutes(step.minutes), f"this step, {dollars(step.cost_usd)}{helper}")
    table.add_row(dollars(step.expected_total_usd), "expected to the end of the job from here")
    yield padded


def _what(step: Step, names: Names) -> str:
    if step.type == "reading":
        clipped = " clipped on" if step.when else ""
        return names.instrument(step.instrument) + clipped
    if step.type == "lift":
        return f"{names.instrument(step.instrument)}, {one_line(step.lifted)} taken off"
    if step.type in ("sign", "verify"):
        return one_line(step.text.split(";")[0])
    if step.type == "bridge":
        return one_line(";".join(step.text.split(";")[:2]))
    return one_line(step.text)


def how(step: Step, names: Names) -> RenderableType:
    """Where to put what, and where the controls stand."""
    table, padded = grid({"no_wrap": True}, FLOW)
    if step.lifted:
        end = Text(one_line(step.lifted), style="bold")
        table.add_row("Take off", end.append(f"  {names.component(step.lifted)}", "not bold"))
    places = [("Red probe", step.red), ("Black probe", step.black)]
    places += [("Fused lead", terminal) for terminal in step.lead]
    for label, terminal in places:
        if terminal:
            text = Text(one_line(terminal), style="bold").append(
                f"  {names.terminal(terminal)}", style="not bold"
            )
            table.add_row(label, text)
    if step.component and (place := names.place(step.component)):
        table.add_row("Where", place)
    if step.state and not step.isolated:
        table.add_row("Set", "\n".join(names.settings(step)) or "everything at rest")
    if step.trying:
        table.add_row("Then", one_line(step.trying))
    if step.isolated:
        table.add_row("Set", names.isolation())
    if step.zones_to_open:
        table.add_row("Open first", "\n".join(one_line(zone.title) for zone in step.zones_to_open))
    return padded


def cautions_in_order(rows: Iterable[Caution]) -> RenderableType:
    """Cautions of several steps, the most serious first."""
    return cautions(sorted(rows, key=lambda c: _WORDS.index(c.signal_word)))


def cautions(rows: Iterable[Caution]) -> RenderableType:
    """Warnings with their signal words."""
    table, padded = grid({"no_wrap": True}, FLOW)
    for caution in rows:
        word = Text(
            one_line(caution.signal_word), style=_SIGNAL_STYLES.get(caution.signal_word, "bold")
        )
        table.add_row(word, one_line(caution.text))
    return padded


def _outcomes(step: Step, names: Names) -> RenderableType:
    table, padded = grid(NUMBER, {"no_wrap": True}, {"overflow": "fold", "max_width": 16}, FLOW)
    rare = [o for o in step.outcomes if o.probability < _RARE_OUTCOME]
    if len(rare) < 2:
        rare = []
    for outcome in sorted(step.outcomes, key=lambda o: -o.probability):
        if outcome not in rare:
            label = Text(one_line(names.seen(step, outcome.outcome)), style="bold")
            table.add_row(
                percent(outcome.probability),
                bar(outcome.probability),
                label,
                _meaning(outcome, names),
            )
    if rare:
        text = "likely a slip of the probe: take it again"
        table.add_row(percent(sum(o.probability for o in rare)), "", "anything else", text)
    return padded


def _meaning(outcome: Outcome, names: Names) -> str:
    said = []
    for leader in outcome.leaders:
        if leader.probability >= 0.01:
            name = names.component_in_words(leader.id) if leader.id else leader.title
            said.append(one_line(f"{name} {percent(leader.probability)}"))
    return "\n".join(said) or "all suspects are cleared"


def _others(answer: Advice) -> RenderableType:
    table, padded = grid(NUMBER, FLOW)
    for step in answer.alternatives:
        table.add_row(dollars(step.expected_total_usd), one_line(step.text))
    table.add_row(
        dollars(answer.repair_only_usd), "Repair the likeliest first, without another test"
    )
    return padded


# -- explain ---------------------------------------------------------------------------------------


def explanation(answer: Explanation, job: dict[str, Any], names: Names) -> Iterator[RenderableType]:
    """What all entries say together, then one entry after the other."""
    yield title(job, names)
    yield NOTHING
    yield heading("All together")
    table, padded = grid(NUMBER, NUMBER, NAME, FLOW)
    table.add_row("chance", "weight", "", "", style="dim")
    for suspect in answer.suspects:
        name = Text(one_line(suspect.id), style="bold")
        table.add_row(
            percent(suspect.probability), f"{suspect.decibans:+.1f}", name, one_line(suspect.title)
        )
    yield padded
    note = "Weights are decibans: +10 makes a suspect ten times as likely as before, -10 a tenth."
    yield NOTHING
    yield indented(Text(note, style="dim"))
    for entry in answer.entries:
        yield NOTHING
        yield _explained(entry, names)


def _explained(entry: Entry, names: Names) -> RenderableType:
    head, padded_head = grid(NAME, FLOW, indent=0)
    text = Text(one_line(entry.text), style="bold")
    if doubt := _doubt(entry):
        text.append("\n").append_text(doubt)
    head.add_row(Text(one_line(entry.id), style="bold"), text)
    if not entry.used:
        return padded_head
    table, padded = grid({"no_wrap": True}, FLOW, indent=6)
    weights = sorted(entry.weights.items(), key=lambda item: -item[1])
    speaks_for = [f"{one_line(c)} {w:+.1f}" for c, w in weights if w >= _AUDIBLE_DECIBAN]
    speaks_against = [
        f"{one_line(c)} {w:+.1f}" for c, w in reversed(weights) if w <= -_AUDIBLE_DECIBAN
    ]
    if speaks_for:
        table.add_row("for", Text("   ".join(speaks_for), style="green"))
    if speaks_against:
        table.add_row("against", Text("   ".join(speaks_against), style="red"))
    if not speaks_for and not speaks_against:
        table.add_row("", Text("speaks neither for nor against a leading suspect", style="dim"))
    for outcome, faults in _expectations(entry, names):
        table.add_row("expect", Text(one_line(outcome)).append(f" if {faults}", style="dim"))
    return Stack(padded_head, padded)


def _expectations(entry: Entry, names: Names) -> list[tuple[str, str]]:
    """What leading candidates would have shown, with those together that agree."""
    by_outcome: dict[str, list[str]] = {}
    for expected in entry.expected:
        by_outcome.setdefault(expected.text, []).append(names.faults(expected.modes))
    return [(outcome, "; or ".join(faults)) for outcome, faults in by_outcome.items()]
