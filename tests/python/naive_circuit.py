"""A slow, plain settling of a vehicle's contacts, written from the document formats alone.

It shares no code with the library, so that the two can be compared: every part, wire and joint becomes a
branch of one dense nodal system, and all contacts move at once until nothing changes. Volts, amps and ohms.
"""

import json
import math
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the systems are small: more threads only wait for each other

import numpy as np  # noqa: E402

DATA = Path(__file__).resolve().parents[2] / "data"
COPPER_OHM_MM2_PER_METRE = 1 / 58  # at 20 degrees Celsius


def load(name):
    return json.loads((DATA / name).read_text(encoding="utf-8"))


def resolve_kind(kinds, name):
    """A kind with what it inherits: objects merge key by key, everything else is replaced."""
    own = kinds[name]
    if "based_on" not in own:
        return own
    merged = dict(resolve_kind(kinds, own["based_on"]))
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(merged.get(key), dict):
            value = {**merged[key], **value}
        merged[key] = value
    return merged


class Element:
    def __init__(self, name, kind, a, b, ohm, volt=0.0, rule=None):
        self.name, self.kind, self.a, self.b, self.ohm, self.volt, self.rule = name, kind, a, b, ohm, volt, rule
        self.thresholds = (0.0, 0.0)  # of an input or a diode
        self.stuck, self.open, self.factor, self.sign = None, False, 1.0, 1


