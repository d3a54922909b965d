"""Bad input: each mistake is found, said in one line with its place, and does no harm."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import faultloom
import pytest
from faultloom.errors import Code

from small_cart import Document, small_job, small_vehicle

DATA = faultloom.data_path()
CART = faultloom.Model(small_vehicle())
Change = Callable[[Document], object]


def shipped(name: str) -> Document:
    document: Document = json.loads((DATA / name).read_text(encoding="utf-8"))
    return document


def reading(job: Document) -> Document:
    entry: Document = job["entries"][1]
    return entry


def ohms(value: float) -> Change:
    def change(job: Document) -> None:
        entry = reading(job)
        del entry["volts"]
        entry.update(instrument="ohmmeter", ohms=value, state={}, isolated=True)

    return change


JOB_MISTAKES: dict[str, tuple[Change, Code, str]] = {
    "unknown key": (lambda j: j.update(colour=1), Code.SCHEMA, "/colour"),
    "unknown key of a reading": (
        lambda j: reading(j).update(kilovolts=1),
        Code.SCHEMA,
        "/entries/1/kilovolts",
    ),
    "number as text": (lambda j: reading(j).update(volts="12 V"), Code.SCHEMA, "/entries/1/volts"),
    "unit of another instrument": (
        lambda j: reading(j).update(instrument="clamp"),
        Code.READING,
        "/entries/1",
    ),
    "two values": (lambda j: reading(j).update(ohms=3), Code.SCHEMA, "/entries/1"),
    "negative hours": (lambda j: j.update(exposure_hours=-1), Code.VALUE, "/exposure_hours"),
    "negative ohms": (ohms(-5.0), Code.VALUE, "/entries/1/ohms"),
    "not a number": (lambda j: reading(j).update(volts=math.nan), Code.SYNTAX, "/entries/1"),
    "infinite": (lambda j: reading(j).update(volts=math.inf), Code.SYNTAX, "/entries/1"),
    "missing terminal": (
        lambda j: reading(j).update(red="S1.inn"),
        Code.REFERENCE,
        "/entries/1/red",
    ),
    "missing part": (lambda j: reading(j).update(red="S9.in"), Code.REFERENCE, "/entries/1/red"),
    "missing instrument": (
        lambda j: reading(j).update(instrument="divining_rod"),
        Code.REFERENCE,
        "/entries/1/instrument",
    ),
    "missing control": (
        lambda j: reading(j).update(state={"kee": "on"}),
        Code.REFERENCE,
        "/entries/1/state/kee",
    ),
    "missing position": (
        lambda j: reading(j).update(state={"key": "maybe"}),
        Code.REFERENCE,
        "/entries/1/state/key",
    ),
    "missing component": (
        lambda j: j["entries"][5].update(component="W9"),
        Code.REFERENCE,
        "/entries/5/component",
    ),
    "withdrawn but never made": (
        lambda j: j.update(withdrawn=["e9"]),
        Code.REFERENCE,
        "/withdrawn/0",
    ),
    "two entries of one id": (
        lambda j: j["entries"][2].update(id="feed"),
        Code.DUPLICATE,
        "/entries/2/id",
    ),
    "another vehicle": (lambda j: j.update(vehicle="mulch-tug"), Code.REFERENCE, "/vehicle"),
    "no entries at all": (lambda j: j.pop("entries"), Code.SCHEMA, ""),
    "newer format": (lambda j: j.update(version="2.0"), Code.SCHEMA, "/version"),
}


@pytest.mark.parametrize("mistake", JOB_MISTAKES)
def test_a_mistake_in_a_job_is_found(mistake: str) -> None:
    change, code, pointer = JOB_MISTAKES[mistake]
    job = small_job()
    change(job)
    for call in (CART.rank, CART.next_step, CART.explain, CART.mode_posteriors, CART.mode_priors):
        with pytest.raises(faultloom.Error) as caught:
            call(job)
        problems = caught.value.problems
        assert [p for p in problems if p.code == code and p.pointer.startswith(pointer)], problems
        for problem in problems:
            assert "\n" not in problem.message
            assert len(str(problem)) < 600


TEXT_MISTAKES: dict[str, tuple[bytes, Code]] = {
    "empty": (b"", Code.SYNTAX),
    "blank": (b" \n", Code.SYNTAX),
    "cut off": (json.dumps(small_job()).encode()[:-40], Code.SYNTAX),
    "not UTF-8": (b'{"format": "\xff"}', Code.SYNTAX),
    "binary": (bytes(range(256)), Code.SYNTAX),
    "nested brackets": (b"[" * 10_000_000, Code.LIMIT),
    "nested objects": (b'{"a":' * 1_000_000, Code.LIMIT),
    "key given twice": (b'{"format": "faultloom.job", "id": "a", "id": "b"}', Code.DUPLICATE),
    "number too large": (b'{"format": 1e999}', Code.SYNTAX),
    "no object": (b"[]", Code.SCHEMA),
    "of no format": (b"{}", Code.SCHEMA),
    "of an unknown format": (b'{"format": "faultloom.poem"}', Code.SCHEMA),
}


@pytest.mark.parametrize("mistake", TEXT_MISTAKES)
def test_a_text_that_is_no_document_is_found(mistake: str) -> None:
    text, code = TEXT_MISTAKES[mistake]
    problems = faultloom.check_document(text)
    assert problems[0].code == code, problems
    with pytest.raises(faultloom.Error) as caught:
        CART.rank(text)
    assert caught.value.code == code
    with pytest.raises(faultloom.Error) as caught:
        faultloom.Model(text)
    assert caught.value.code == code


def set_at(*path: str | int, value: Any) -> Change:
    def change(document: Document) -> None:
        place: Any = document
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value

    return change


VEHICLE_MISTAKES: dict[str, tuple[Change, str]] = {
    "negative length": (set_at("wires", "W1", "length_metre", value=-1), "/wires/W1/length_metre"),
    "zero leakage": (set_at("leakage_ohm", value=0), "/leakage_ohm"),
    "unit left out": (set_at("wires", "W1", "length", value=1), "/wires/W1/length"),
    "wire to nowhere": (set_at("wires", "W1", "to", value="S1.inn"), "/wires/W1/to"),
    "unknown kind": (set_at("parts", "S1", "kind", value="flux_switch"), "/parts/S1/kind"),
    "unknown zone": (set_at("parts", "S1", "zone", value="attic"), "/parts/S1/zone"),
    "unknown rest": (set_at("controls", "key", "rest", value="maybe"), "/controls/key/rest"),
    "unknown parameter": (
        set_at("parts", "S1", "parameters", value={"speed": 1}),
        "/parts/S1/parameters/speed",
    ),
    "unknown datum": (set_at("datum", value="BAT9.negative"), "/datum"),
    "negative minutes": (
        set_at("zones", "bay", "open_minutes", value=-2),
        "/zones/bay/open_minutes",
    ),
}


@pytest.mark.parametrize("mistake", VEHICLE_MISTAKES)
def test_a_mistake_in_a_vehicle_is_found(mistake: str) -> None:
    change, pointer = VEHICLE_MISTAKES[mistake]
    vehicle = small_vehicle()
    change(vehicle)
    with pytest.raises(faultloom.Error) as caught:
        faultloom.Model(vehicle)
    assert [p for p in caught.value.problems if p.pointer == pointer], caught.value.problems
    assert faultloom.check_document(vehicle)[0].code == caught.value.code


def test_kinds_based_on_each_other_are_a_loop() -> None:
    kinds = shipped("kinds.json")
    kinds["kinds"]["dash_lamp"]["based_on"] = "tail_lamp"
    problems = faultloom.check_document(kinds)
    assert [p.name for p in problems] == ["loop"]
    assert "tail_lamp" in problems[0].message
    with pytest.raises(faultloom.Error, match="kinds document"):
        faultloom.Model(small_vehicle(), kinds=kinds)


def test_shares_of_modes_must_sum_to_one() -> None:
    rates = shipped("rates.json")
    modes = next(iter(rates["kinds"].values()))["modes"]
    modes[next(iter(modes))] += 0.5
    assert faultloom.check_document(rates)[0].code == Code.VALUE


def test_all_mistakes_are_told_at_once() -> None:
    job = small_job()
    for change, _, _ in (
        JOB_MISTAKES[m] for m in ("unknown key", "negative hours", "number as text")
    ):
        change(job)
    with pytest.raises(faultloom.Error) as caught:
        CART.rank(job)
    assert len(caught.value.problems) == 3


SITUATION_MISTAKES: dict[str, tuple[dict[str, Any], str]] = {
    "control": ({"state": {"kee": "on"}}, "/state/kee"),
    "position": ({"state": {"key": "maybe"}}, "/state/key"),
    "component": ({"modes": ["W9/open"]}, "/modes/0"),
    "mode": ({"modes": ["W1/open", "W2/rusty"]}, "/modes/1"),
    "end": ({"lifted": ["W1"]}, "/lifted/0"),
    "wire": ({"lifted": ["W9:to"]}, "/lifted/0"),
}


@pytest.mark.parametrize("mistake", SITUATION_MISTAKES)
def test_a_mistake_in_a_situation_is_found(mistake: str) -> None:
    situation, pointer = SITUATION_MISTAKES[mistake]
    for call in (CART.terminal_volts, CART.solve, CART.spice_deck):
        with pytest.raises(faultloom.Error) as caught:
            call(**situation)
        assert [p.pointer for p in caught.value.problems] == [pointer]


@pytest.mark.parametrize(
    ("options", "pointer"),
    [
        ({"top": -1}, "/top"),
        ({"top": 10**9}, "/top"),
        ({"bound": 1.5}, "/bound"),
        ({"bound": -1.0}, "/bound"),
        ({"budget_seconds": -1}, "/budget_seconds"),
        ({"budget_seconds": 3601}, "/budget_seconds"),
        ({"budget_sets": -1}, "/budget_sets"),
        ({"budget_sets": 10**9 + 1}, "/budget_sets"),
    ],
)
def test_an_option_out_of_range_is_found(options: dict[str, Any], pointer: str) -> None:
    for call in (CART.rank, CART.explain):
        with pytest.raises(faultloom.Error) as caught:
            call(small_job(), **options)
        assert caught.value.pointer == pointer


@pytest.mark.parametrize(
    ("options", "pointer"),
    [
        ({"instruments": ["divining_rod"]}, "/instruments/0"),
        ({"closed_zones": ["bay", "attic"]}, "/closed_zones/1"),
        ({"alternatives": -3}, "/alternatives"),
        ({"max_minutes": -1}, "/max_minutes"),
        ({"authorized_usd": -0.5}, "/authorized_usd"),
        ({"budget_seconds": 3601}, "/budget_seconds"),
        ({"budget_decisions": -1}, "/budget_decisions"),
    ],
)
def test_a_constraint_that_means_nothing_is_found(options: dict[str, Any], pointer: str) -> None:
    with pytest.raises(faultloom.Error) as caught:
        CART.next_step(small_job(), **options)
    assert caught.value.pointer == pointer


@pytest.mark.parametrize(
    ("options", "pointer"),
    [
        ({"instruments": ["meter", "divining_rod"]}, "/instruments/1"),
        ({"closed_zones": ["attic"]}, "/closed_zones/0"),
        ({"allow_live": "no"}, "/allow_live"),
        ({"looks": 1}, "/looks"),
        ({"lifting": []}, "/lifting"),
        ({"top": -1}, "/top"),
    ],
)
def test_a_reach_that_means_nothing_is_found(options: dict[str, Any], pointer: str) -> None:
    for call in (lambda **given: CART.ambiguity(small_job(), **given), CART.testability):
        with pytest.raises(faultloom.Error) as caught:
            call(**options)
        assert caught.value.pointer == pointer


@pytest.mark.parametrize(
    "csv", [b"", b"wire,from\nW1,A.x\n", b"wire,from,to\nW1,A.x,\n", b"\xff\xfe"]
)
def test_a_run_list_that_is_none_is_found(csv: bytes) -> None:
    with pytest.raises(faultloom.Error) as caught:
        faultloom.vehicle_from_run_list(csv, "cart")
    assert caught.value.problems[0].message
