"""Makes the invented seasons of the Fernhollow Botanic Garden: forty vehicles, 600 closed jobs.

Usage: make_season.py FOLDER [--seed N]

Writes into FOLDER
  histories/fernhollow-seasons.json   the closed jobs, and the hours without one
  fleets/fernhollow-monday.json       the morning after: what waits and what runs
  fleets/fernhollow-monday.csv        the same as a table

How it comes about:
- Week by week each vehicle runs its hours, and faults are drawn from the shipped rates for its
  surroundings, by `whole_jobs.draw`, with the deviations in `LEVEL`, `DEVIATIONS` and `PER_VISIT`.
  Events that hit a whole loom or connector are among them.
- Every Monday somebody drives each vehicle, so what it was found with broke within the week: that
  is its exposure, and the weeks without a job are the hours without a failure.
- What stops it in a direction becomes a job; of what does not, one in five is noticed all the same
  (the figure that learning assumes), the rest is mended at the next service without a note.
- From job 481 on findings are noted: what the driver says, a trial, signs and readings,
  solved by ngspice with the vehicle's own values, noticed and read by somebody who errs as
  `whole_jobs.hand` says. Of one in five of these jobs nobody saw the cause.
- On the last Monday nine vehicles are down with faults drawn like any others, and five of the six
  that stand at charger C3 have their charge interlock stuck after a surge on Sunday night.

The same seed gives the same files. Needs the shared library of ngspice.
"""

from __future__ import annotations

import argparse
import copy
import csv
import datetime
import io
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import faultloom
import numpy as np
from whole_jobs.circuit import Fault
from whole_jobs.draw import Draw, Truth, drive_states
from whole_jobs.hand import Errors, Hand
from whole_jobs.shop import Shop
from whole_jobs.spice import Spice

Json = dict[str, Any]

SEED = 2026
JOBS = 600
BEGIN = datetime.date(2024, 3, 4)
NOTED_FROM = 481
LEVEL = 5.0
"""Every part fails so many times as often as shipped: old vehicles, hills, long days. What hits
whole looms and connectors does not: learning leaves its rates alone."""
DEVIATIONS: Mapping[str, float] = {
    "contactor": 2.0,
    "pedal_switch": 2.0,
    "fuse": 0.5,
    "battery_block": 1.5,
}
"""And these so many times on top of that."""
PER_VISIT = 0.0
"""Nothing is left set wrong and nothing is there from earlier hands: drivers try the settings
before they complain, and nobody but the workshop works on the vehicles."""
NOTICED = 0.2
CONFIRMED = 0.8
ONLY_COMPONENT = 0.1
DOWN_ON_MONDAY = 9
SURGED = 5
SURGE_CHARGER = "C3"
SURGE_FAULT = "S6/stuck_charging"
SURGE_POINTS = ("S6.a", "S6.b")
MEASURED = 2
"""Of each model at the charger so many were measured at the interlock before the list was made."""

SITES: Sequence[tuple[str, str]] = (
    ("glasshouses", "dry"),
    ("arboretum", "outdoor"),
    ("compost yard", "dusty"),
    ("lake shore", "wet"),
    ("herb garden", "outdoor"),
)
MODELS: Sequence[tuple[str, str, int]] = (
    ("mulch-tug", "T", 14),
    ("orchid-runner", "R", 14),
    ("seedling-hauler", "H", 12),
)


@dataclass(frozen=True)
class Cart:
    """One of the forty."""

    id: str
    vehicle: str
    site: str
    environment: str
    charger: str
    build_batch: str
    battery_batch: str
    week_hours: float
    usd_per_day: float


def make_yard(rng: np.random.Generator) -> list[Cart]:
    """The garden's vehicles; those at charger C3 are tugs and haulers, which have a reed there."""
    carts = []
    for vehicle, letter, count in MODELS:
        for number in range(1, count + 1):
            site, environment = SITES[int(rng.integers(len(SITES)))]
            at_surge = vehicle != "orchid-runner" and number <= 3
            others = [f"C{k}" for k in range(1, 9) if f"C{k}" != SURGE_CHARGER]
            carts.append(
                Cart(
                    f"{letter}{number:02}",
                    vehicle,
                    site,
                    environment,
                    SURGE_CHARGER if at_surge else str(rng.choice(others)),
                    f"{letter}-{2016 + 2 * int(rng.integers(3))}",
                    f"blocks of {('spring', 'autumn')[int(rng.integers(2))]} "
                    f"{2022 + int(rng.integers(3))}",
                    float(rng.integers(30, 70)),
                    float(rng.choice([40, 60, 85, 120])),
                )
            )
    return carts


