"""What is really wrong: faults drawn from the rates until the vehicle does not drive.

Single faults, pairs, looms and connectors hit by an event, faults that come and go and what earlier
hands left come out in the shares that the rates give them. Each vehicle also has its own pack
voltage, coil resistances and pick-up voltages within the tolerances of the kinds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from whole_jobs.circuit import Fault, TrueVehicle
from whole_jobs.spice import Spice
from whole_jobs.wiring import Component, Mode, Wiring

Json = dict[str, Any]

MOST_DRAWS = 100_000
PACK_SPREAD = 0.015
"""One standard deviation of the pack's charge, relative; its blocks are charged alike."""
WITHIN_TOLERANCE = 0.5
"""One standard deviation of a part's own value, as a share of its tolerance."""


@dataclass(frozen=True)
class Truth:
    """One job as only the bench knows it.

    Attributes:
        faults: What is wrong.
        factors: What parameters of parts are multiplied by, by part and parameter.
        dead_directions: Drive states that fail while all faults show.
        sort: single, pair, event, intermittent or earlier hands; the first that fits from the end.
    """

    faults: tuple[Fault, ...]
    factors: Mapping[tuple[str, str], float]
    dead_directions: tuple[int, ...]
    sort: str


def drive_states(wiring: Wiring) -> list[dict[str, str]]:
    """Forward and, with the same controls, reverse."""
    states = [dict(wiring.run_state)]
    for control, position in wiring.run_state.items():
        if position == "forward" and "reverse" in wiring.controls[control].positions:
            states.append(dict(wiring.run_state) | {control: "reverse"})
    return states


def drives(vehicle: TrueVehicle, state: Mapping[str, str]) -> bool:
    """Whether every motor turns in a state."""
    return all(
        vehicle.sign(part, id_, state) == "yes"
        for part, id_ in vehicle.wiring.signs
        if id_ == "turns"
    )


