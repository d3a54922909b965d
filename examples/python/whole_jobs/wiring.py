"""A vehicle read from the documents alone: what conducts, what can fail, what it costs.

Written from the formats and sharing no code with the library, so that the truth of a job does not
come out of what is on trial. Volts, amps, ohms, minutes, USD.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

Json = dict[str, Any]
FactorOf = Callable[[str, str], float]
"""What a parameter of a part is multiplied by, by part and parameter: this vehicle's own values."""

COPPER_OHM_MM2_PER_METRE = 1 / 58  # at 20 degrees Celsius
SWAP_SEEN = 0.3  # chance that a look finds exchanged wires; from memory
SETTING_SEEN = 0.95
PART_PROBE_MINUTES = 0.7  # to place a probe on a terminal whose zone is open
PIN_PROBE_MINUTES = 1.2
WORK_MINUTES, WORK_PRICE_USD = 15.0, 2.0  # to put right what earlier hands did
WORK_LOOK_MINUTES, WORK_FALSE_ALARM = 2.0, 0.05


@dataclass(frozen=True)
class Element:
    """One electrical branch from `a` to `b`.

    Attributes:
        kind: resistor, source, contact, diode or input.
        volt: EMF or forward drop, `a` positive.
        rises, falls: Thresholds of an input or a diode [V].
        rule: When a contact closes; None for others.
        part: Part it belongs to, for the rule.
        follows: Wire that takes this branch along when it is lifted.
        dormant: Conducts only if a fault makes it.
    """

    name: str
    kind: str
    a: str
    b: str
    ohm: float
    volt: float = 0.0
    rises: float = 0.0
    falls: float = 0.0
    rule: Json | None = None
    part: str = ""
    follows: str = ""
    dormant: bool = False


@dataclass(frozen=True)
class Mode:
    """One way for a component to fail.

    Attributes:
        changes: Members of the kind's change by element, numbers resolved.
        seen: Chance that a look shows it [1].
        spread_factor: One sigma of the log-normal `add_ohm`, as a factor; 1 for none.
        duty: Parameters of the Beta distribution of its share of tries; None if always there.
        per_visit: Key of the rates if earlier hands did it, else "".
        setting: Control and position if it is one left wrong.
    """

    component: str
    id: str
    changes: Mapping[str, Json]
    seen: float
    spread_factor: float = 1.0
    duty: tuple[float, float] | None = None
    per_visit: str = ""
    share: float = 1.0
    setting: tuple[str, str] | None = None

    @property
    def name(self) -> str:
        """COMPONENT/mode."""
        return f"{self.component}/{self.id}"


@dataclass
class Component:
    """Whatever can fail, with what it takes to look at it and to repair it."""

    id: str
    kind: str
    zone: str = ""
    loom: str = ""
    connector: str = ""
    environment: str = ""
    rate_factor: float = 1.0
    action: str = "replace"
    repair_minutes: float = 0.0
    price_usd: float = 0.0
    look_minutes: float = 0.0
    false_alarm: float = 0.0
    modes: dict[str, Mode] = field(default_factory=dict)


@dataclass(frozen=True)
class Terminal:
    """Where a probe can go."""

    zone: str
    minutes: float
    leakage_ohm: float
    reachable: bool = True


@dataclass(frozen=True)
class Sign:
    """Something that is heard, seen or felt."""

    part: str
    id: str
    sense: str
    when: Json
    on_change: bool


@dataclass(frozen=True)
class Control:
    """What the driver moves."""

    id: str
    positions: tuple[str, ...]
    rest: str
    order: int
    minutes: float
    needs_helper: bool


def resolve_kind(kinds: Json, name: str) -> Json:
    """A kind with what it inherits: objects merge key by key, everything else is replaced."""
    own: Json = kinds[name]
    if "based_on" not in own:
        return own
    merged = dict(resolve_kind(kinds, own["based_on"]))
    for key, value in own.items():
        below = merged.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        merged[key] = {**below, **value} if both and below is not None else value
    return merged


def _same(_part: str, _parameter: str) -> float:
    return 1.0


