"""Drawings, sheets and estimates as text: what they say, that they are sound, and the commands."""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import faultloom
import pytest
from conftest import Run
from faultloom.pages import cut_after, diagnosis_of, harness_drawing, write_whole
from faultloom.pages import style as page_style
from faultloom.pages.harness import read_harness
from faultloom.pages.layout import Layout, lay_out
from faultloom.pages.marks import Marks, entries_of, step_of
from faultloom.pages.parts import work_on
from faultloom.pages.text import clean, fit, rounded, width
from printed import DATA, HARM, JOBS, KINDS, LONG, VEHICLES, make, page, read

SVG = "{http://www.w3.org/2000/svg}"
VOID = {"meta", "br", "col", "link", "img", "input", "hr"}
EVERY = [*JOBS, "hostile"]


class Reader(HTMLParser):
    """Checks that tags are closed in order, and keeps what they are."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs)
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.said.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.said).split())


def html_pages(name: str) -> tuple[str, str]:
    return page(name).sheet, page(name).estimate


@pytest.mark.parametrize("name", EVERY)
def test_nothing_is_fetched_and_nothing_runs(name: str) -> None:
    for text in html_pages(name):
        read_page = Reader(text)
        assert not {"script", "img", "link", "iframe", "object", "base", "a"} & {
            tag for tag, _ in read_page.tags
        }
        for _, attributes in read_page.tags:
            assert not {"src", "href", "xlink:href", "srcset", "action"} & attributes.keys()
            assert not [a for a in attributes if a.startswith("on")]
        assert "url(" not in text
        assert "@import" not in text
    for drawn in (page(name).drawing, page(name).suspects):
        root = ET.fromstring(drawn)
        assert {node.tag.removeprefix(SVG) for node in root.iter()} <= {
            *("svg", "title", "style", "g", "rect", "path", "text", "circle")
        }
        for node in root.iter():
            assert not [a for a in node.attrib if "href" in a or a.startswith("on")]


def test_harm_in_names_stays_text() -> None:
    said = Reader(page("hostile").sheet).text
    for text in HARM[:2]:
        assert clean(text) in said
    assert "{{7*7}}" in said
    titles = {t.text for t in ET.fromstring(page("hostile").drawing).iter(f"{SVG}title")}
    assert HARM[2] in titles  # a long name is cut on the page and whole beside it
    drawn = "".join(ET.fromstring(page("hostile").drawing).itertext())
    assert "<script>" in drawn
    assert LONG in drawn
    assert "\u202e" not in drawn + said


@pytest.mark.parametrize("name", EVERY)
def test_the_sheet_holds_every_entry(name: str) -> None:
    job = page(name).job
    said = Reader(page(name).sheet).text
    assert clean(job["complaint"]) in said
    for entry in entries_of(job):
        assert clean(entry.get("note", "")) in said
        if entry["type"] == "reading":
            assert f"red {entry['red']}, black {entry['black']}" in said
    for entry in job.get("withdrawn", []):
        assert f" {entry} " not in said


def test_what_was_noticed_at_a_failure_says_when() -> None:
    job = read("jobs", "compost-yard-dead-tug")
    run = read("vehicles", "mulch-tug")["run_state"]
    when = {"part": "M1", "sign": "turns", "outcome": "no"}
    click = {"type": "sign", "part": "K1", "sign": "click", "outcome": "no", "state": run}
    job["entries"] += [
        {**click, "id": "c1", "when": when},
        {**click, "id": "c2", "when": {**when, "after": 1}},
        {**click, "id": "c3", "when": {**when, "after": 4}},
    ]
    said = Reader(make(job, read("vehicles", "mulch-tug")).sheet).text
    for end in ("", ", after 1 other try", ", after 4 other tries"):
        assert len(re.findall(rf"when M1 turns: no{end}(?!,)", said)) == 1


def test_a_closed_job_says_what_was_done_and_proved() -> None:
    said = Reader(page("fern-walk-spliced").sheet).text
    for words in (
        "Repaired",
        "splice: wire W21 from X1-4.plug to K1.coil_feed",
        "crimped, sealed, tied away from the edge",
        "Every check on this sheet was made and passed.",
        "Whole loom looked at and tied up.",
    ):
        assert words in said
    row = re.search(r"At most 0\.05 V from X1-4\.plug.*?e10", said)
    assert row
    assert "passed 50.3 V 0.01 V 0.05 V" in row.group()
    # Splice 30 min and $15 by kinds.json, contactor bay 5 + 4 min by the vehicle, $95 an hour.
    assert "30 min 9 min $62 $15 In all 39 min $77" in said


def test_an_open_job_names_suspects_and_what_is_next() -> None:
    said = Reader(page("orchard-burnt-contacts").sheet).text
    assert "Cause, not settled K1 main contactor: 9" in said
    assert "Nothing was repaired so far." in said
    assert "Nobody has decided yet" in said
    assert " Next " in said


def test_the_estimate_asks_first_above_the_cap() -> None:
    said = Reader(page("hostile").estimate).text
    assert "Authorized: $40" in said
    assert "Authorized: $ ____" in Reader(page("rose-walk-no-click").estimate).text
    assert "Nothing is left to be done" in Reader(page("fern-walk-spliced").estimate).text
    burnt = read("jobs", "orchard-burnt-contacts")
    estimate = make(burnt, read("vehicles", burnt["vehicle"]), authorized_usd=100).estimate
    asked = re.findall(r"<b>\$([0-9.]+)</b></td>\s*<td( class=\"bad\">ask first)?", estimate)
    assert asked
    for price, ask in asked:
        assert (float(price) > 100) == bool(ask)
    # A contactor at $95 an hour; both places are open already.
    repair = KINDS["contactor_plain"]["repair"]
    whole = repair["price_usd"] + 95 * repair["minutes"] / 60
    assert asked[0] == (f"{whole:.0f}", ' class="bad">ask first')
    assert "The expected total is above it by $" in estimate


def test_diagnosis_is_what_the_tests_of_a_plan_cost() -> None:
    plan = faultloom.Model.shipped("mulch-tug").plan(
        DATA / "jobs" / "compost-yard-dead-tug.json", depth=4, budget_sets=200
    )
    found = diagnosis_of(plan)
    by_id = {step["id"]: step for step in plan["steps"]}

    def ways(step: dict[str, Any], reach: float) -> tuple[float, float]:
        """Mean and most from a step on, by walking every branch."""
        own = 0.0 if step["type"] in ("repair", "authorize", "verify") else step["cost_usd"]
        mean, most = reach * own, 0.0
        for outcome in step["outcomes"]:
            if "step" in outcome:
                more, longest = ways(by_id[outcome["step"]], reach * outcome["probability"])
                mean, most = mean + more, max(most, longest)
        return mean, most + own

    mean, most = ways(by_id[1], 1.0)
    assert found.usd == pytest.approx(mean, rel=1e-6)
    assert found.most_usd == pytest.approx(most)
    assert 0 < found.minutes <= found.most_minutes


def test_a_repair_costs_time_place_and_part() -> None:
    vehicle, job = read("vehicles", "mulch-tug"), {"labour_usd_per_hour": 60}
    common: dict[str, Any] = {"vehicle": vehicle, "kinds": KINDS, "job": job}
    repair = KINDS["contactor_plain"]["repair"]
    closed = work_on("K1", "", opened=(), **common)
    assert closed.part_usd == repair["price_usd"]
    assert closed.labor_usd == repair["minutes"] + 6 + 5  # front cover, $1 a minute
    assert work_on("K1", "", opened={"control_bay"}, **common).labor_usd == repair["minutes"]
    assert work_on("W7", "", opened=(), **common).action == "splice"
    assert work_on("X1-1", "", opened=(), **common).zone == "control_bay"
    wrong = work_on("charge_plug", "", opened=(), **common)
    assert (wrong.action, wrong.total_usd) == ("set right", 0.5)


# -- drawings --------------------------------------------------------------------------------------


@pytest.mark.parametrize("vehicle_id", VEHICLES)
def test_everything_of_a_vehicle_is_drawn(vehicle_id: str) -> None:
    vehicle = read("vehicles", vehicle_id)
    root = ET.fromstring(harness_drawing(vehicle, KINDS))
    texts = [t.text or "" for t in root.iter(f"{SVG}text")]
    for name in (*vehicle["parts"], *vehicle["connectors"]):
        assert texts.count(name) == 1
    for wire in vehicle["wires"]:
        assert texts.count(wire) == 2  # at both of its ends
    for thing in (*vehicle["zones"].values(), *vehicle["looms"].values()):
        assert any(thing["title"] in text for text in texts)


@pytest.mark.parametrize("name", JOBS)
def test_suspects_and_readings_are_marked(name: str) -> None:
    texts = [t.text or "" for t in ET.fromstring(page(name).drawing).iter(f"{SVG}text")]
    marks = page(name).marks
    for suspect, share in marks.shares.items():
        if step_of(share) and suspect in (
            *page(name).vehicle["parts"],
            *page(name).vehicle["wires"],
        ):
            assert marks.share(suspect) in texts
    for probes in marks.probed.values():
        for probe in (p for p in probes if p.sign == "+"):
            assert f"{probe.entry} + {probe.value}" in texts


def test_suspicion_without_a_place_is_told() -> None:
    vehicle = read("vehicles", "mulch-tug")
    marks = Marks(
        {"charge_plug": 0.31, "K1": 0.2}, outside=[("Nothing is broken", 0.46), ("x", 0.01)]
    )
    texts = {
        t.text for t in ET.fromstring(harness_drawing(vehicle, KINDS, marks)).iter(f"{SVG}text")
    }
    assert {"Charge plug (charge_plug) set wrong: 31 %", "Nothing is broken: 46 %", "20 %"} <= texts
    assert "x: 1.0 %" not in texts


@pytest.mark.parametrize("command", ["drawing", "sheet"])
def test_the_same_job_gives_the_same_bytes(command: str) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    runs = [
        subprocess.run(
            [sys.executable, "-m", "faultloom", command, job],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert len(runs[0]) > 10000
    assert runs[0] == runs[1]


def random_vehicle(seed: int) -> dict[str, Any]:
    """Parts and wires at random; only what drawings read."""
    draw = random.Random(seed)
    zones = [f"z{k}" for k in range(draw.randint(1, 5))]
    kinds = ["fuse", "contactor", "bus_stud", "heavy_selector", "motor_series", "key_switch"]
    parts = {
        f"A{k}": {"kind": draw.choice(kinds), "zone": draw.choice(zones), "title": "t" * k}
        for k in range(draw.randint(1, 30))
    }
    ends = [
        f"{name}.{terminal}"
        for name, part in parts.items()
        for terminal in (
            KINDS[part["kind"]].get("terminals") or KINDS["contactor_plain"]["terminals"]
        )
    ]
    wires = {
        f"W{k}": {
            "from": draw.choice(ends),
            "to": draw.choice(ends),
            "loom": draw.choice(["one", "two", "three"]),
        }
        for k in range(draw.randint(0, 80))
    }
    return {"id": "v", "zones": {z: {} for z in zones}, "parts": parts, "wires": wires}


def crossings_of_wires(layout: Layout) -> list[tuple[str, str]]:
    """Pairs of wires that run along each other on the same line."""
    pieces = []
    for route in layout.routes:
        for (x1, y1), (x2, y2) in pairwise(route.points):
            assert x1 == x2 or y1 == y2
            if x1 == x2:
                pieces.append(("v", x1, *sorted((y1, y2)), route.wire.id))
            else:
                pieces.append(("h", y1, *sorted((x1, x2)), route.wire.id))
    pieces.sort()
    return [
        (a[4], b[4])
        for k, a in enumerate(pieces)
        for b in pieces[k + 1 : k + 60]
        if a[:2] == b[:2] and a[4] != b[4] and min(a[3], b[3]) > max(a[2], b[2])
    ]


@pytest.mark.parametrize("seed", range(40))
def test_wires_and_tiles_keep_apart(seed: int) -> None:
    vehicle = read("vehicles", VEHICLES[seed]) if seed < 3 else random_vehicle(seed)
    harness = read_harness(vehicle, KINDS)
    layout = lay_out(harness, Marks(), 900, 20)
    assert not crossings_of_wires(layout)
    placed = layout.placed
    for k, one in enumerate(placed):
        assert one.x >= 0
        assert one.x + one.width <= layout.width
        assert one.y + one.height <= layout.height
        for two in placed[k + 1 :]:
            apart_x = one.x + one.width < two.x or two.x + two.width < one.x
            assert apart_x or one.y + one.height < two.y or two.y + two.height < one.y
        for (x1, y1), (x2, y2) in (piece for r in layout.routes for piece in pairwise(r.points)):
            beside = max(x1, x2) <= one.x or min(x1, x2) >= one.x + one.width
            assert beside or max(y1, y2) <= one.y or min(y1, y2) >= one.y + one.height


def luminance(color: str) -> float:
    """Relative luminance, WCAG 2.2, "relative luminance"."""
    channels = [int(color[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, two: str) -> float:
    """Contrast ratio, WCAG 2.2, "contrast ratio"."""
    dark, light = sorted((luminance(one), luminance(two)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colors", [page_style._LIGHT, page_style._DARK])
def test_colors_can_be_read_and_told_apart_without_hue(colors: dict[str, str]) -> None:
    for k in range(1, 6):
        assert contrast(colors[f"s{k}"], colors["on12" if k < 4 else "on45"]) >= 3
    steps = [luminance(colors[f"s{k}"]) for k in range(1, 6)]
    assert steps == sorted(steps) or steps == sorted(steps, reverse=True)
    for one, two in pairwise(steps):
        assert (max(one, two) + 0.05) / (min(one, two) + 0.05) >= 1.2
    for ink in ("ink", "soft", "red"):
        for ground in ("paper", "tile"):
            assert contrast(colors[ink], colors[ground]) >= 4.5  # WCAG 2.2, 1.4.3


def test_texts_are_cut_to_their_room() -> None:
    for text in HARM:
        for most in (0.0, 3.0, 40.0, 5000.0):
            cut = fit(clean(text), most, 8.5)
            assert width(cut, 8.5) <= max(most, 0)
    assert fit("as it is", 500, 8.5) == "as it is"
    assert clean("a\x00b\ud800c\u202e d\n e") == "abc d e"
    assert [rounded(v) for v in (0, -0.04, 1.25, -1.26, 3)] == ["0", "0", "1.3", "-1.3", "3"]


# -- moments, files, commands ----------------------------------------------------------------------


def test_a_job_can_be_shown_as_it_stood() -> None:
    job = read("jobs", "fern-walk-spliced")
    cut = cut_after(job, "e3")
    assert [entry["id"] for entry in cut["entries"]] == ["e1", "e2", "e3"]
    assert "closing" not in cut
    assert len(job["entries"]) == 13
    with pytest.raises(ValueError, match="There is no entry 'e99'; there is e1, e2"):
        cut_after(job, "e99")
    taken_back = cut_after({**job, "withdrawn": ["e2", "e9"]}, "e3")
    assert taken_back["withdrawn"] == ["e2"]


def test_commands_write_pages(run: Run, tmp_path: Path) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    out = tmp_path / "page"
    for command, start in (
        (("sheet", job), "<!doctype html>"),
        (("estimate", job, "--authorized", "90"), "<!doctype html>"),
        (("drawing", job, "--after", "e2"), "<svg"),
        (("drawing", "orchid-runner"), "<svg"),
    ):
        assert run(*command, "--out", out) == (0, "", "")
        assert out.read_text(encoding="utf-8").startswith(start)
        assert [p.name for p in tmp_path.iterdir()] == ["page"]
    code, said, _ = run("drawing", DATA / "vehicles" / "mulch-tug.json")
    assert code == 0
    assert said == run("drawing", "mulch-tug")[1]


def test_commands_refuse_in_one_line(run: Run, tmp_path: Path) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    for arguments, words in (
        (("drawing", "no-such-thing"), "no-such-thing: Can't be read"),
        (("drawing", "mulch-tug", "--after", "e1"), "--after and --suspects need a job"),
        (("drawing", job, "--after", "e77"), "There is no entry 'e77'"),
        (("sheet", DATA / "vehicles" / "mulch-tug.json"), "a job is needed"),
        (("drawing", "mulch-tug", "--out", tmp_path / "no" / "x.svg"), "name another file"),
        (("drawing", "mulch-tug", "--out", tmp_path), "name another file"),
    ):
        code, out, err = run(*arguments)
        assert (code, out) == (2, "")
        assert words in err
        assert err.count("\n") == 1
    assert not list(tmp_path.iterdir())
    kept = tmp_path / "job.json"
    kept.write_bytes(job.read_bytes())
    for command in (
        ("sheet", kept),
        ("drawing", kept),
        ("sheet", job, "--kinds", DATA / "kinds.json"),
    ):
        out = kept if kept in command else DATA / "kinds.json"
        code, _, err = run(*command, "--out", out)
        assert (code, err) == (2, f"{out}: The page is made from this file; name another one\n")
    assert kept.read_bytes() == job.read_bytes()


def test_a_file_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "old.html"
    file.write_text("as it was", encoding="utf-8")
    file.chmod(0o640)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    for name in ("fsync", "replace", "chmod"):
        with monkeypatch.context() as broken:
            broken.setattr(os, name, full)
            if name == "replace":
                broken.setattr(Path, "replace", full)
            if name == "chmod":
                broken.setattr(Path, "chmod", full)
            with pytest.raises(OSError, match="No space"):
                write_whole(file, "new")
        assert file.read_text(encoding="utf-8") == "as it was"
        assert list(tmp_path.iterdir()) == [file]
    link = tmp_path / "link"
    link.symlink_to(file)
    write_whole(link, "new \u00e4")
    assert link.is_symlink()
    assert file.read_text(encoding="utf-8") == "new \u00e4"
    assert file.stat().st_mode & 0o777 == 0o640


def test_job_documents_are_left_as_they_are() -> None:
    for name in JOBS:
        assert page(name).job == json.loads((DATA / "jobs" / f"{name}.json").read_bytes())
