"""Strategies without the library: a chart from source to load, half-split, parts by habit."""

from __future__ import annotations

from typing import Any

import faultloom

from whole_jobs.chart import Branch, Chart
from whole_jobs.shop import Shop
from whole_jobs.strategies.base import Manual, fails

Json = dict[str, Any]

LOW, GOOD, HIGH = -1, 0, 1
RELATIVE_LIMIT = 0.1  # of what belongs there; as charts have it
LEAST_LIMIT = 0.04  # of nominal voltage
METER = "meter"
MOST_WALKS = 2
MOST_READINGS = 3
LEAST_LACKING_VOLT = 0.3  # of one block or link of the pack
NONSENSE = 1.4  # of nominal voltage: more than any pack has


class FixedChart:
    """Walks the chart from the pack to the load and repairs where the voltage is lost.

    Settings first, then whether the contactor clicks: if it does, its own circuit is left out. When
    the chart finds nothing that was not repaired already, parts follow by how often they fail. A
    vehicle that runs when it comes in is driven and handed back the first time; later, the part
    that fails most often is replaced.
    """

    def __init__(self, manual: Manual) -> None:
        self._manual = manual
        self._repaired: set[str] = set()
        self._order = list(manual.likeliest)
        self._returns = 0

    def visit(self, shop: Shop) -> None:
        """See Strategy."""
        dead = self._trial(shop.intake())
        if dead is None:
            runs, entries = shop.verify()
            if runs:
                self._without_symptom(shop)
                return
            dead = self._trial(entries) or 0
        if self._set_right(shop) or self._work(shop, self._manual.charts[dead]):
            shop.hand_back()

    def _trial(self, entries: list[Json]) -> int | None:
        """The first drive state that fails in the last trial among entries; None if all run."""
        now = entries[-1]["visit"]
        for i, chart in enumerate(self._manual.charts):
            for entry in entries:
                same = entry["visit"] == now and entry["state"] == chart.state
                if same and fails(entry):
                    return i
        return None

    def _without_symptom(self, shop: Shop) -> None:
        self._returns += 1
        if self._returns > 1:
            self._replace_next(shop)
            shop.verify()
        shop.hand_back()

    def _set_right(self, shop: Shop) -> bool:
        """Looks whether all controls stand where they should; whether that was it."""
        for component in self._manual.wiring.components.values():
            if component.kind == "setting" and shop.look(component.id):
                shop.repair(component.id)
                if shop.verify()[0]:
                    return True
        return False

    def _work(self, shop: Shop, chart: Chart) -> bool:
        measured: dict[str, int] = {}
        walks = 0
        while walks < MOST_WALKS:
            suspects = [c for c in self._find(shop, chart, measured) if c not in self._repaired]
            if suspects and self._mend(shop, suspects):
                return True
            if suspects:
                # What was good stays so; what was not is read again.
                measured = {t: d for t, d in measured.items() if d == GOOD}
            else:
                measured = {}
                walks += 1
        while self._replace_next(shop):
            if shop.verify()[0]:
                return True
        shop.give_up()
        return False

    def _replace_next(self, shop: Shop) -> bool:
        """Repairs what fails most often of what was not repaired yet; False if nothing is left."""
        for component in self._order:
            if component not in self._repaired:
                self._repaired.add(component)
                shop.repair(component)
                return True
        return False

    def _mend(self, shop: Shop, suspects: list[str]) -> bool:
        """Repairs suspects one by one, what looks damaged first; whether it runs then."""
        if len(suspects) > 1:
            seen = {c: shop.look(c) for c in suspects}
            suspects = sorted(suspects, key=lambda c: not seen[c])
        for component in suspects:
            self._repaired.add(component)
            shop.repair(component)
            if shop.verify()[0]:
                return True
            if len(suspects) > 1 and seen[component]:
                return False
        return False

    def _find(self, shop: Shop, chart: Chart, measured: dict[str, int]) -> list[str]:
        """Components between the last good point and the first bad one; empty if none is left."""
        clicks = False
        if chart.click is not None:
            part, sign = chart.click
            clicks = shop.notice(part, sign, chart.click_state)["outcome"] == "yes"
        for branch in chart.branches:
            own = chart.click is not None and branch.component == chart.click[0]
            if own and clicks:
                continue
            found = self._search(shop, chart, branch, measured)
            if not found and own:
                found = [branch.component]  # fed as it should be, and still does not pull in
            if any(c not in self._repaired for c in found):
                return found
        # Every point is as it should be: what does not work then is the thing at the end.
        return [b.component for b in chart.branches if b.turns][:1]

    # -- one branch ---------------------------------------------------------------------------

    def _search(
        self, shop: Shop, chart: Chart, branch: Branch, measured: dict[str, int]
    ) -> list[str]:
        pack = self._pack(branch)
        if self._check(shop, chart, branch, pack, measured) == LOW:
            worst = self._worst_block(shop, chart, branch, pack)
            if worst:
                return worst
            measured[branch.points[pack]] = GOOD  # the blocks have what the pack seemed to lack
        for i in range(pack + 1, len(branch.points)):
            deviation = self._check(shop, chart, branch, i, measured)
            if deviation == LOW and not self._fed_behind(shop, chart, branch, i, measured):
                return self._before(branch, i)
            if deviation == HIGH:
                while self._check(shop, chart, branch, i, measured) == HIGH:
                    i += 1  # noqa: PLW2901
                return list(branch.segments[i - 1].components)
        return []

    def _pack(self, branch: Branch) -> int:
        """Index of the pack's positive terminal."""
        elements = self._manual.wiring.elements
        blocks = {e.part for e in elements.values() if e.kind == "source"}
        sources = [
            i
            for i, s in enumerate(branch.segments)
            if len(s.components) == 1 and s.components[0] in blocks
        ]
        return sources[-1] + 1

    def _check(
        self, shop: Shop, chart: Chart, branch: Branch, i: int, measured: dict[str, int]
    ) -> int:
        """Whether a point is too low, good or too high; measured once."""
        wiring = self._manual.wiring
        terminal, expected = branch.points[i], branch.volts[i]
        if terminal == wiring.datum:
            return GOOD
        if terminal not in measured:
            limit = max(RELATIVE_LIMIT * abs(expected), LEAST_LIMIT * wiring.nominal_volt)
            # What seems wrong is read once more, and a third time if the two disagree.
            found: list[int] = []
            while len(found) < MOST_READINGS and found != [GOOD] and len(found) == len(set(found)):
                volts = shop.read(METER, terminal, wiring.datum, chart.state)["volts"]
                low, high = volts < expected - limit, volts > expected + limit
                found.append(LOW if low else HIGH if high else GOOD)
                if abs(volts) > NONSENSE * wiring.nominal_volt:
                    found[-1] = GOOD  # not on this vehicle: a slip, and nothing else to go by
            measured[terminal] = max(found, key=found.count)
        return measured[terminal]

    def _fed_behind(
        self, shop: Shop, chart: Chart, branch: Branch, i: int, measured: dict[str, int]
    ) -> bool:
        """Whether the next point before the load is as it should be: then this one was misread."""
        if i >= branch.load or self._check(shop, chart, branch, i + 1, measured) != GOOD:
            return False
        measured[branch.points[i]] = GOOD
        return True

    def _before(self, branch: Branch, i: int) -> list[str]:
        """What may be wrong before a point that is too low.

        Behind a resistor that feeds a sensor, the sensor may pull it down: that goes first.
        """
        own = list(branch.segments[i - 1].components)
        if i - 1 != branch.load:
            return own
        limit = LEAST_LIMIT * self._manual.wiring.nominal_volt
        pulling = [
            branch.segments[j].components[0]
            for j in range(i, len(branch.segments))
            if branch.volts[j] - branch.volts[j + 1] > limit
        ]
        left = [c for c in pulling if c not in self._repaired]
        return left or own

    def _worst_block(self, shop: Shop, chart: Chart, branch: Branch, pack: int) -> list[str]:
        """Reads each block and each link of the pack; the one that lacks most, if any does."""
        worst, lacking = -1, LEAST_LACKING_VOLT
        for i in range(pack):
            low, high = branch.points[i], branch.points[i + 1]
            belongs = branch.volts[i + 1] - branch.volts[i]
            lacks = belongs - shop.read(METER, high, low, chart.state)["volts"]
            done = all(c in self._repaired for c in branch.segments[i].components)
            if lacks > lacking and not done:
                worst, lacking = i, lacks
        return list(branch.segments[worst].components) if worst >= 0 else []