class Draw:
    """Draws truths of one vehicle.

    Args:
        vehicle, kinds, rates: The documents.
        spice: The simulator of this process.
        rate_factors: What the true rates are multiplied by, by kind; 1 for kinds that it lacks.
    """

    def __init__(
        self,
        vehicle: Json,
        kinds: Json,
        rates: Json,
        spice: Spice,
        rate_factors: Mapping[str, float] | None = None,
    ) -> None:
        self._vehicle, self._kinds, self._rates = vehicle, kinds["kinds"], rates
        self._spice = spice
        self._factors = rate_factors or {}
        self.wiring = Wiring(vehicle, self._kinds)
        self.priors = {
            mode.name: p for c in self.wiring.components.values() for mode, p in self._modes_of(c)
        }
        self._bundles = self._find_bundles()

    def _modes_of(self, component: Component) -> list[tuple[Mode, float]]:
        """Chance of each mode of a component, events left aside."""
        kind = self._rates["kinds"].get(component.kind)
        failed = 0.0
        if kind is not None:
            mean = kind["gamma_shape"] / kind["gamma_rate_million_hours"]
            mean *= component.rate_factor * self._factors.get(component.kind, 1.0)
            mean *= self._rates["environments"].get(component.environment, 1.0)
            failed = -float(np.expm1(-mean * self._rates["exposure_hours"] / 1e6))
        rows = []
        for mode in component.modes.values():
            if mode.per_visit:
                p = self._rates["per_visit"].get(mode.per_visit, 0.0) * mode.share
                p *= self._factors.get(mode.per_visit, 1.0)
            else:
                p = failed * (kind["modes"].get(mode.id, 0.0) if kind else 0.0)
            rows.append((mode, p))
        return rows

    def _find_bundles(self) -> list[tuple[str, list[Component]]]:
        looms: dict[str, list[Component]] = {}
        connectors: dict[str, list[Component]] = {}
        for c in self.wiring.components.values():
            if c.loom:
                looms.setdefault(c.loom, []).append(c)
            if c.connector:
                connectors.setdefault(c.connector, []).append(c)
        return [("loom", m) for m in looms.values()] + [
            ("connector", m) for m in connectors.values()
        ]

    # -- drawing ------------------------------------------------------------------------------

    def truth(self, rng: np.random.Generator) -> Truth:
        """One vehicle that does not drive.

        Raises:
            RuntimeError: None of very many draws stops it.
        """
        for _ in range(MOST_DRAWS):
            faults = self.faults(rng)
            if not faults:
                continue
            factors = self.own_values(rng)
            wiring = self.build(factors)
            dead = self.dead_directions(wiring, faults)
            if dead:
                return Truth(faults, factors, dead, self._sort(faults))
        message = f"{self.wiring.id}: no draw stops the vehicle"
        raise RuntimeError(message)

    def dead_directions(self, wiring: Wiring, faults: tuple[Fault, ...]) -> tuple[int, ...]:
        """Drive states that fail while all faults show."""
        vehicle = TrueVehicle(wiring, faults, self._spice)
        states = drive_states(wiring)
        return tuple(i for i, s in enumerate(states) if not drives(vehicle, s))

    def build(self, factors: Mapping[tuple[str, str], float]) -> Wiring:
        """The wiring with the values that this vehicle really has."""
        return Wiring(self._vehicle, self._kinds, lambda p, q: factors.get((p, q), 1.0))

    def own_values(self, rng: np.random.Generator) -> dict[tuple[str, str], float]:
        """What parameters of one vehicle are multiplied by, by part and parameter."""
        pack = 1 + PACK_SPREAD * float(np.clip(rng.standard_normal(), -2, 2))
        factors = {}
        for name, part in self._vehicle["parts"].items():
            for parameter, value in self._parameters(part["kind"]).items():
                tolerance = value.get("tolerance", 0.0)
                if not tolerance:
                    continue
                if parameter == "emf_volt":
                    factors[name, parameter] = pack * (1 + 0.003 * float(rng.standard_normal()))
                    continue
                shift = WITHIN_TOLERANCE * float(np.clip(rng.standard_normal(), -2, 2))
                factors[name, parameter] = 1 + tolerance * shift
        return factors

    def _parameters(self, kind: str) -> Json:
        own: Json = self._kinds[kind]
        below = self._parameters(own["based_on"]) if "based_on" in own else {}
        return {**below, **own.get("parameters", {})}

    def faults(self, rng: np.random.Generator) -> tuple[Fault, ...]:
        """What breaks in the exposure hours of the rates, whether it stops the vehicle or not."""
        found: dict[str, Fault] = {}
        for component in self.wiring.components.values():
            rows = [(m, self.priors[m.name]) for m in component.modes.values()]
            at = rng.random()
            for mode, p in rows:
                if at < p:
                    found[component.id] = self._fault(mode, rng)
                    break
                at -= p
        for on, members in self._bundles:
            for fault in self._event(on, members, rng):
                found[fault.component] = fault
        return tuple(found.values())

    def _event(self, on: str, members: list[Component], rng: np.random.Generator) -> list[Fault]:
        for id_, event in self._rates["events"].items():
            if event["on"] != on:
                continue
            mean = event["gamma_shape"] / event["gamma_rate_million_hours"]
            mean *= self._factors.get(id_, 1.0)
            if rng.random() >= -np.expm1(-mean * self._rates["exposure_hours"] / 1e6):
                continue
            able = [c for c in members if any(m in event["modes"] for m in c.modes)]
            if len(able) < 2:
                continue
            hit = min(0.5, event["expected_hits"] / len(able))
            faults = []
            for c in able:
                if rng.random() >= hit:
                    continue
                shares = {m: event["modes"][m] for m in c.modes if m in event["modes"]}
                weights = np.array(list(shares.values()))
                chosen = str(rng.choice(list(shares), p=weights / weights.sum()))
                faults.append(self._fault(c.modes[chosen], rng, id_))
            return faults
        return []

    def _fault(self, mode: Mode, rng: np.random.Generator, event: str = "") -> Fault:
        factor = float(np.exp(rng.standard_normal() * np.log(mode.spread_factor)))
        duty = float(rng.beta(*mode.duty)) if mode.duty else 1.0
        return Fault(mode.name, factor, duty, event)

    def _sort(self, faults: tuple[Fault, ...]) -> str:
        if any(f.duty < 1 for f in faults):
            return "intermittent"
        if any(f.event for f in faults):
            return "event"
        if any(self.wiring.mode(f.mode).per_visit for f in faults):
            return "earlier hands"
        return "pair" if len(faults) > 1 else "single"


def doubled_or_halved(rates: Json, rng: np.random.Generator) -> dict[str, float]:
    """Rates that are off by a factor of two, up or down by the toss of a coin for each kind."""
    keys = [*rates["kinds"], *rates["events"], *rates["per_visit"]]
    return {k: 2.0 if rng.random() < 0.5 else 0.5 for k in keys}