class NaiveVehicle:
    """One vehicle with a set of faults, each written COMPONENT/mode."""

    def __init__(self, vehicle, kinds, faults=()):
        self.vehicle, self.kinds = vehicle, kinds
        self.elements, self.leakage, self.owner, self.signs, self.modes = {}, {}, {}, {}, {}
        for name, part in vehicle["parts"].items():
            self._add_part(name, part, part["kind"])
        for name, connector in vehicle.get("connectors", {}).items():
            for pin in connector["pins"]:
                self._add_part(f"{name}-{pin}", {}, connector.get("kind", "connector_contact"))
        for name, wire in vehicle["wires"].items():
            self._add_wire(name, wire)
        for fault in faults:
            component, mode = fault.rsplit("/", 1)
            self._apply(component, mode)
        self.terminals = sorted(set(self.leakage) - {vehicle["datum"]})
        self.index = {t: i for i, t in enumerate(self.terminals)}

    def _add_part(self, name, part, kind_name):
        kind = resolve_kind(self.kinds, kind_name)
        values = {k: v["value"] for k, v in kind.get("parameters", {}).items()} | part.get("parameters", {})
        quantity = lambda q: values[q] if isinstance(q, str) else q
        for terminal in kind["terminals"]:
            self.leakage[f"{name}.{terminal}"] = part.get("leakage_ohm", self.vehicle.get("leakage_ohm", 1e8))
        for id_, e in kind.get("elements", {}).items():
            if e.get("dormant"):
                continue  # conducts only if somebody left a jumper there
            ohm = next(e[k] for k in ("resistance_ohm", "internal_ohm", "closed_ohm", "on_ohm") if k in e)
            volt = e.get("emf_volt", e.get("forward_volt", 0))
            a, b = (f"{name}.{t}" for t in e["between"])
            element = Element(f"{name}.{id_}", e["type"], a, b, quantity(ohm), quantity(volt))
            if e["type"] == "contact":
                element.rule = e["closed_when"]
            elif e["type"] == "input":
                element.thresholds = (quantity(e["rises_to_volt"]), quantity(e["falls_to_volt"]))
            elif e["type"] == "diode":
                element.thresholds = (element.volt, element.volt)
            self.elements[element.name] = element
            self.owner[element.name] = (name, quantity, part.get("operated_when", {}))
        for id_, sign in kind.get("signs", {}).items():
            self.signs[f"{name}.{id_}"] = (sign, name, quantity, part.get("operated_when", {}))
        self.modes[name] = {
            mode: [(f"{name}.{e}", {k: quantity(v) if k.endswith(("_ohm", "_volt")) else v for k, v in c.items()})
                   for e, c in m["changes"].items()]
            for mode, m in kind.get("modes", {}).items() if all(f"{name}.{e}" in self.elements for e in m["changes"])}
        self.earlier_work = getattr(self, "earlier_work", set()) | {
            f"{name}/{mode}" for mode, m in kind.get("modes", {}).items() if "cause" in m}

    def _add_wire(self, name, wire):
        area = wire.get("area_mm2") or math.pi / 4 * (0.127 * 92 ** ((36 - wire["gauge_awg"]) / 39)) ** 2
        class_ = wire.get("class", "control")
        joint = resolve_kind(self.kinds, class_ + "_termination")
        joint_ohm = joint["parameters"]["joint_ohm"]["value"]
        ohm = COPPER_OHM_MM2_PER_METRE * wire["length_metre"] / area + 2 * joint_ohm
        self.elements[name] = Element(name, "resistor", wire["from"], wire["to"], ohm)
        for component, kind in ((name, resolve_kind(self.kinds, class_ + "_wire")), (name + ":from", joint), (name + ":to", joint)):
            quantity = lambda q, kind=kind: kind["parameters"][q]["value"] if isinstance(q, str) else q
            self.modes[component] = {
                mode: [(name, {k: quantity(v) if k.endswith("_ohm") else v for k, v in c.items()})
                       for c in m["changes"].values()]
                for mode, m in kind["modes"].items() if "touches" not in m}

    def _apply(self, component, mode):
        for name, change in self.modes[component][mode]:
            e = self.elements[name]
            e.ohm = change.get("shorted_ohm", change.get("resistance_ohm", e.ohm)) + change.get("add_ohm", 0)
            if "shorted_ohm" in change:
                e.kind, e.rule = "resistor", None
            e.open = e.open or change.get("open", False)
            e.stuck = change.get("stuck", e.stuck)
            e.volt = change.get("emf_volt", e.volt)
            e.factor *= change.get("threshold_factor", 1)
            if change.get("reversed"):
                e.a, e.b = e.b, e.a

    # -- solving -----------------------------------------------------------------------------------

    def _conducts(self, e):
        if e.open or e.name in self.lifted:
            return False
        if e.kind == "contact":
            return self.closed[e.name] if e.stuck is None else e.stuck == "closed"
        return self.closed[e.name] if e.kind == "diode" else True

    def _solve(self, extra=None):
        """Terminal voltages against the datum; `extra` is a load (red, black, ohm, emf) of an instrument."""
        datum = len(self.terminals)
        at = lambda terminal: self.index.get(terminal, datum)
        branches = [(at(e.a), at(e.b), 1 / e.ohm, e.volt / e.ohm if e.kind in ("source", "diode") else 0)
                    for e in self.elements.values() if self._conducts(e)]
        branches += [(i, datum, 1 / self.leakage[t], 0) for t, i in self.index.items()]
        if extra:
            branches.append((at(extra[0]), at(extra[1]), 1 / extra[2], extra[3] / extra[2]))
        a, b = (np.array([branch[i] for branch in branches]) for i in (0, 1))
        siemens, ampere = (np.array([branch[i] for branch in branches], dtype=float) for i in (2, 3))
        matrix = np.zeros((datum + 1, datum + 1))
        for x, y, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            np.add.at(matrix, (x, y), sign * siemens)
        inverse = np.linalg.inv(matrix[:datum, :datum])
        volts = np.zeros(datum + 1)
        for _ in range(4):
            # Conductances span twelve decades: what a solution leaves over at each node corrects it.
            flow = siemens * (volts[a] - volts[b]) - ampere
            left = np.zeros(datum + 1)
            np.add.at(left, a, -flow)
            np.add.at(left, b, flow)
            volts[:datum] += inverse @ left[:datum]
        return {**{t: float(volts[i]) for t, i in self.index.items()}, self.vehicle["datum"]: 0.0}

    def ampere(self, name):
        e = self.elements[name]
        if not self._conducts(e):
            return 0.0
        return (self.volts[e.a] - self.volts[e.b] - (e.volt if e.kind in ("source", "diode") else 0)) / e.ohm

    def _threshold(self, key, value, rises, falls, stays=False):
        before = self.memory.get(key, False)
        now = (before and stays) or (value > falls if before else value >= rises)
        if self.learning:
            self.next_memory[key] = now
        return self.memory.get(key, False) if not self.learning else now

    def _holds(self, cond, part, quantity, operated, key, factor):
        again = lambda c, k: self._holds(c, part, quantity, operated, key + k, factor)
        if "operated" in cond:
            return cond["operated"] == all(self.state[c] in p for c, p in operated.items())
        if "all" in cond:
            return all([again(c, f"/{i}") for i, c in enumerate(cond["all"])])
        if "any" in cond:
            return any([again(c, f"/{i}") for i, c in enumerate(cond["any"])])
        if "not" in cond:
            return not again(cond["not"], "/n")
        if "signal" in cond:
            e = self.elements[f"{part}.{cond['signal']}"]
            rises, falls = (e.factor * t for t in e.thresholds)
            return self._threshold(e.name, self.volts[e.a] - self.volts[e.b], rises, falls)
        if "closed" in cond:
            e = self.elements[f"{part}.{cond['closed']}"]
            return self._holds(e.rule, *self.owner[e.name], e.name, e.factor)
        if "volts" in cond:
            value = self.volts[f"{part}.{cond['volts'][0]}"] - self.volts[f"{part}.{cond['volts'][1]}"]
            value = abs(value) if cond.get("either_way") else value
            limits = cond["rises_to_volt"], cond["falls_to_volt"]
        else:
            value = abs(self.ampere(f"{part}.{cond['amps']}"))
            limits = cond["rises_to_ampere"], cond["falls_to_ampere"]
        rises, falls = (factor * quantity(q) for q in limits)
        return self._threshold(key, value, rises, falls, cond.get("stays", False))

    def _rules(self):
        result = {}
        for e in self.elements.values():
            if e.kind == "contact":
                result[e.name] = self._holds(e.rule, *self.owner[e.name], e.name, e.factor)
            elif e.kind == "diode":
                rises, falls = e.thresholds
                result[e.name] = self._threshold(e.name, self.volts[e.a] - self.volts[e.b], rises, falls)
        return result

    def _settle(self):
        seen = []
        while True:
            self.volts = self._solve()
            self.learning, self.next_memory = True, dict(self.memory)
            closed = self._rules()
            self.learning, self.memory = False, self.next_memory
            if closed == self.closed:
                return False
            if (closed, self.memory) in seen:
                return True
            seen.append((closed, dict(self.memory)))
            self.closed = closed

    def _start(self):
        """Contacts as their rules say before any voltage is there."""
        self.volts = dict.fromkeys([*self.terminals, self.vehicle["datum"]], 0.0)
        self.closed = {e.name: False for e in self.elements.values()}
        self.learning = False
        self.closed = self._rules()

    def move(self, state, lifted=()):
        """Applies controls in order from rest and settles after each one; True if contacts chatter.

        `lifted` are wires (an end taken off, named W7:to, or the wire itself)."""
        controls = self.vehicle["controls"]
        self.lifted = {w.split(":")[0] for w in lifted}
        self.state = {c: v["rest"] for c, v in controls.items()}
        self.memory, self.before = {}, None
        self._start()
        chatters = self._settle()
        for control in sorted(controls, key=lambda c: (controls[c]["order"], c)):
            wanted = state.get(control, controls[control]["rest"])
            if wanted == self.state[control]:
                continue
            self.before = {s: self.sign(s) for s in self.signs if not self.signs[s][0].get("on_change")}
            self.before |= {s: self._now(s) for s in self.signs if self.signs[s][0].get("on_change")}
            self.state[control] = wanted
            self.learning = False
            self.closed = self._rules()
            chatters = self._settle()
        return chatters

    # -- what a person notices ---------------------------------------------------------------------

    def _now(self, name):
        sign, part, quantity, operated = self.signs[name]
        self.learning, self.next_memory = True, {}
        held = self._holds(sign["when"], part, quantity, operated, "sign " + name, 1)
        self.learning = False
        return held

    def sign(self, name):
        """Whether a sign, written PART.sign, is noticed in the present state."""
        now = self._now(name)
        if self.signs[name][0].get("on_change"):
            return now and not (self.before or {}).get(name, False)
        return now

    def volt(self, red, black, load_ohm=None):
        """Volts between two terminals, with an instrument of that resistance across them."""
        volts = self._solve((red, black, load_ohm, 0)) if load_ohm else self.volts
        return volts[red] - volts[black]

    def source_ohm(self, red, black):
        """Resistance between two terminals as an ideal ohmmeter sees it, contacts as they are."""
        open_volt = self.volt(red, black)
        loaded = self._solve((red, black, 1e3, 100.0))
        volt = loaded[red] - loaded[black]
        ampere = (100.0 - volt) / 1e3  # what the instrument feeds in
        return (volt - open_volt) / ampere

    def lamp_light(self, red, black, rated_volt=48, rated_watt=10, current_exponent=0.55, light_exponent=3.4):
        """Light of a lamp between two terminals as a share of its light at rated volts; bisection."""
        supply, ohm = abs(self.volt(red, black)), self.source_ohm(red, black)
        low, high = 0.0, supply
        for _ in range(100):
            middle = (low + high) / 2
            ampere = rated_watt / rated_volt * (middle / rated_volt) ** current_exponent
            low, high = (low, middle) if middle + ohm * ampere > supply else (middle, high)
        return (low / rated_volt) ** light_exponent
