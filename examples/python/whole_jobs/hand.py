"""How instruments and people err on the bench: noise, slips of the hand, senses.

These numbers are the bench's own. They are near what the shipped instruments document assumes, as a
workshop would be, but are not read from it and err in other ways: a slip of the range moves the
decimal point, a wrong terminal is any of the part, a repeated reading repeats its slip.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from whole_jobs.circuit import TrueVehicle
from whole_jobs.wiring import Wiring

Json = dict[str, Any]
SLIPS = ("no_contact", "wrong_terminal", "wrong_state", "gross")


@dataclass(frozen=True)
class Errors:
    """Chances of slips per reading and sizes of noise; all from memory of the trade.

    Attributes:
        repeated: Chance that a reading made again repeats its slip [1].
        lamp_sigma: Spread of how bright a lamp seems, in ln of light.
        misses_look: Odds of not seeing damage that is there, relative to the kinds' own.
    """

    no_contact: float = 0.02
    wrong_terminal: float = 0.01
    wrong_state: float = 0.03
    gross: float = 0.007
    repeated: float = 0.5
    noise_relative: float = 0.005
    noise_volt: float = 0.02
    noise_ohm: float = 0.2
    lamp_sigma: float = 0.3
    misjudged: float = 0.02
    missed: float = 0.04
    imagined: float = 0.03
    misses_look: float = 1.0
    false_alarms: float = 1.0

    def doubled(self) -> Errors:
        """Everything that can go wrong twice as often or twice as large."""
        kept = {"repeated"}
        return Errors(
            **{name: value if name in kept else 2 * value for name, value in self.__dict__.items()}
        )


NO_ERRORS = Errors(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
"""Whoever reads sees what ngspice says, to the last digit of the display."""


@dataclass
class Hand:
    """One person with instruments who errs.

    Args:
        instruments: Members `instruments` of the instruments document, for their electrical data.
    """

    wiring: Wiring
    instruments: Json
    errors: Errors
    rng: np.random.Generator
    _slips: dict[str, str] = field(default_factory=dict)
    _looks: dict[tuple[str, str], bool] = field(default_factory=dict)

    def _slip(self, key: str) -> str:
        """What goes wrong with this reading, "" if nothing; often the same as the last time."""
        if key in self._slips and self.rng.random() < self.errors.repeated:
            return self._slips[key]
        at, chosen = self.rng.random(), ""
        for slip in SLIPS:
            chance: float = getattr(self.errors, slip)
            if at < chance:
                chosen = slip
                break
            at -= chance
        self._slips[key] = chosen
        return chosen

    def _other_terminal(self, terminal: str) -> str:
        part = terminal.partition(".")[0]
        near = [t for t in self.wiring.terminals if t.partition(".")[0] == part and t != terminal]
        return str(self.rng.choice(near)) if near else terminal

    def _one_control_short(self, state: dict[str, str]) -> dict[str, str]:
        controls = self.wiring.controls
        moved = [c for c in state if state[c] != controls[c].rest]
        if not moved:
            return state
        last = max(moved, key=lambda c: (controls[c].order, c))
        return {c: p for c, p in state.items() if c != last}

    def read(
        self,
        vehicle: TrueVehicle,
        instrument: str,
        red: str,
        black: str,
        state: dict[str, str],
        *,
        isolated: bool,
        lifted: tuple[str, ...] = (),
    ) -> Json:
        """What an instrument shows: members of a job's entry."""
        device = self.instruments[instrument]
        slip = self._slip(f"{instrument} {red} {black} {sorted(state.items())} {isolated} {lifted}")
        if slip == "wrong_terminal":
            red = self._other_terminal(red)
        if slip == "wrong_state":
            state = self._one_control_short(state)
        lost = slip == "no_contact" or red == black
        if device["type"] == "voltmeter":
            return self._volts(vehicle, device, red, black, state, slip=slip, lost=lost)
        if device["type"] == "lamp":
            return self._lamp(vehicle, device, red, black, state, slip=slip, lost=lost)
        ohm = None if lost else vehicle.ohm(red, black, (*self.wiring.isolation, *lifted))
        if device["type"] == "beeper":
            return self._beep(device, ohm, slip, lost=lost)
        return self._ohms(device, ohm, slip, lost=lost)

    def _volts(
        self,
        vehicle: TrueVehicle,
        device: Json,
        red: str,
        black: str,
        state: dict[str, str],
        *,
        slip: str,
        lost: bool,
    ) -> Json:
        volt = 0.0 if lost else vehicle.volt(red, black, state, device["resistance_ohm"])
        sigma = np.hypot(self.errors.noise_relative * volt, self.errors.noise_volt)
        volt += float(sigma * self.rng.standard_normal())
        if slip == "gross":
            volt *= float(self.rng.choice([-1.0, 0.1, 10.0]))
        step = device["resolution_volt"]
        limit = device["full_scale_volt"]
        return {"volts": float(np.clip(round(volt / step) * step, -limit, limit))}

    def _lamp(
        self,
        vehicle: TrueVehicle,
        device: Json,
        red: str,
        black: str,
        state: dict[str, str],
        *,
        slip: str,
        lost: bool,
    ) -> Json:
        words = ("bright", "dim", "dark")
        if slip == "gross" or self.rng.random() < self.errors.misjudged:
            return {"outcome": str(self.rng.choice(words))}
        volt = 0.0 if lost else vehicle.lamp_volt(red, black, state, device)
        light = (abs(volt) / device["rated_volt"]) ** device["light_exponent"]
        light *= float(np.exp(self.errors.lamp_sigma * self.rng.standard_normal()))
        if light >= device["bright_from"]:
            return {"outcome": "bright"}
        return {"outcome": "dark" if light < device["dark_below"] else "dim"}

    def _ohms(self, device: Json, ohm: float | None, slip: str, *, lost: bool) -> Json:
        if ohm is None or lost:
            return {"outcome": "overload"}
        sigma = np.hypot(2 * self.errors.noise_relative * ohm, self.errors.noise_ohm)
        ohm += float(sigma * self.rng.standard_normal())
        if slip == "gross":
            ohm *= float(self.rng.choice([0.001, 0.1, 10.0, 1000.0]))
        if ohm > device["full_scale_ohm"]:
            return {"outcome": "overload"}
        step = device["resolution_ohm"]
        return {"ohms": float(max(0.0, round(ohm / step) * step))}

    def _beep(self, device: Json, ohm: float | None, slip: str, *, lost: bool) -> Json:
        if slip == "gross" or self.rng.random() < self.errors.misjudged:
            return {"outcome": str(self.rng.choice(("beep", "silent")))}
        beeps = not lost and ohm is not None and ohm < device["beeps_below_ohm"]
        return {"outcome": "beep" if beeps else "silent"}

    def notice(self, vehicle: TrueVehicle, part: str, sign: str, state: dict[str, str]) -> str:
        """yes, no or chatters, as a person has it."""
        if self._slip(f"{part} {sign} {sorted(state.items())}") == "wrong_state":
            state = self._one_control_short(state)
        truth = vehicle.sign(part, sign, state)
        at = self.rng.random()
        if truth == "no":
            return "yes" if at < self.errors.imagined else "no"
        return "no" if at < self.errors.missed else truth

    def look(self, component: str, mode: str) -> bool:
        """Whether a component seems damaged; a second look at the same thing shows the same.

        Args:
            component: What is looked at.
            mode: Mode that it really has, "" if it is good.
        """
        key = (component, mode)
        if key not in self._looks:
            at = self.wiring.components[component]
            if mode:
                seen = at.modes[mode].seen
                odds = seen / (1 - seen) / self.errors.misses_look if seen < 1 else np.inf
                chance = odds / (1 + odds) if np.isfinite(odds) else 1.0
            else:
                chance = at.false_alarm * self.errors.false_alarms
            self._looks[key] = bool(self.rng.random() < chance)
        return self._looks[key]
