"""The true vehicle: faults in a deck, contacts settled by rules of its own on ngspice's volts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from whole_jobs.spice import Spice
from whole_jobs.wiring import Element, Sign, Wiring

OPEN_OHM = 1e20
TEST_VOLT, TEST_OHM = 0.3, 1e3  # an ohmmeter: too little to make a junction conduct
LIVE_VOLT = 0.5  # an ohmmeter on more than this shows nonsense
LEAD_OHM = 0.03
"""A fused lead with its clips [ohm]; common practice, no source."""
MOST_ROUNDS = 60

Json = dict[str, Any]
State = Mapping[str, str]


@dataclass(frozen=True)
class Fault:
    """A mode that is really there.

    Attributes:
        mode: COMPONENT/mode.
        factor: What its added resistance is multiplied by.
        duty: Share of tries in which it is there; 1 if always.
        event: Event that did it, "" if none did.
    """

    mode: str
    factor: float = 1.0
    duty: float = 1.0
    event: str = ""

    @property
    def component(self) -> str:
        """What has to be repaired."""
        return self.mode.rsplit("/", 1)[0]


@dataclass(frozen=True)
class Load:
    """What an instrument puts between two terminals: a resistor, with an EMF for an ohmmeter."""

    red: str
    black: str
    ohm: float
    volt: float = 0.0


@dataclass
class Rest:
    """Where the contacts came to rest, and the volts there."""

    closed: dict[str, bool]
    memory: dict[str, bool]
    volts: dict[str, float] = field(default_factory=dict)
    chatters: bool = False


@dataclass
class _Branch:
    """An element as the faults left it. `always`: None by rule, else whether it conducts."""

    element: Element
    ohm: float
    volt: float
    always: bool | None
    factor: float = 1.0
    reversed: bool = False


@dataclass(frozen=True)
class _Moment:
    """Contacts, the volts they give, what is lifted, and the thresholds that follow."""

    rest: Rest
    volts: Mapping[str, float]
    lifted: frozenset[str]
    memory: dict[str, bool]


def _word(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "_", text.lower())


class TrueVehicle:
    """One vehicle with what is wrong with it at one moment; every answer comes out of ngspice.

    Args:
        wiring: The vehicle.
        faults: What is there at this moment.
        spice: The simulator of this process.
        opened: Elements cut besides.
        leads: Terminals joined by a fused lead.
    """

    def __init__(
        self,
        wiring: Wiring,
        faults: Iterable[Fault],
        spice: Spice,
        opened: Iterable[str] = (),
        leads: Iterable[tuple[str, str]] = (),
    ) -> None:
        self.wiring = wiring
        self._leads = tuple(leads)
        self._spice = spice
        self._settings: dict[str, str] = {}
        self._rests: dict[tuple[tuple[tuple[str, str], ...], tuple[str, ...]], Rest] = {}
        self._branches = {
            name: _Branch(
                e,
                e.ohm,
                e.volt,
                False if e.dormant else None if e.kind in ("contact", "diode") else True,
            )
            for name, e in wiring.elements.items()
        }
        for fault in faults:
            self._apply(fault)
        for name in opened:
            self._branches[name].always = False
        # What stays open for good is left out: it is nowhere in the circuit.
        self._live = {name: b for name, b in self._branches.items() if b.always is not False}
        self._node = {t: f"t{i}_{_word(t)}" for i, t in enumerate(wiring.terminals)}
        self._node[wiring.datum] = "0"

    def _apply(self, fault: Fault) -> None:
        mode = self.wiring.mode(fault.mode)
        if mode.setting is not None:
            control, position = mode.setting
            self._settings[control] = position
        for name, change in mode.changes.items():
            b = self._branches[name]
            b.volt = change.get("emf_volt", b.volt)
            b.ohm = change.get("resistance_ohm", b.ohm)
            if change.get("reversed"):
                b.reversed, b.volt = True, -b.volt
            if "shorted_ohm" in change:
                b.ohm, b.volt, b.always = change["shorted_ohm"], 0.0, True
            b.ohm += change.get("add_ohm", 0.0) * fault.factor
            b.factor *= change.get("threshold_factor", 1.0)
            if "stuck" in change:
                b.always = change["stuck"] == "closed"
            if change.get("open"):
                b.always = False

    # -- ngspice ------------------------------------------------------------------------------

    def _conducts(self, name: str, rest: Rest, lifted: frozenset[str]) -> bool:
        b = self._branches[name]
        if name in lifted or b.element.follows in lifted:
            return False
        return rest.closed[name] if b.always is None else b.always

    def deck(
        self, rest: Rest, lifted: frozenset[str] = frozenset(), load: Load | None = None
    ) -> list[str]:
        """The lines of a deck with the contacts as given."""
        lines = [f"whole jobs: {_word(self.wiring.id)}"]
        for i, (name, b) in enumerate(self._live.items()):
            if not self._conducts(name, rest, lifted):
                continue
            a, z = self._node[b.element.a], self._node[b.element.b]
            if b.volt:
                lines.append(f"r{i}_{_word(name)} {a} i{i} {b.ohm:.17g}")
                lines.append(f"v{i}_{_word(name)} i{i} {z} dc {b.volt:.17g}")
            else:
                lines.append(f"r{i}_{_word(name)} {a} {z} {b.ohm:.17g}")
        for i, ends in enumerate(self._leads):
            a, z = (self._node[end] for end in ends)
            lines.append(f"rlead{i} {a} {z} {LEAD_OHM}")
        for terminal, node in self._node.items():
            if node != "0":
                lines.append(
                    f"rl_{node} {node} 0 {self.wiring.terminals[terminal].leakage_ohm:.17g}"
                )
        if load is not None:
            red, black = self._node[load.red], self._node[load.black]
            # The source of no volts measures the current through the instrument.
            lines.append(f"rload {red} iload {load.ohm:.17g}")
            lines.append(f"vload iload {black} dc {load.volt:.17g}")
        return lines

    def _solve(
        self, rest: Rest, lifted: frozenset[str], load: Load | None = None
    ) -> dict[str, float]:
        self._spice.load(self.deck(rest, lifted, load))
        return self._volts(self._spice.operating_point())

    def _volts(self, point: Mapping[str, float]) -> dict[str, float]:
        volts = {t: point[n] for t, n in self._node.items() if n != "0"}
        volts[self.wiring.datum] = 0.0
        volts["load#amps"] = point.get("vload#branch", 0.0)
        return volts

    # -- contacts -----------------------------------------------------------------------------

    def settle(self, state: State, lifted: Iterable[str] = ()) -> Rest:
        """Moves the controls one by one in their order from rest, and lets all contacts settle.

        Args:
            state: Positions of the controls that are not at rest, as whoever moves them sees it.
            lifted: Wire ends taken off.
        """
        wires = frozenset(end.split(":")[0] for end in lifted)
        positions = {c.id: self._settings.get(c.id, c.rest) for c in self.wiring.controls.values()}
        key = (tuple(sorted(positions.items())), tuple(sorted(wires)))
        rest = self._rests.get(key) or self._from(self._nothing(), positions, wires)
        self._rests[key] = rest
        ordered = sorted(self.wiring.controls.values(), key=lambda c: (c.order, c.id))
        for control in ordered:
            wanted = self._settings.get(control.id, state.get(control.id, control.rest))
            if positions[control.id] == wanted:
                continue
            positions[control.id] = wanted
            key = (tuple(sorted(positions.items())), tuple(sorted(wires)))
            known = self._rests.get(key)
            rest = known or self._from(rest, positions, wires)
            self._rests[key] = rest
        return rest

    def _nothing(self) -> Rest:
        return Rest(dict.fromkeys(self._live, False), {})

    def _from(
        self, before: Rest, state: State, lifted: frozenset[str], load: Load | None = None
    ) -> Rest:
        """Contacts and thresholds move together until nothing changes; a cycle is chatter."""
        rest = Rest(dict(before.closed), dict(before.memory))
        rest.closed = self._contacts(rest.memory, state)
        seen: list[tuple[dict[str, bool], dict[str, bool]]] = []
        for _ in range(MOST_ROUNDS):
            now = (rest.closed, rest.memory)
            if now in seen:
                rest.chatters = True
                return rest
            seen.append(now)
            volts = self._solve(rest, lifted, load)
            memory = self._remember(rest, volts, lifted)
            closed = self._contacts(memory, state)
            rest = Rest(closed, memory, volts)
            if closed == now[0]:
                return rest
        rest.chatters = True
        return rest

    def _contacts(self, memory: Mapping[str, bool], state: State) -> dict[str, bool]:
        closed = {}
        for name, b in self._live.items():
            if b.always is not None:
                closed[name] = b.always
            elif b.element.kind == "diode":
                closed[name] = memory.get(name, False)
            else:
                closed[name] = self._holds(b.element.rule or {}, b.element, name, memory, state)
        return closed

    def _holds(
        self, rule: Json, element: Element, key: str, memory: Mapping[str, bool], state: State
    ) -> bool:
        """Whether a rule holds, given which thresholds are passed."""
        if "operated" in rule:
            operated = self.wiring.operated[element.part]
            return bool(rule["operated"] == all(state[c] in p for c, p in operated.items()))
        if "not" in rule:
            return not self._holds(rule["not"], element, f"{key}/n", memory, state)
        for word, join in (("all", all), ("any", any)):
            if word in rule:
                return join(
                    [
                        self._holds(part, element, f"{key}/{i}", memory, state)
                        for i, part in enumerate(rule[word])
                    ]
                )
        if "signal" in rule:
            return memory.get(f"{element.part}.{rule['signal']}", False)
        if "closed" in rule:
            name = f"{element.part}.{rule['closed']}"
            other = self.wiring.elements[name]
            return self._holds(other.rule or {}, other, name, memory, state)
        return memory.get(key, False)

    def _remember(
        self, rest: Rest, volts: Mapping[str, float], lifted: frozenset[str]
    ) -> dict[str, bool]:
        moment = _Moment(rest, volts, lifted, dict(rest.memory))
        memory = moment.memory
        for name, b in self._branches.items():
            e = b.element
            if e.kind in {"input", "diode"}:
                value = volts[e.a] - volts[e.b]
                value = -value if b.reversed else value
                rises, falls = e.rises * b.factor, e.falls * b.factor
                memory[name] = value > falls if memory.get(name, False) else value >= rises
            elif e.rule is not None:
                self._atoms(e.rule, e, name, b.factor, moment)
        return memory

    def _atoms(self, rule: Json, element: Element, key: str, factor: float, at: _Moment) -> None:
        """Updates the thresholds on volts and amps that a rule names."""
        if "not" in rule:
            self._atoms(rule["not"], element, f"{key}/n", factor, at)
        for word in ("all", "any"):
            for i, part in enumerate(rule.get(word, ())):
                self._atoms(part, element, f"{key}/{i}", factor, at)
        values = self.wiring.values[element.part]
        if "volts" in rule:
            red, black = (f"{element.part}.{t}" for t in rule["volts"])
            value = at.volts[red] - at.volts[black]
            value = abs(value) if rule.get("either_way") else value
            limits = rule["rises_to_volt"], rule["falls_to_volt"]
        elif "amps" in rule:
            value = abs(self._amps(f"{element.part}.{rule['amps']}", at.rest, at.volts, at.lifted))
            limits = rule["rises_to_ampere"], rule["falls_to_ampere"]
        else:
            return
        rises, falls = (factor * (values[q] if isinstance(q, str) else q) for q in limits)
        before = at.memory.get(key, False)
        stays = before and rule.get("stays", False)
        at.memory[key] = bool(value >= rises or stays or (before and value > falls))

    def _amps(
        self, name: str, rest: Rest, volts: Mapping[str, float], lifted: frozenset[str]
    ) -> float:
        b = self._branches[name]
        if name not in self._live or not self._conducts(name, rest, lifted):
            return 0.0
        return (volts[b.element.a] - volts[b.element.b] - b.volt) / b.ohm

    # -- what an instrument or a person gets out of it ----------------------------------------

    def loaded(self, state: State, load: Load, lifted: Iterable[str] = ()) -> dict[str, float]:
        """Volts with an instrument in the circuit; contacts may move because of it."""
        wires = frozenset(end.split(":")[0] for end in lifted)
        return self._loaded(state, load, wires).volts

    def _loaded(self, state: State, load: Load, wires: frozenset[str]) -> Rest:
        rest = self.settle(state, wires)
        positions = {
            c.id: self._settings.get(c.id, state.get(c.id, c.rest))
            for c in self.wiring.controls.values()
        }
        return self._from(rest, positions, wires, load)

    def volt(self, red: str, black: str, state: State, load_ohm: float) -> float:
        """What a voltmeter of that resistance has across it [V]."""
        volts = self.loaded(state, Load(red, black, load_ohm))
        return volts[red] - volts[black]

    def lamp_volt(self, red: str, black: str, state: State, lamp: Json) -> float:
        """Volts across a lamp whose current goes with a power of its volts [V].

        Its resistance is made to fit its volts, again and again; each round more than halves what
        is missing because the exponent is between 0.5 and 1.
        """
        rated, exponent = lamp["rated_volt"], lamp["current_exponent"]
        hot = rated**2 / lamp["rated_watt"]
        rest = self._loaded(state, Load(red, black, hot), frozenset())
        volt = rest.volts[red] - rest.volts[black]
        if exponent == 1:
            return volt
        for _ in range(50):
            share = max(abs(volt) / rated, 1e-9)
            self._spice.alter("rload", hot * share ** (1 - exponent))
            volts = self._volts(self._spice.operating_point())
            last, volt = volt, volts[red] - volts[black]
            if abs(volt - last) <= 1e-6 * abs(volt) + 1e-9:
                break
        return volt

    def ohm(self, red: str, black: str, lifted: Iterable[str]) -> float | None:
        """Resistance an ohmmeter finds with the pack isolated [ohm]; None on live terminals."""
        ends = tuple(lifted)
        rest = self.settle({}, ends)
        volts = rest.volts
        if abs(volts[red] - volts[black]) > LIVE_VOLT:
            return None
        wires = frozenset(end.split(":")[0] for end in ends)
        before = volts[red] - volts[black]
        with_test = self._solve(rest, wires, Load(red, black, TEST_OHM, TEST_VOLT))
        amps = -with_test["load#amps"]  # out of red's side of the instrument
        after = with_test[red] - with_test[black]
        return (after - before) / amps if amps else float("inf")

    def amps(self, element: str, rest: Rest) -> float:
        """Current through an element from `a` to `b`, of a wire from its `from` end [A]."""
        return self._amps(element, rest, rest.volts, frozenset())

    def sign(self, part: str, id_: str, state: State) -> str:
        """yes, no or chatters: what somebody with good senses notices in a state."""
        sign = self.wiring.signs[part, id_]
        rest = self.settle(state)
        if sign.on_change and rest.chatters:
            return "chatters"
        if not self._noticed(sign, rest, state):
            return "no"
        if sign.on_change:
            before = self._one_control_earlier(state)
            if before is not None and self._noticed(sign, self.settle(before), before):
                return "no"
        return "yes"

    def _one_control_earlier(self, state: State) -> State | None:
        """The state without the control moved last; None if nothing really moved."""
        ordered = sorted(self.wiring.controls.values(), key=lambda c: (c.order, c.id))
        for control in reversed(ordered):
            moved = state.get(control.id, control.rest) != control.rest
            if moved and control.id not in self._settings:
                return {c: p for c, p in state.items() if c != control.id}
        return None

    def _noticed(self, sign: Sign, rest: Rest, state: State) -> bool:
        positions = {c.id: state.get(c.id, c.rest) for c in self.wiring.controls.values()}
        positions |= self._settings
        key = f"sign {sign.part}.{sign.id}"
        probe = replace(next(iter(self.wiring.elements.values())), part=sign.part, name=key)
        moment = _Moment(rest, rest.volts, frozenset(), dict(rest.memory))
        self._atoms(sign.when, probe, key, 1.0, moment)
        return self._holds(sign.when, probe, key, moment.memory, positions)