class HalfSplit(FixedChart):
    """Halves the points of the chart by position instead of walking them."""

    def _search(
        self, shop: Shop, chart: Chart, branch: Branch, measured: dict[str, int]
    ) -> list[str]:
        pack, load, last = self._pack(branch), branch.load, len(branch.points) - 1

        def check(i: int) -> int:
            return self._check(shop, chart, branch, i, measured)

        at_load = check(load)
        if at_load == LOW:
            worst = check(pack) == LOW and self._worst_block(shop, chart, branch, pack)
            if worst:
                return worst
            low, high = pack, load
            while high - low > 1:
                middle = (low + high) // 2
                bad = check(middle) == LOW
                low, high = (low, middle) if bad else (middle, high)
            return self._before(branch, high)
        behind = check(load + 1)
        if behind == LOW:
            return self._before(branch, load + 1)
        if at_load == GOOD and behind == GOOD:
            return []
        low, high = (load + 1 if behind == HIGH else load), last
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if check(middle) == HIGH else (low, middle)
        return list(branch.segments[low].components)


class ContactorFirst(FixedChart):
    """Replaces the contactor and only then takes the chart."""

    def _work(self, shop: Shop, chart: Chart) -> bool:
        contactor = chart.click[0] if chart.click is not None else ""
        if contactor and contactor not in self._repaired:
            self._repaired.add(contactor)
            shop.repair(contactor)
            if shop.verify()[0]:
                return True
        return super()._work(shop, chart)


class LikeliestPart:
    """Replaces one part after the other, by their probability given what the driver says."""

    def __init__(self, model: faultloom.Model, vehicle_id: str) -> None:
        self._model = model
        self._vehicle_id = vehicle_id
        self._order: list[str] = []
        self._at = 0

    def visit(self, shop: Shop) -> None:
        """See Strategy."""
        entries = [{"id": f"e{i}", **e} for i, e in enumerate(shop.intake())]
        if not self._order:
            document: Json = {
                "format": "faultloom.job",
                "version": "1.0",
                "id": "likeliest",
                "vehicle": self._vehicle_id,
                "entries": entries,
            }
            ranking = self._model.rank(document, top=1000, budget_sets=1500)
            self._order = [c.id for c in ranking.components]
        while self._at < len(self._order):
            shop.repair(self._order[self._at])
            self._at += 1
            if shop.verify()[0]:
                shop.hand_back()
                return
        shop.give_up()
