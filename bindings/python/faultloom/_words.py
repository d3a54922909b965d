"""Numbers and names as a technician reads them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from faultloom._bench import one_line
from faultloom._terminal import BAR_STROKE
from faultloom.answers import Step

BAR_WIDTH = 14


def percent(probability: float) -> str:
    """A probability with the digits that matter: "<0.1 %", "3.2 %", "47 %", "99.9 %"."""
    hundredfold = 100 * probability
    if 0 < hundredfold < 0.05:
        return "<0.1 %"
    if 99.95 <= hundredfold < 100:
        return ">99.9 %"
    whole = 9.95 <= hundredfold < 98.95 or hundredfold in (0, 100)
    return f"{hundredfold:.0f} %" if whole else f"{hundredfold:.1f} %"


def ohms(value: float) -> str:
    """A resistance: "0.053 ohm", "47 ohm", "5.3 kohm", "1.2 Mohm"."""
    for factor, unit in ((1e6, "Mohm"), (1e3, "kohm")):
        if value >= 0.995 * factor:
            return f"{_two_digits(value / factor)} {unit}"
    return f"{_two_digits(value)} ohm"


def volts(value: float) -> str:
    """A voltage as a display shows it: "50.1 V", "0.032 V"."""
    return f"{value:.3g} V"


def _two_digits(value: float) -> str:
    """A positive number with at least two digits that count, never with an exponent."""
    if value <= 0:
        return "0"
    return f"{value:.{max(0, 1 - math.floor(math.log10(value * 1.005)))}f}"


def minutes(value: float) -> str:
    """A duration: "0.5 min", "12 min"."""
    return f"{value:.0f} min" if value >= 9.95 else f"{value:.1f} min".replace(".0 min", " min")


def dollars(value: float) -> str:
    """A price: "$4.20", "$63"."""
    return f"${value:.0f}" if value >= 9.995 else f"${value:.2f}"


def bar(share: float) -> str:
    """A plain bar for a share (0..1)."""
    return BAR_STROKE * round(BAR_WIDTH * share)


def words(name: str) -> str:
    """An id as words."""
    return one_line(name.replace("_", " "))


def lower_first(title: str) -> str:
    """A title inside a sentence; abbreviations stay as they are."""
    return title[0].lower() + title[1:] if title[:1].isupper() and title[1:2].islower() else title


class Names:
    """Titles of what a vehicle document names."""

    def __init__(
        self, vehicle: Mapping[str, Any], instruments: Mapping[str, Any], summary: Mapping[str, Any]
    ) -> None:
        self._vehicle = vehicle
        self._instruments = instruments.get("instruments", {})
        self._components = {c["id"]: c for c in summary["components"]}
        self._modes = {m["name"]: m["title"] for m in summary["modes"]}

    @property
    def vehicle(self) -> str:
        """Title of the vehicle."""
        return one_line(self._vehicle.get("title") or self._vehicle["id"])

    def component(self, component: str) -> str:
        """Title of a component."""
        return one_line(self._components.get(component, {}).get("title", ""))

    def mode(self, name: str) -> str:
        """A fault in words from COMPONENT/mode: "S5 contact burnt away"."""
        component, _, mode = name.rpartition("/")
        return one_line(f"{component} {lower_first(self._modes.get(name, mode))}")

    def faults(self, modes: tuple[tuple[str, ...], ...]) -> str:
        """The faults of a candidate in words; of those no reading tells apart one is named."""
        if not modes:
            return "nothing broken"
        return " and ".join(
            self.mode(group[0]) + (" or alike" if len(group) > 1 else "") for group in modes
        )

    def component_in_words(self, component: str) -> str:
        """Id and title, the id once: "K1 main contactor", "wire W2 from S1.out to K1.line"."""
        title = lower_first(self.component(component))
        return title if component in title.split() else one_line(f"{component} {title}".rstrip())

    def group(self, members: tuple[str, ...]) -> str:
        """Modes that can't be told apart, in words; a wire and its ends are named once."""
        said: dict[str, list[str]] = {}
        for member in members:
            said.setdefault(member.rpartition("/")[0].partition(":")[0], []).append(member)
        texts = []
        for base, names in said.items():
            if len(names) > 1 and any(":" in name for name in names):
                texts.append(f"{self.component_in_words(base)}: along it or at its ends")
            else:
                texts += map(self.mode, names)
        return "; ".join(texts)

    def isolation(self) -> str:
        """What is taken off to isolate the pack."""
        ends = ", ".join(self._vehicle.get("isolation", {}).get("lift", []))
        return one_line(f"everything at rest, pack isolated (take off {ends})")

    def place(self, component: str) -> str:
        """Where a component is: the title of its zone or loom."""
        found = self._components.get(component, {})
        for key, among in (("zone", "zones"), ("loom", "looms")):
            if found.get(key):
                title = self._vehicle.get(among, {}).get(found[key], {}).get("title", found[key])
                return one_line(lower_first(title))
        return ""

    def zone(self, zone: str) -> str:
        """Title of a zone."""
        title = self._vehicle.get("zones", {}).get(zone, {}).get("title", zone)
        return one_line(lower_first(title))

    def loom(self, loom: str) -> str:
        """Title of a loom."""
        title = self._vehicle.get("looms", {}).get(loom, {}).get("title", loom)
        return one_line(lower_first(title))

    def connector(self, connector: str) -> str:
        """Id and title of a connector."""
        title = self._vehicle.get("connectors", {}).get(connector, {}).get("title", "")
        return one_line(f"{connector} {lower_first(title)}".rstrip())

    def terminal(self, terminal: str) -> str:
        """What a terminal is on and where: "main contactor, dash panel"."""
        component = terminal.rpartition(".")[0]
        title = lower_first(self.component(component))
        return ", ".join(filter(None, (title, self.place(component))))

    def instrument(self, instrument: str) -> str:
        """Title of an instrument."""
        return one_line(self._instruments.get(instrument, {}).get("title", instrument))

    def seen(self, step: Step, outcome: str) -> str:
        """An outcome in words: a setting is not damaged or clean, but set wrong or right."""
        if step.type == "look" and step.component in self._vehicle.get("controls", {}):
            return {"damage": "set wrong", "clean": "set right"}.get(outcome, outcome)
        return outcome

    def settings(self, step: Step) -> list[str]:
        """Controls that a step moves from rest, in the order in which to move them."""
        return self.settings_of(step.state)

    def settings_of(self, state: Mapping[str, str]) -> list[str]:
        """Controls that are not at rest in a state, in the order in which to move them."""
        controls = self._vehicle.get("controls", {})
        moved = [c for c in state if c in controls and controls[c].get("rest") != state[c]]
        moved.sort(key=lambda c: (controls[c].get("order", 0), c))
        return [
            one_line(f"{lower_first(controls[c].get('title', words(c)))} to {words(state[c])}")
            + (" (by a helper)" if controls[c].get("needs_helper") else "")
            for c in moved
        ]
