"""A test chart as a workshop manual has it: the points from source to load with their volts.

Drawn up from the healthy vehicle: for each thing that must work, a branch follows its current up to
the pack and down to pack negative.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from whole_jobs.circuit import Rest, TrueVehicle
from whole_jobs.draw import drive_states, drives
from whole_jobs.spice import Spice
from whole_jobs.wiring import Element, Wiring

LEAST_DROP = 0.02  # of nominal voltage: what drops less is a conductor, not a load


@dataclass(frozen=True)
class Segment:
    """What lies between two points that follow each other, in the order in which to doubt it."""

    components: tuple[str, ...]


@dataclass(frozen=True)
class Branch:
    """Points of one load. `segments[i]` lies between points i and i + 1; `load` is one of them."""

    name: str
    component: str
    points: tuple[str, ...]
    volts: tuple[float, ...]
    segments: tuple[Segment, ...]
    load: int
    turns: bool


@dataclass(frozen=True)
class Chart:
    """All branches for one drive state, control circuits first, and the sign of the contactor."""

    state: Mapping[str, str]
    branches: tuple[Branch, ...]
    click: tuple[str, str] | None
    click_state: Mapping[str, str]


def components_of(element: Element) -> tuple[str, ...]:
    """What may be wrong with an element: a part, or a wire's ends and then its run."""
    if element.part:
        return (element.part,)
    return (f"{element.name}:from", f"{element.name}:to", element.name)


class ChartMaker:
    """Draws up charts of one vehicle.

    Args:
        wiring: The vehicle as documented.
        spice: The simulator of this process.
    """

    def __init__(self, wiring: Wiring, spice: Spice) -> None:
        self._wiring = wiring
        self._spice = spice
        self._healthy = TrueVehicle(wiring, (), spice)

    def charts(self) -> list[Chart]:
        """One for each drive state."""
        return [self._chart(state) for state in drive_states(self._wiring)]

    def _chart(self, state: Mapping[str, str]) -> Chart:
        rest = self._healthy.settle(state)
        amps = {n: self._healthy.amps(n, rest) for n in self._wiring.elements}
        branches: list[Branch] = []
        known: set[str] = set()
        for element in self._loads(rest, amps):
            branch = self._branch(element, rest, amps)
            if branch is None or set(branch.points) <= known:
                continue
            known |= set(branch.points)
            branches.append(branch)
        branches.sort(key=lambda b: b.turns)
        click, click_state = self._click(state)
        return Chart(state, tuple(branches), click, click_state)

    def _loads(self, rest: Rest, amps: Mapping[str, float]) -> list[Element]:
        """What uses the pack and without whose feed nothing drives, contactor first."""
        least = LEAST_DROP * self._wiring.nominal_volt
        loads = [
            e
            for e in self._wiring.elements.values()
            if e.part
            and e.kind in ("resistor", "input")
            and abs(rest.volts[e.a] - rest.volts[e.b]) > least
            and abs(amps[e.name]) > 1e-5
        ]
        clicks = {part for part, id_ in self._wiring.signs if id_ == "click"}
        loads.sort(key=lambda e: (e.part not in clicks, -abs(amps[e.name])))
        return [e for e in loads if self._is_needed(e, amps)]

    def _is_needed(self, load: Element, amps: Mapping[str, float]) -> bool:
        """Whether the vehicle stands still when the next branch up from a load is open."""
        up = self._next(load.a if amps[load.name] > 0 else load.b, amps, upward=True)
        if up is None:
            return False
        without = TrueVehicle(self._wiring, (), self._spice, opened=(up.name,))
        return not all(drives(without, s) for s in drive_states(self._wiring))

    def _next(self, terminal: str, amps: Mapping[str, float], *, upward: bool) -> Element | None:
        """The branch that brings most current to a terminal, or takes most of it away."""
        best, most = None, 1e-6
        for e in self._wiring.elements.values():
            into = amps[e.name] if e.b == terminal else -amps[e.name] if e.a == terminal else 0.0
            flow = into if upward else -into
            if flow > most:
                best, most = e, flow
        return best

    def _follow(
        self, terminal: str, amps: Mapping[str, float], *, upward: bool
    ) -> list[tuple[Element, str]]:
        """Branches and the terminals they lead to, until pack negative."""
        way: list[tuple[Element, str]] = []
        seen = {terminal}
        while terminal != self._wiring.datum:
            element = self._next(terminal, amps, upward=upward)
            if element is None:
                break
            terminal = element.a if element.b == terminal else element.b
            if terminal in seen:
                break
            seen.add(terminal)
            way.append((element, terminal))
        return way

    def _branch(self, load: Element, rest: Rest, amps: Mapping[str, float]) -> Branch | None:
        high, low = (load.a, load.b) if amps[load.name] > 0 else (load.b, load.a)
        up = self._follow(high, amps, upward=True)
        down = self._follow(low, amps, upward=False)
        points = [t for _, t in reversed(up)] + [high, low] + [t for _, t in down]
        elements = [e for e, _ in reversed(up)] + [load] + [e for e, _ in down]
        segments = tuple(Segment(components_of(e)) for e in elements)
        return Branch(
            load.name,
            load.part,
            tuple(points),
            tuple(rest.volts[t] for t in points),
            segments,
            len(up),
            (load.part, "turns") in self._wiring.signs,
        )

    def _click(self, state: Mapping[str, str]) -> tuple[tuple[str, str] | None, dict[str, str]]:
        """Which relay should be heard, and in which state on the way to driving."""
        controls = self._wiring.controls
        moved = sorted(state, key=lambda c: (controls[c].order, c))
        for part, id_ in self._wiring.signs:
            if id_ != "click" or f"{part}.coil_feed" not in self._wiring.terminals:
                continue
            for count in range(1, len(moved) + 1):
                partial = {c: state[c] for c in moved[:count]}
                if self._healthy.sign(part, id_, partial) == "yes":
                    return (part, id_), partial
        return None, {}