class Workshop:
    """Draws what happens to vehicles and writes it down.

    Args:
        seed: Of everything that is drawn.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self.spice = Spice()
        self.data = {name: _document(f"{name}.json") for name in ("kinds", "rates", "instruments")}
        self.models = {v: faultloom.Model.shipped(v) for v, _, _ in MODELS}
        self._vehicles = {v: _document(f"vehicles/{v}.json") for v, _, _ in MODELS}
        self._stops: dict[tuple[str, tuple[str, ...]], bool] = {}

    def rng(self, *purpose: int) -> np.random.Generator:
        """A stream of its own for each purpose, so that one thing more changes nothing else."""
        return np.random.default_rng([self._seed, *purpose])

    def draw_of(self, cart: Cart, hours: float) -> Draw:
        """Draws what breaks on a vehicle in so many hours."""
        vehicle = copy.deepcopy(self._vehicles[cart.vehicle])
        for family in ("parts", "wires", "connectors"):
            for member in vehicle.get(family, {}).values():
                member.setdefault("environment", cart.environment)
        rates = {**self.data["rates"], "exposure_hours": hours}
        factors = {k: LEVEL * DEVIATIONS.get(k, 1.0) for k in rates["kinds"]}
        factors |= dict.fromkeys(rates["per_visit"], PER_VISIT)
        return Draw(vehicle, self.data["kinds"], rates, self.spice, factors)

    def stops(self, cart: Cart, faults: Iterable[Fault]) -> bool:
        """Whether a vehicle fails to drive in a direction while all faults show."""
        modes = tuple(sorted(fault.mode for fault in faults))
        key = (cart.vehicle, modes)
        if key not in self._stops:
            run = self._vehicles[cart.vehicle]["run_state"]
            states = [run, *(_reversed(run, c) for c in ("selector", "butterfly") if c in run)]
            solved = [self.models[cart.vehicle].solve(state, modes) for state in states]
            self._stops[key] = any(answer.signs["M1.turns"] != "yes" for answer in solved)
        return self._stops[key]

    # -- findings ---------------------------------------------------------------------------------

    def findings(
        self,
        cart: Cart,
        draw: Draw,
        faults: tuple[Fault, ...],
        rng: np.random.Generator,
        also: Sequence[str] = (),
    ) -> list[Json] | None:
        """Entries of a job up to the first repair; None if it drives after all.

        Args:
            cart: Whose job it is.
            draw: Of that vehicle.
            faults: What is wrong.
            rng: Of values, slips and choices.
            also: Further points to put the red probe on.
        """
        factors = draw.own_values(rng)
        wiring = draw.build(factors)
        dead = draw.dead_directions(wiring, faults)
        if not dead:
            return None
        hand = Hand(wiring, self.data["instruments"]["instruments"], Errors(), rng)
        truth = Truth(faults, factors, dead, "")
        shop = Shop(
            truth, wiring, self.spice, self.data["instruments"]["instruments"], hand, rng=rng
        )
        entries = shop.intake()
        state = drive_states(wiring)[dead[0]]
        for part, sign in (("H1", "lit"), ("H2", "lit"), ("K1", "click")):
            if (part, sign) in wiring.signs and rng.random() < 0.8:
                entries.append(shop.notice(part, sign, state))
        for red in (*_points(draw, rng), *also):
            instrument = "filament_lamp" if rng.random() < 0.25 else "meter"
            if cart.vehicle != "seedling-hauler":
                instrument = "meter"  # the garden's lamp is for 48 V
            entries.append(shop.read(instrument, red, wiring.datum, state))
        for entry in entries:
            entry.pop("visit", None)
            if "volts" in entry:
                entry["volts"] = round(entry["volts"], 3)
        return [{"id": f"e{i + 1}", **entry} for i, entry in enumerate(entries)]


def _document(name: str) -> Json:
    document: Json = json.loads((faultloom.data_path() / name).read_text(encoding="utf-8"))
    return document


def _reversed(state: Mapping[str, str], control: str) -> dict[str, str]:
    return {**state, control: "reverse"}


def _points(draw: Draw, rng: np.random.Generator) -> list[str]:
    """Where the red probe goes: a few points of the control and power circuit."""
    usual = ("K1.coil_feed", "K1.coil_return", "K1.load", "K1.line", "S1.out", "S2.out", "S5.no")
    there = [point for point in usual if point in draw.wiring.terminals]
    count = int(rng.integers(1, 4))
    return [str(point) for point in rng.choice(there, size=count, replace=False)]


# -- the seasons -----------------------------------------------------------------------------------


@dataclass
class Record:
    """What is written down of the seasons."""

    jobs: list[Json]
    since_job: dict[str, float]
    good_hours: dict[str, float]
    monday: datetime.date = BEGIN


def live_through(shop: Workshop, carts: Sequence[Cart]) -> Record:
    """All weeks of all vehicles, until enough jobs are closed."""
    record = Record([], {cart.id: 0.0 for cart in carts}, {cart.id: 0.0 for cart in carts})
    streams = {cart.id: shop.rng(1, i) for i, cart in enumerate(carts)}
    draws = {cart.id: shop.draw_of(cart, cart.week_hours) for cart in carts}
    while len(record.jobs) < JOBS:
        for cart in carts:
            record.since_job[cart.id] += cart.week_hours
            rng = streams[cart.id]
            faults = draws[cart.id].faults(rng)
            job = faults and _happens(shop, cart, draws[cart.id], faults, rng=rng, record=record)
            if not job:
                record.good_hours[cart.id] += cart.week_hours
        record.monday += datetime.timedelta(days=7)
    return record


def _happens(
    shop: Workshop,
    cart: Cart,
    draw: Draw,
    faults: tuple[Fault, ...],
    *,
    rng: np.random.Generator,
    record: Record,
) -> bool:
    """Faults of a week: a job, or nothing that anybody notes. Whether it is a job."""
    stopped = shop.stops(cart, faults)
    if len(record.jobs) >= JOBS or (not stopped and rng.random() >= NOTICED):
        return False
    day = record.monday + datetime.timedelta(days=int(rng.integers(7)))
    job: Json = {
        "id": f"job-{len(record.jobs) + 1:03}",
        "vehicle": cart.vehicle,
        "exposure_hours": cart.week_hours,
        "environment": cart.environment,
        "closing": {"verdict": "repaired", "by": "verification"},
        "x-cart": cart.id,
        "x-day": day.isoformat(),
    }
    seen = True
    if len(record.jobs) + 1 >= NOTED_FROM and stopped:
        entries = shop.findings(cart, draw, faults, rng)
        if entries is None:
            return False
        job["entries"] = entries
        seen = rng.random() < CONFIRMED
    if seen:
        whole = rng.random() >= ONLY_COMPONENT
        job["confirmed"] = [f.mode if whole else f.component for f in faults]
    record.jobs.append(job)
    record.since_job[cart.id] = 0.0
    return True


def history_text(record: Record, carts: Sequence[Cart]) -> str:
    """The history document, a job a line."""
    jobs = [json.dumps(job, ensure_ascii=False) for job in record.jobs]
    running = [
        json.dumps(
            {
                "vehicle": cart.vehicle,
                "hours": record.good_hours[cart.id],
                "environment": cart.environment,
                "note": cart.id,
            }
        )
        for cart in carts
    ]
    deviations = ", ".join(f"{name} {factor:g}" for name, factor in DEVIATIONS.items())
    head = {
        "format": "faultloom.history",
        "version": "1.0",
        "title": "Fernhollow Botanic Garden, forty vehicles",
        "source": "Invented: drawn by examples/python/make_season.py from the shipped rates, "
        f"every part {LEVEL:g} times as often, and on top of that by kind: {deviations}. "
        "Nothing left set wrong, nothing from earlier hands.",
        "license": "CC0-1.0",
        "seen": "all",
    }
    opening = json.dumps(head, indent=2)[:-2]
    return (
        f"{opening},\n"
        + '  "jobs": [\n    '
        + ",\n    ".join(jobs)
        + '\n  ],\n  "running": [\n    '
        + ",\n    ".join(running)
        + "\n  ]\n}\n"
    )


# -- Monday ----------------------------------------------------------------------------------------


def monday(shop: Workshop, carts: Sequence[Cart], record: Record) -> Json:
    """The fleet document of the morning after."""
    rng = shop.rng(2)
    surged = [c for c in carts if c.charger == SURGE_CHARGER][:SURGED]
    others = [c for c in carts if c.charger != SURGE_CHARGER]
    down = [others[int(i)] for i in rng.choice(len(others), size=DOWN_ON_MONDAY, replace=False)]
    rows = []
    for i, cart in enumerate(carts):
        row = _as_row(cart, record)
        if cart in surged or cart in down:
            row |= _complaint(shop, cart, record.monday, surged=cart in surged, rng=shop.rng(3, i))
        rows.append(row)
    rows[_place(rows, down[0])]["unsafe"] = True
    rows[_place(rows, down[1])]["needed_by"] = f"{record.monday}T11:00"
    rows[_place(rows, down[2])]["needed_by"] = f"{record.monday}"
    return {
        "format": "faultloom.fleet",
        "version": "1.0",
        "title": f"Fernhollow Botanic Garden, Monday {record.monday}",
        "source": "Invented: made by examples/python/make_season.py. A surge on Sunday night left "
        f"the charge interlocks of {SURGED} vehicles at charger {SURGE_CHARGER} stuck.",
        "license": "CC0-1.0",
        "begins": f"{record.monday}T07:30",
        "vehicles": rows,
    }


def _place(rows: Sequence[Json], cart: Cart) -> int:
    return next(i for i, row in enumerate(rows) if row["id"] == cart.id)


def _as_row(cart: Cart, record: Record) -> Json:
    return {
        "id": cart.id,
        "vehicle": cart.vehicle,
        "exposure_hours": record.since_job[cart.id] + cart.week_hours,
        "environment": cart.environment,
        "site": cart.site,
        "charger": cart.charger,
        "build_batch": cart.build_batch,
        "battery_batch": cart.battery_batch,
        "downtime_usd_per_day": cart.usd_per_day,
    }


def _complaint(
    shop: Workshop,
    cart: Cart,
    monday_: datetime.date,
    *,
    surged: bool,
    rng: np.random.Generator,
) -> Json:
    """What is known of a vehicle that is down."""
    draw = shop.draw_of(cart, cart.week_hours)
    entries = None
    while entries is None:
        faults = (Fault(SURGE_FAULT),) if surged else draw.truth(rng).faults
        also = SURGE_POINTS if surged and int(cart.id[1:]) <= MEASURED else ()
        entries = shop.findings(cart, draw, faults, rng, also)
    if surged:
        # The round on Monday morning: plugs are out, and the drivers say what was before.
        entries.append({"id": "e90", "type": "cue", "cue": "after_charging", "outcome": "yes"})
        look = {"id": "e91", "type": "look", "component": "charge_plug", "outcome": "set_right"}
        entries.append(look)
    day = monday_ if surged else monday_ - datetime.timedelta(days=int(rng.integers(1, 6)))
    click = next((e["outcome"] for e in entries if e.get("sign") == "click"), "")
    words = {"yes": "clicks, but does not go", "no": "does nothing at all"}
    return {
        "complained": f"{day}T{int(rng.integers(6, 8)):02}:{int(rng.integers(60)):02}",
        "complaint": words.get(click, "will not run") + (", was on charge" if surged else ""),
        "entries": entries,
    }


def in_words(entry: Mapping[str, Any]) -> str:
    """An entry in the words of the bench."""
    if entry["type"] == "look":
        return f"looked at {entry['component']}, {entry['outcome'].replace('_', ' ')}"
    state = ", ".join(f"{control} {position}" for control, position in entry["state"].items())
    if entry["type"] == "sign":
        return f"{entry['part']} {entry['sign']} {entry['outcome']}, {state}"
    probes = f"red {entry['red']}, black {entry['black']}, {state}"
    if "volts" in entry:
        return f"{entry['volts']:.2f} V, {probes}"
    return f"{entry['instrument']} {entry['outcome']}, {probes}"


COLUMNS = (
    *("id", "vehicle", "status", "hours", "environment", "complained", "complaint", "found"),
    "cues",
    *("downtime_usd_per_day", "needed_by", "unsafe", "site", "charger", "build_batch"),
    "battery_batch",
)


def table_text(fleet: Json) -> str:
    """The fleet as a table."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for vehicle in fleet["vehicles"]:
        entries = vehicle.get("entries", [])
        found = " | ".join(in_words(entry) for entry in entries if entry["type"] != "cue")
        cues = " | ".join(entry["cue"] for entry in entries if entry["type"] == "cue")
        cells = {
            **vehicle,
            "status": "open" if "entries" in vehicle else "running",
            "hours": f"{vehicle['exposure_hours']:g}",
            "found": found,
            "cues": cues,
            "unsafe": "yes" if vehicle.get("unsafe") else "",
            "downtime_usd_per_day": f"{vehicle['downtime_usd_per_day']:g}",
        }
        writer.writerow([cells.get(name, "") for name in COLUMNS])
    return stream.getvalue()


def fleet_text(fleet: Json) -> str:
    """The fleet document, a vehicle a line."""
    rows = [json.dumps(row, ensure_ascii=False) for row in fleet["vehicles"]]
    opening = json.dumps({k: v for k, v in fleet.items() if k != "vehicles"}, indent=2)[:-2]
    return f'{opening},\n  "vehicles": [\n    ' + ",\n    ".join(rows) + "\n  ]\n}\n"


def files(seed: int = SEED) -> dict[str, str]:
    """All files by their names below the folder."""
    shop = Workshop(seed)
    carts = make_yard(shop.rng(0))
    record = live_through(shop, carts)
    fleet = monday(shop, carts, record)
    return {
        "histories/fernhollow-seasons.json": history_text(record, carts),
        "fleets/fernhollow-monday.json": fleet_text(fleet),
        "fleets/fernhollow-monday.csv": table_text(fleet),
    }


def main(arguments: Sequence[str]) -> int:
    """Runs the example."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--seed", type=int, default=SEED, metavar="N")
    given = parser.parse_args(arguments)
    for name, text in files(given.seed).items():
        file = given.folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8", newline="\n")
        print(f"{file}: {len(text.encode()):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
