"""Pages to look at: those of the demo jobs, and one whose names are made to do harm."""

from __future__ import annotations

import copy
import json
from dataclasses import dataclass
from functools import cache
from typing import Any

import faultloom
from faultloom.pages import Marks, Sources, harness_drawing, job_estimate, job_sheet, marks_of

DATA = faultloom.data_path()
VEHICLES = ("mulch-tug", "orchid-runner", "seedling-hauler")
JOBS = sorted(path.stem for path in (DATA / "jobs").glob("*.json"))
KINDS: dict[str, Any] = json.loads((DATA / "kinds.json").read_bytes())["kinds"]

HARM = (
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>&amp;{{7*7}}",
    "W" * 200,
    "\u202e\u05de\u05e0\u05d5\u05e2 \u0645\u062d\u0631\u0643\u202c \u0627\u0644\u062f\u0641\u0639",
    "\U0001f469\u200d\U0001f527\U0001f6dc\ufe0f" * 12,
    "\u96fb\u52d5\u8eca" * 30,
    "]]>--><!-- </title></style>",
)
LONG = "K" + "9x_" * 21


@dataclass(frozen=True)
class Page:
    """A job with all of its pages."""

    job: dict[str, Any]
    vehicle: dict[str, Any]
    marks: Marks
    drawing: str
    suspects: str
    sheet: str
    estimate: str


def read(folder: str, name: str) -> dict[str, Any]:
    """A shipped document."""
    document: dict[str, Any] = json.loads((DATA / folder / f"{name}.json").read_bytes())
    return document


@cache
def page(name: str) -> Page:
    """The pages of a demo job, or "hostile"."""
    if name == "hostile":
        return make(*hostile(), authorized_usd=40)
    job = read("jobs", name)
    return make(job, read("vehicles", job["vehicle"]))


def make(job: dict[str, Any], vehicle: dict[str, Any], authorized_usd: float | None = None) -> Page:
    """All pages of a job. The belief is a coarse one: what it says does not matter here."""
    model = faultloom.Model(vehicle)
    sources = Sources.of(job, vehicle, model)
    ranking = model.rank(job, top=200, budget_sets=400)
    closed = "closing" in job
    advice = None if closed else model.next_step(job, budget_sets=200)
    plan = None if closed else model.plan(job, budget_sets=200, depth=3)
    marks = marks_of(ranking, job)
    heading = job.get("title", job["id"])
    return Page(
        job,
        vehicle,
        marks,
        harness_drawing(vehicle, KINDS, marks, heading=heading, note=job["id"]),
        harness_drawing(vehicle, KINDS, marks, heading=heading, suspects_only=True),
        job_sheet(sources, ranking, model.verification(job), advice),
        job_estimate(sources, ranking, plan, authorized_usd),
    )


def hostile() -> tuple[dict[str, Any], dict[str, Any]]:
    """A job and its vehicle with harm in every text, and the longest id where a part is named."""
    text = json.dumps(read("vehicles", "mulch-tug"))
    for end in ('"', "."):
        text = text.replace(f'"K1{end}', f'"{LONG}{end}')
    vehicle = json.loads(text)
    turn = 0
    for group in ("parts", "connectors", "looms", "zones", "controls"):
        for thing in vehicle[group].values():
            thing["title"] = HARM[turn % len(HARM)][:200]
            turn += 1
    vehicle["title"] = HARM[0]
    job = copy.deepcopy(read("jobs", "compost-yard-dead-tug"))
    job = json.loads(json.dumps(job).replace('"K1"', f'"{LONG}"').replace('"K1.', f'"{LONG}.'))
    job["title"] = HARM[3] + HARM[1]
    job["complaint"] = " ".join(HARM)
    for k, entry in enumerate(job["entries"]):
        entry["note"] = HARM[k % len(HARM)]
    state = {"key": "on", "tiller": "lowered", "butterfly": "forward"}
    job["entries"] += [
        {
            "id": f"x{k}",
            "type": "reading",
            "instrument": "meter",
            "red": f"{LONG}.coil_feed",
            "black": "BAT1.negative",
            "state": state,
            "volts": 0.01 * k,
            "note": HARM[2],
        }
        for k in range(9)
    ]
    return job, vehicle
