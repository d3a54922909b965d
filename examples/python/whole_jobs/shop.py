"""The workshop: what a technician can do with a dead vehicle, what it takes and costs.

Alike for every strategy. A strategy learns from it only what a technician learns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from whole_jobs.circuit import Fault, TrueVehicle
from whole_jobs.draw import Truth, drive_states, drives
from whole_jobs.hand import Hand
from whole_jobs.spice import Spice
from whole_jobs.wiring import Wiring

Json = dict[str, Any]


@dataclass(frozen=True)
class Costs:
    """What things take; common practice, no source, where the documents do not say.

    Attributes:
        verify_minutes: Drive test under load after a repair, both directions.
        starts: Starts in each direction during a drive test.
        intake_minutes: Trying the vehicle when it comes in.
        comeback_usd: A vehicle that comes back: fetched again, written up again, driver without it.
        isolate_minutes: Pack off; the same again for back on.
        lift_minutes, lead_minutes: A wire end off and back on; a fused lead on and off.
        wiggle_minutes: To move the wires and plugs of a place by hand.
        try_minutes: To try once more whether it runs: press, see the wheel turn, let go.
        most_minutes, most_visits: A job that takes more counts as not solved: a working day.
        referral_usd: For a job not solved: towed to somebody else, who starts anew.
    """

    labour_usd_per_hour: float = 110.0
    verify_minutes: float = 10.0
    starts: int = 5
    intake_minutes: float = 3.0
    comeback_usd: float = 120.0
    sign_minutes: float = 0.2
    helper_minutes: float = 0.5
    isolate_minutes: float = 2.0
    lift_minutes: float = 3.0
    lead_minutes: float = 2.0
    wiggle_minutes: float = 1.5
    try_minutes: float = 0.15
    most_minutes: float = 480.0
    most_visits: int = 6
    referral_usd: float = 500.0


WIGGLE_HELPS = 0.5
"""Chance that moving wires by hand brings out what comes and goes; from memory of the trade."""


class OutOfPatienceError(Exception):
    """The job has taken more than anybody would spend on it."""


@dataclass
class Tally:
    """What a job has come to.

    Attributes:
        good_parts: Parts replaced that were good.
        good_joints: Joints, wires and settings worked on that were good.
        stalls: Times that an adviser had nothing to offer but what was done already.
        log: What was done, a line each.
    """

    minutes: float = 0.0
    parts_usd: float = 0.0
    probes: int = 0
    signs: int = 0
    looks: int = 0
    repairs: int = 0
    good_parts: int = 0
    good_joints: int = 0
    zones: int = 0
    visits: int = 1
    comebacks: int = 0
    verifications: int = 0
    stalls: int = 0
    solved: bool = False
    log: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Watch:
    """What is noticed when something fails: what an instrument shows, or a sign.

    Attributes:
        instrument: Its id, "" if a sign is watched.
        red: Terminal of the red probe.
        black: Terminal of the black probe.
        part: Whose sign is watched.
        sign: Which one.
    """

    instrument: str = ""
    red: str = ""
    black: str = ""
    part: str = ""
    sign: str = ""

    def __str__(self) -> str:
        if self.instrument:
            return f"{self.instrument} {self.red} {self.black}"
        return f"{self.part} {self.sign}"


class Shop:
    """One job.

    Args:
        truth: What is wrong. Strategies must not look.
        wiring: The vehicle with its own values.
        spice: The simulator of this process.
        instruments: Members `instruments` of the instruments document.
        hand: Who holds the probes.
        rng: For faults that come and go.
        persistence: Chance that one stays as it is throughout a visit [1].
    """

    def __init__(
        self,
        truth: Truth,
        wiring: Wiring,
        spice: Spice,
        instruments: Json,
        hand: Hand,
        *,
        rng: np.random.Generator,
        costs: Costs | None = None,
        persistence: float = 0.6,
    ) -> None:
        self.costs = costs or Costs()
        self.tally = Tally()
        self.over = False
        self.open_zones: set[str] = set()
        self.visit_number = 0
        self._truth = truth
        self._faults = list(truth.faults)
        self._wiring = wiring
        self._spice = spice
        self._instruments = instruments
        self._hand = hand
        self._rng = rng
        self._persistence = persistence
        self._vehicles: dict[tuple[str, ...], TrueVehicle] = {}
        self._still: dict[str, bool | None] = {}
        self._state: dict[str, str] = {}
        self._isolated = False
        self._black = ""
        self._states = drive_states(wiring)
        self._begin_visit()

    # -- the truth, for the bench alone -------------------------------------------------------

    def _begin_visit(self) -> None:
        """Throws for each fault that comes and goes whether it stays as it is, and how."""
        self._still = {}
        for fault in self._faults:
            if fault.duty < 1:
                stays = self._rng.random() < self._persistence
                self._still[fault.mode] = self._throw(fault) if stays else None

    def _throw(self, fault: Fault) -> bool:
        return bool(self._rng.random() < fault.duty)

    def _now(self, wiggled: str = "", lead: tuple[str, ...] = ()) -> TrueVehicle:
        """The vehicle as it is at this moment, or while it is wiggled somewhere."""
        there = []
        for fault in self._faults:
            still = self._still.get(fault.mode, True)
            if wiggled and fault.duty < 1:
                here = self._wiring.components[fault.component].zone == wiggled
                shows = self._throw(fault) or (here and self._rng.random() < WIGGLE_HELPS)
            else:
                shows = still or (still is None and self._throw(fault))
            if shows:
                there.append(fault)
        return self._with(there, lead)

    def _with(self, faults: list[Fault], lead: tuple[str, ...] = ()) -> TrueVehicle:
        key = (*(f.mode for f in faults), *lead)
        if key not in self._vehicles:
            leads = [(lead[0], lead[1])] if lead else []
            self._vehicles[key] = TrueVehicle(self._wiring, faults, self._spice, leads=leads)
        return self._vehicles[key]

    def _mended(self) -> bool:
        """Whether it drives both ways even while all that is left shows."""
        vehicle = self._with(self._faults)
        return all(drives(vehicle, s) for s in self._states)

    def needed(self) -> list[str]:
        """Components to repair so that it drives both ways whatever is left, dear ones spared."""

        def usd(fault: Fault) -> float:
            at = self._wiring.components[fault.component]
            return at.price_usd + at.repair_minutes * self.costs.labour_usd_per_hour / 60

        left: list[Fault] = []
        for fault in sorted(self._faults, key=lambda f: (-usd(f), f.component)):
            vehicle = self._with([f for f in self._faults if f in left or f is fault])
            if all(drives(vehicle, s) for s in self._states):
                left.append(fault)
        return sorted({f.component for f in self._faults if f not in left})

    # -- clock --------------------------------------------------------------------------------

    def _take(self, minutes: float, what: str) -> None:
        self.tally.minutes += minutes
        self.tally.log.append(f"{self.tally.minutes:7.1f} min  {what}")
        if self.tally.minutes > self.costs.most_minutes:
            raise OutOfPatienceError

    def _opening(self, zone: str) -> float:
        """Minutes to get into a zone; nothing if it is open."""
        if not zone or zone in self.open_zones:
            return 0.0
        self.open_zones.add(zone)
        self.tally.zones += 1
        return self._wiring.zones[zone]

    def _moving(self, state: Mapping[str, str], *, isolated: bool = False) -> float:
        """Minutes to bring the controls and the pack from how they are to how they must be."""
        minutes, helper = 0.0, False
        for control in self._wiring.controls.values():
            wanted = state.get(control.id, control.rest)
            if wanted != self._state.get(control.id, control.rest):
                minutes += control.minutes
                helper = helper or (control.needs_helper and wanted != control.rest)
        if helper:
            minutes += self.costs.helper_minutes
        if isolated != self._isolated:
            minutes += self.costs.isolate_minutes
        self._state, self._isolated = dict(state), isolated
        return minutes

    def _placing(self, instrument: str, red: str, black: str) -> float:
        """Minutes to get an instrument onto two terminals."""
        minutes: float = self._instruments[instrument]["minutes"]
        for terminal in (red, black):
            at = self._wiring.terminals[terminal]
            minutes += self._opening(at.zone)
            # The black lead has a clip and stays where it is until it is needed elsewhere.
            if terminal != black or terminal != self._black:
                minutes += at.minutes
        self._black = black
        return minutes

    @property
    def usd(self) -> float:
        """Labour, parts, comebacks and, if it is over without a cure, the referral [USD]."""
        labour = self.tally.minutes * self.costs.labour_usd_per_hour / 60
        lost = self.costs.referral_usd if self.over and not self.tally.solved else 0.0
        again = self.tally.comebacks * self.costs.comeback_usd
        return labour + self.tally.parts_usd + again + lost

    # -- what a technician does ---------------------------------------------------------------

    def intake(self) -> list[Json]:
        """What the driver says, then what a trial in both directions shows, as entries of a job."""
        entries = [
            self._entry(part, id_, self._states[i], "no")
            for i in self._truth.dead_directions
            for part, id_ in self._turning()
        ]
        self.visit_number += 1
        self._take(self.costs.intake_minutes, f"visit {self.tally.visits}: intake")
        return entries + self._trial(1)

    def _turning(self) -> list[tuple[str, str]]:
        return [key for key in self._wiring.signs if key[1] == "turns"]

    def _entry(self, part: str, sign: str, state: Mapping[str, str], outcome: str) -> Json:
        return {
            "type": "sign",
            "part": part,
            "sign": sign,
            "state": dict(state),
            "outcome": outcome,
            "visit": self.visit_number,
        }

    def _trial(self, starts: int) -> list[Json]:
        """Drives, each direction so often. Nobody mistakes a drive for none."""
        entries = []
        for state in self._states:
            vehicles = [self._now() for _ in range(starts)]
            for part, id_ in self._turning():
                said = [v.sign(part, id_, state) for v in vehicles]
                entry = self._entry(part, id_, state, said[0])
                if len(set(said)) > 1:
                    del entry["outcome"]
                    entry["tries"] = {word: said.count(word) for word in sorted(set(said))}
                entries.append(entry)
                self.tally.log.append(f"             {part} {id_} {_short(state)}: {said}")
        self._state, self._isolated = {}, False
        return entries

    def read(
        self,
        instrument: str,
        red: str,
        black: str,
        state: Mapping[str, str],
        *,
        isolated: bool = False,
        lifted: str = "",
    ) -> Json:
        """Puts an instrument on two terminals in a state, a wire end off; an entry of a job."""
        minutes = self._placing(instrument, red, black)
        if lifted:
            minutes += self._opening(self._wiring.components[lifted].zone)
            minutes += self.costs.lift_minutes
        minutes += self._moving(state, isolated=isolated)
        off = (lifted,) if lifted else ()
        shown = self._hand.read(
            self._now(), instrument, red, black, dict(state), isolated=isolated, lifted=off
        )
        self.tally.probes += 1
        entry: Json = {"type": "reading", "instrument": instrument, "red": red, "black": black}
        entry |= {"state": dict(state), "visit": self.visit_number} | shown
        if isolated:
            entry["isolated"] = True
        if lifted:
            entry["lifted"] = [lifted]
        self._take(minutes, f"{instrument} {red} {black} {_short(state)}: {shown}")
        return entry

    def notice(
        self,
        part: str,
        sign: str,
        state: Mapping[str, str],
        *,
        wiggled: str = "",
        lead: tuple[str, ...] = (),
    ) -> Json:
        """Watches, listens or feels for a sign in a state; an entry of a job.

        Args:
            part: Whose sign to watch.
            sign: Which one.
            state: How the controls stand.
            wiggled: Zone where wires and plugs are moved by hand meanwhile.
            lead: Two terminals that a fused lead joins.
        """
        minutes = self.costs.sign_minutes + self._moving(state)
        how = ""
        if wiggled:
            minutes += self._opening(wiggled) + self.costs.wiggle_minutes
            how = f" wiggled at {wiggled}"
        if lead:
            minutes += self.costs.lead_minutes
            minutes += sum(self._opening(self._wiring.terminals[end].zone) for end in lead)
            how = f" lead {' '.join(lead)}"
        outcome = self._hand.notice(self._now(wiggled, lead), part, sign, dict(state))
        self.tally.signs += 1
        self._take(minutes, f"{part} {sign} {_short(state)}{how}: {outcome}")
        entry = self._entry(part, sign, state, outcome)
        if wiggled:
            entry["provoked"] = {"how": "wiggle", "zone": wiggled}
        if lead:
            entry["lead"] = list(lead)
        return entry

    def catch(
        self,
        watch: Watch,
        when: tuple[str, str],
        state: Mapping[str, str],
        *,
        tries: int,
    ) -> Json:
        """Tries until it does not run and notes what shows then; an entry of a job.

        Nobody mistakes a drive for none. If it runs each time, the entry says so.

        Args:
            watch: What stays in place, or is watched.
            when: Part and sign that tell whether it runs.
            state: How the controls stand.
            tries: As often at most.
        """
        minutes = self._moving(state)
        if watch.instrument:
            minutes += self._placing(watch.instrument, watch.red, watch.black)
            self.tally.probes += 1
        else:
            minutes += self.costs.sign_minutes
            self.tally.signs += 1
        done, vehicle = 0, self._now()
        while done < tries:
            done += 1
            vehicle = self._now()
            if vehicle.sign(*when, dict(state)) != "yes":
                break
        else:
            self._take(minutes + done * self.costs.try_minutes, f"{watch}: runs {done} times")
            entry = self._entry(*when, state, "yes")
            del entry["outcome"]
            return entry | {"tries": {"yes": done}}
        if watch.instrument:
            shown = self._hand.read(
                vehicle, watch.instrument, watch.red, watch.black, dict(state), isolated=False
            )
            entry = {"type": "reading", "instrument": watch.instrument}
            entry |= {"red": watch.red, "black": watch.black}
            entry |= {"state": dict(state), "visit": self.visit_number} | shown
        else:
            said = self._hand.notice(vehicle, watch.part, watch.sign, dict(state))
            entry = self._entry(watch.part, watch.sign, state, said)
        entry["when"] = {
            "part": when[0],
            "sign": when[1],
            "outcome": vehicle.sign(*when, dict(state)),
            "after": done - 1,
        }
        self._take(
            minutes + done * self.costs.try_minutes, f"{watch} {_short(state)} caught: {entry}"
        )
        return entry

    def look(self, component: str) -> bool:
        """Looks at a component; whether it seems damaged."""
        at = self._wiring.components[component]
        minutes = self._opening(at.zone) + at.look_minutes
        modes = [f.mode.rsplit("/", 1)[1] for f in self._faults if f.component == component]
        damaged = self._hand.look(component, modes[0] if modes else "")
        self.tally.looks += 1
        self._take(minutes, f"look at {component}: {'damage' if damaged else 'clean'}")
        return damaged

    def repair(self, component: str) -> None:
        """Replaces, cleans, splices or sets right; what was wrong there is gone."""
        at = self._wiring.components[component]
        left = [f for f in self._faults if f.component != component]
        good = len(left) == len(self._faults)
        self._faults = left
        self.tally.repairs += 1
        self.tally.parts_usd += at.price_usd
        self.tally.good_parts += good and at.action == "replace"
        self.tally.good_joints += good and at.action != "replace"
        self._take(
            self._opening(at.zone) + at.repair_minutes,
            f"{at.action} {component}{', which was good' if good else ''}",
        )

    def verify(self) -> tuple[bool, list[Json]]:
        """Drive test under load; whether every start succeeded, and its entries."""
        self.tally.verifications += 1
        entries = self._trial(self.costs.starts)
        runs = all(e.get("outcome") == "yes" for e in entries)
        self._take(self.costs.verify_minutes, f"drive test: {'runs' if runs else 'fails'}")
        return runs, entries

    def hand_back(self) -> None:
        """Gives the vehicle back as running. It returns if it was not mended."""
        if self._mended():
            self.tally.solved = self.over = True
            return
        self.tally.log.append("             comes back")
        self.tally.comebacks += 1
        if self.tally.visits >= self.costs.most_visits:
            self.over = True
            return
        self.tally.visits += 1
        self.visit_number += 1
        self.open_zones = set()
        self._state, self._isolated, self._black = {}, False, ""
        self._begin_visit()

    def give_up(self) -> None:
        """Ends the job without a cure."""
        self.over = True


def _short(state: Mapping[str, str]) -> str:
    return ",".join(state.values()) or "rest"