class Wiring:
    """One vehicle.

    Args:
        vehicle: The vehicle document.
        kinds: Members `kinds` of the kinds document.
        factor_of: What makes this vehicle differ from its document; nothing by default.
    """

    def __init__(self, vehicle: Json, kinds: Json, factor_of: FactorOf = _same) -> None:
        self.document = vehicle
        self.id: str = vehicle["id"]
        self.datum: str = vehicle["datum"]
        self.nominal_volt: float = vehicle["nominal_volt"]
        self.run_state: dict[str, str] = dict(vehicle["run_state"])
        self.isolation: tuple[str, ...] = tuple(vehicle["isolation"]["lift"])
        self.elements: dict[str, Element] = {}
        self.terminals: dict[str, Terminal] = {}
        self.components: dict[str, Component] = {}
        self.signs: dict[tuple[str, str], Sign] = {}
        self.values: dict[str, dict[str, float]] = {}
        self.operated: dict[str, Json] = {}
        self.zones: dict[str, float] = {
            id_: zone["open_minutes"] + zone["close_minutes"]
            for id_, zone in vehicle["zones"].items()
        }
        self.controls = {
            id_: Control(
                id_,
                tuple(c["positions"]),
                c["rest"],
                c["order"],
                c["minutes"],
                c["needs_helper"],
            )
            for id_, c in vehicle["controls"].items()
        }
        self._kinds = kinds
        self._factor_of = factor_of
        self._leakage: float = vehicle.get("leakage_ohm", 1e8)
        self._swaps: list[tuple[str, str, str, bool]] = []
        for name, part in vehicle["parts"].items():
            self._add_part(name, part)
        for name, connector in vehicle.get("connectors", {}).items():
            self._add_connector(name, connector)
        self._wires: dict[str, Json] = vehicle["wires"]
        for name, wire in self._wires.items():
            self._add_wire(name, wire)
        self._add_touches()
        self._add_settings()
        for owner, a, b, control_only in self._swaps:
            self._add_swap(owner, a, b, control_only=control_only)

    def modes(self) -> list[Mode]:
        """All fault modes."""
        return [m for c in self.components.values() for m in c.modes.values()]

    def mode(self, name: str) -> Mode:
        """A mode by COMPONENT/mode."""
        component, id_ = name.rsplit("/", 1)
        return self.components[component].modes[id_]

    # -- parts --------------------------------------------------------------------------------

    def _add_part(self, name: str, part: Json, connector: str = "") -> None:
        kind = resolve_kind(self._kinds, part["kind"])
        values = {k: v["value"] for k, v in kind.get("parameters", {}).items()}
        values |= part.get("parameters", {})
        values = {k: v * self._factor_of(name, k) for k, v in values.items()}
        self.values[name] = values
        self.operated[name] = part.get("operated_when", {})
        repair = kind.get("repair", {}) | part.get("repair", {})
        look = kind.get("look", {})
        self.components[name] = Component(
            name,
            part["kind"],
            zone=part.get("zone", ""),
            connector=connector,
            environment=part.get("environment", ""),
            rate_factor=part.get("rate_factor", 1.0),
            action=repair.get("action", "replace"),
            repair_minutes=repair.get("minutes", 0.0),
            price_usd=repair.get("price_usd", 0.0),
            look_minutes=look.get("minutes", 0.0),
            false_alarm=look.get("false_alarm", 0.0),
        )
        own_probe = PIN_PROBE_MINUTES if connector else PART_PROBE_MINUTES
        for terminal in kind["terminals"]:
            probe = part.get("probe", {}).get(terminal, {})
            known = isinstance(probe, dict)
            self.terminals[f"{name}.{terminal}"] = Terminal(
                zone=probe.get("zone", part.get("zone", "")) if known else part.get("zone", ""),
                minutes=probe.get("minutes", own_probe) if known else own_probe,
                leakage_ohm=part.get("leakage_ohm", self._leakage),
                reachable=known or bool(probe),
            )
        for id_, element in kind.get("elements", {}).items():
            self._add_element(name, id_, element, values)
        for id_, sign in kind.get("signs", {}).items():
            self.signs[name, id_] = Sign(
                name, id_, sign["sense"], sign["when"], sign.get("on_change", False)
            )
        for id_, mode in kind.get("modes", {}).items():
            self._add_mode(name, id_, mode, kind, values)
        self._swaps += [
            (name, f"{name}.{a}", f"{name}.{b}", False) for a, b in kind.get("swaps", [])
        ]

    def _add_element(self, part: str, id_: str, element: Json, values: Mapping[str, float]) -> None:
        def quantity(key: str) -> float:
            value = element.get(key, 0.0)
            return values[value] if isinstance(value, str) else float(value)

        ohm_key = next(
            k for k in ("resistance_ohm", "internal_ohm", "closed_ohm", "on_ohm") if k in element
        )
        volt = quantity("emf_volt") or quantity("forward_volt")
        diode = element["type"] == "diode"
        name = f"{part}.{id_}"
        self.elements[name] = Element(
            name,
            element["type"],
            f"{part}.{element['between'][0]}",
            f"{part}.{element['between'][1]}",
            quantity(ohm_key),
            volt,
            rises=volt if diode else quantity("rises_to_volt"),
            falls=volt if diode else quantity("falls_to_volt"),
            rule=element.get("closed_when"),
            part=part,
            dormant=element.get("dormant", False),
        )

    def _work(self, owner: str, kind: Json) -> Component:
        """The component that stands for what earlier hands did to a part or connector."""
        id_ = f"{owner}:work"
        if id_ not in self.components:
            at = self.components.get(owner) or self.components[f"{owner}-1"]
            self.components[id_] = Component(
                id_,
                "earlier_work",
                zone=at.zone,
                action="put right",
                repair_minutes=kind.get("work_minutes", WORK_MINUTES),
                price_usd=kind.get("work_price_usd", WORK_PRICE_USD),
                look_minutes=WORK_LOOK_MINUTES,
                false_alarm=WORK_FALSE_ALARM,
            )
        return self.components[id_]

    def _add_mode(
        self, name: str, id_: str, mode: Json, kind: Json, values: Mapping[str, float]
    ) -> None:
        earlier = "cause" in mode
        component = self._work(name, kind) if earlier else self.components[name]
        changes = {f"{name}.{e}": _numbers(c, values) for e, c in mode["changes"].items()}
        component.modes[id_] = _mode(component.id, id_, mode, changes, id_ if earlier else "")

    def _add_connector(self, name: str, connector: Json) -> None:
        for pin in connector["pins"]:
            part: Json = {
                k: connector[k] for k in ("zone", "environment", "repair") if k in connector
            }
            part["kind"] = connector.get("kind", "connector_contact")
            self._add_part(f"{name}-{pin}", part, connector=name)
        pins = connector["pins"]
        self._swaps += [
            (name, f"{name}-{a}.socket", f"{name}-{b}.socket", True) for a, b in pairwise(pins)
        ]

    # -- wires --------------------------------------------------------------------------------

    def _add_wire(self, name: str, wire: Json) -> None:
        gauge = wire.get("gauge_awg", 0)
        area = wire.get("area_mm2") or math.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2
        class_ = wire.get("class", "control")
        joint = resolve_kind(self._kinds, f"{class_}_termination")
        joint_ohm = joint["parameters"]["joint_ohm"]["value"]
        ohm = COPPER_OHM_MM2_PER_METRE * wire["length_metre"] / area + 2 * joint_ohm
        self.elements[name] = Element(name, "resistor", wire["from"], wire["to"], ohm)
        for id_, kind_id in (
            (name, f"{class_}_wire"),
            (f"{name}:from", f"{class_}_termination"),
            (f"{name}:to", f"{class_}_termination"),
        ):
            kind = resolve_kind(self._kinds, kind_id)
            end = id_.partition(":")[2]
            # A lug is worked on where its terminal is, the run of wire where the wire is.
            zone = self.terminals[wire[end]].zone if end else wire.get("zone", "")
            self.components[id_] = Component(
                id_,
                kind_id,
                zone=zone,
                loom="" if end else wire.get("loom", ""),
                environment=wire.get("environment", ""),
                rate_factor=wire.get("rate_factor", 1.0),
                action=kind["repair"]["action"],
                repair_minutes=kind["repair"]["minutes"],
                price_usd=kind["repair"]["price_usd"],
                look_minutes=kind["look"]["minutes"],
                false_alarm=kind["look"]["false_alarm"],
            )
            values = {k: v["value"] for k, v in kind["parameters"].items()}
            for mode_id, mode in kind["modes"].items():
                if "touches" in mode:
                    continue
                (change,) = mode["changes"].values()
                changes = {name: _numbers(change, values)}
                self.components[id_].modes[mode_id] = _mode(id_, mode_id, mode, changes)

    def _add_touches(self) -> None:
        """Control wires chafed through to pack negative or to the next wire of their loom."""
        looms: dict[str, list[str]] = {}
        for name, wire in self._wires.items():
            if wire.get("class", "control") == "control" and wire.get("loom"):
                looms.setdefault(wire["loom"], []).append(name)
        kind = resolve_kind(self._kinds, "control_wire")
        values = {k: v["value"] for k, v in kind["parameters"].items()}
        for wires in looms.values():
            for i, name in enumerate(wires):
                last_of_two = i + 1 == len(wires) and len(wires) <= 2
                next_wire = "" if last_of_two else wires[(i + 1) % len(wires)]
                ends = {"negative": self.datum, "neighbour": ""}
                if next_wire:
                    ends["neighbour"] = self.elements[next_wire].b
                for mode_id, mode in kind["modes"].items():
                    to, own = ends.get(mode.get("touches", ""), ""), self.elements[name].b
                    if not to or to == own:
                        continue
                    ohm = values[mode["touch_ohm"]]
                    branch = f"{name}>{to}"
                    self.elements[branch] = Element(
                        branch, "resistor", own, to, ohm, follows=name, dormant=True
                    )
                    changes = {branch: {"shorted_ohm": ohm}}
                    self.components[name].modes[mode_id] = _mode(name, mode_id, mode, changes)

    def _add_settings(self) -> None:
        for id_, control in self.document["controls"].items():
            if "left_wrong" not in control:
                continue
            component = Component(
                id_,
                "setting",
                action="set right",
                repair_minutes=control["minutes"],
                look_minutes=0.2,
                false_alarm=0.01,
            )
            for position, share in control["left_wrong"].items():
                mode = Mode(
                    id_,
                    f"left_{position}",
                    {},
                    SETTING_SEEN,
                    per_visit="left_wrong",
                    share=share,
                    setting=(id_, position),
                )
                component.modes[mode.id] = mode
            self.components[id_] = component

    def _add_swap(self, owner: str, a: str, b: str, *, control_only: bool) -> None:
        """Exchanged wires, if one wire ends at each of two terminals."""
        at_a, at_b = ([w for w in self._wires if t in self._ends(w)] for t in (a, b))
        if len(at_a) != 1 or len(at_b) != 1 or at_a == at_b:
            return
        (wire_a,), (wire_b,) = at_a, at_b
        classes = {self._wires[w].get("class", "control") for w in (wire_a, wire_b)}
        far_a = next(t for t in self._ends(wire_a) if t != a)
        far_b = next(t for t in self._ends(wire_b) if t != b)
        if far_a == far_b or (control_only and "power" in classes):
            return
        changes: dict[str, Json] = {wire_a: {"open": True}, wire_b: {"open": True}}
        for wire, far, to in ((wire_a, far_a, b), (wire_b, far_b, a)):
            branch, ohm = f"{wire}>{to}", self.elements[wire].ohm
            self.elements[branch] = Element(
                branch, "resistor", far, to, ohm, follows=wire, dormant=True
            )
            changes[branch] = {"shorted_ohm": ohm}
        kind_of = self.components.get(owner)
        kind = resolve_kind(self._kinds, kind_of.kind if kind_of else "connector_contact")
        component = self._work(owner, kind)
        names = (_pin(a), _pin(b)) if control_only else (a.split(".")[1], b.split(".")[1])
        id_ = "swapped_{}_{}".format(*names)
        component.modes[id_] = Mode(component.id, id_, changes, SWAP_SEEN, per_visit="swapped")

    def _ends(self, wire: str) -> tuple[str, str]:
        return self._wires[wire]["from"], self._wires[wire]["to"]


def _pin(terminal: str) -> str:
    """Number of the pin in PLUG-PIN.side."""
    return terminal.partition(".")[0].rpartition("-")[2]


def _numbers(change: Json, values: Mapping[str, float]) -> Json:
    return {k: values[v] if isinstance(v, str) and k != "stuck" else v for k, v in change.items()}


def _mode(component: str, id_: str, mode: Json, changes: Json, per_visit: str = "") -> Mode:
    duty = mode.get("duty")
    return Mode(
        component,
        id_,
        changes,
        mode["seen"],
        spread_factor=mode.get("spread_factor", 1.0),
        duty=(duty["a"], duty["b"]) if duty else None,
        per_visit=per_visit,
    )
