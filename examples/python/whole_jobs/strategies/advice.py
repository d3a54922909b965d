"""The library's advice, taken step by step until the repair is verified."""

from __future__ import annotations

from collections import Counter
from typing import Any

import faultloom

from whole_jobs.shop import Shop, Watch
from whole_jobs.strategies.base import fails

Json = dict[str, Any]

REPAIR_ENTRIES = True
"""Whether the library reads entries of type `repair`; if not, what was found before is dropped."""

MOST_STEPS = 150
ALTERNATIVES = 5
MOST_REPEATS = {"look": 1, "sign": 3}
"""How often a step is done at one visit whatever is advised, by its type; twice if not listed.

A second look shows the same, and nobody puts the probes to the same place a third time. When all
that is advised was done so often, the vehicle is driven and, if it fails, the likeliest is
repaired.
"""


class Advised:
    """Does what `next_step` says.

    Args:
        model: The vehicle, ready to be asked.
        vehicle_id: Its id.
        rest: Position of every control at rest.
    """

    def __init__(self, model: faultloom.Model, vehicle_id: str, rest: dict[str, str]) -> None:
        self._model = model
        self._vehicle_id = vehicle_id
        self._rest = rest
        self._entries: list[Json] = []
        self._count = 0
        self._steps = 0
        self._done: Counter[str] = Counter()
        self._repaired: set[str] = set()

    def visit(self, shop: Shop) -> None:
        """See Strategy."""
        self._done.clear()
        for entry in shop.intake():
            self._note(entry)
        while True:
            self._steps += 1
            if self._steps > MOST_STEPS:
                shop.give_up()
                return
            if self._take(shop, self._ask(shop)):
                shop.hand_back()
                return
            if shop.over:
                return

    def _note(self, entry: Json) -> None:
        self._count += 1
        self._entries.append({"id": f"e{self._count}", **entry})

    def _document(self, shop: Shop) -> Json:
        return {
            "format": "faultloom.job",
            "version": "1.0",
            "id": "whole-job",
            "vehicle": self._vehicle_id,
            "labour_usd_per_hour": shop.costs.labour_usd_per_hour,
            "opened_zones": sorted(shop.open_zones),
            "entries": self._entries,
        }

    def _ask(self, shop: Shop) -> faultloom.Step | None:
        """The best step that was not done often enough already; None if there is none."""
        try:
            advice = self._model.next_step(self._document(shop), alternatives=ALTERNATIVES)
        except faultloom.Error as error:
            if error.code == faultloom.Code.NO_STEP:
                return None
            raise
        for step in (advice.step, *advice.alternatives):
            if self._done[_key(step)] < MOST_REPEATS.get(step.type, 2):
                self._done[_key(step)] += 1
                return step
        shop.tally.stalls += 1
        return None

    def _take(self, shop: Shop, step: faultloom.Step | None) -> bool:
        """Does a step and notes what came of it; whether the vehicle runs and is handed back."""
        if step is None:
            return self._verify(shop) or self._repair(shop, self._likeliest(shop))
        if step.type == "verify":
            return self._verify(shop)
        shop.tally.log.append(
            f"             advice: {step.text}, {step.expected_total_usd:.0f} USD expected"
        )
        if step.type == "repair":
            return self._repair(shop, step.component)
        state = {c: p for c, p in step.state.items() if p != self._rest[c]}
        if step.when:
            watch = Watch(step.instrument, step.red, step.black, step.watched, step.sign)
            when = (step.when["part"], step.when["sign"])
            self._note(shop.catch(watch, when, state, tries=step.most_tries))
        elif step.type in ("sign", "bridge"):
            part = self._part_of(step)
            self._note(
                shop.notice(part, step.sign, state, wiggled=step.wiggled_zone, lead=step.lead)
            )
        elif step.type == "look":
            self._note(self._look(shop, step.component))
        else:
            self._note(
                shop.read(
                    step.instrument,
                    step.red,
                    step.black,
                    state,
                    isolated=step.isolated,
                    lifted=step.lifted,
                )
            )
        return False

    @staticmethod
    def _part_of(step: faultloom.Step) -> str:
        """Whose sign is watched."""
        return step.watched or step.component

    def _likeliest(self, shop: Shop) -> str:
        """What is most probably broken of what was not repaired; "" if nothing is left."""
        ranking = self._model.rank(self._document(shop), top=1000)
        return next((c.id for c in ranking.components if c.id not in self._repaired), "")

    def _repair(self, shop: Shop, component: str) -> bool:
        if not component:
            shop.give_up()
            return False
        shop.repair(component)
        self._repaired.add(component)
        self._after_repair(shop, component)
        return self._verify(shop)

    def _look(self, shop: Shop, component: str) -> Json:
        damaged = shop.look(component)
        setting = component in self._rest
        words = ("set_wrong", "set_right") if setting else ("damage", "clean")
        outcome = words[0] if damaged else words[1]
        return {"type": "look", "component": component, "outcome": outcome}

    def _after_repair(self, shop: Shop, component: str) -> None:
        """Tells the library of a repair."""
        if REPAIR_ENTRIES:
            self._note({"type": "repair", "component": component, "visit": shop.visit_number})
        else:
            self._entries = []

    def _verify(self, shop: Shop) -> bool:
        runs, entries = shop.verify()
        for entry in entries:
            self._note(entry)
        return runs and not any(fails(e) for e in entries)


def _key(step: faultloom.Step) -> str:
    """What makes a step the same as another one."""
    where = (step.instrument, step.red, step.black, step.component, step.sign, step.isolated)
    hand = (step.wiggled_zone, step.lifted, *step.lead, *step.when.values())
    return repr((step.type, *where, *hand, sorted(step.state.items())))
