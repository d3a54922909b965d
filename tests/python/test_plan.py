"""Plans and their cards: what they say, that the page is sound, and the command."""

from __future__ import annotations

import copy
import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import faultloom
import matplotlib as mpl
import pytest
from faultloom import cli
from PIL import ImageFont

from small_cart import Document, small_job, small_vehicle

DATA = faultloom.data_path()
JOBS = {
    "rose-walk-no-click": "seedling-hauler",
    "palm-house-after-charging": "orchid-runner",
    "compost-yard-dead-tug": "mulch-tug",
}
DEAD = DATA / "jobs" / "compost-yard-dead-tug.json"
SVG = "{http://www.w3.org/2000/svg}"
HUNDREDTH = 0.011  # the card rounds to hundredths of a millimeter

_EM = 1000
_FONTS = {
    bold: ImageFont.truetype(
        str(
            Path(mpl.get_data_path()) / "fonts" / "ttf" / f"DejaVuSans{'-Bold' if bold else ''}.ttf"
        ),
        _EM,
    )
    for bold in (False, True)
}

Box = tuple[float, float, float, float]


def job_path(name: str) -> Path:
    return DATA / "jobs" / f"{name}.json"


@pytest.fixture(scope="module")
def cards() -> dict[str, str]:
    """The card of a job on each vehicle, and of names made to do harm."""
    found = {
        name: faultloom.Model.shipped(vehicle).plan_card(job_path(name))
        for name, vehicle in JOBS.items()
    }
    cart, job = hostile()
    found["hostile"] = faultloom.Model(cart).plan_card(job)
    return found


def hostile() -> tuple[Document, Document]:
    """The small cart and its job with titles that no page was made for."""
    longest = 200  # characters that a title may have
    cart, job = copy.deepcopy(small_vehicle()), copy.deepcopy(small_job())
    nasty = '</text><script>alert("&")</script><!-- ]]> \u202e\u0007 '
    nasty = (nasty + "W\u4e16" * longest)[:longest]
    cart["title"] = nasty
    for part in cart["parts"].values():
        part["title"] = nasty
    for zone in cart["zones"].values():
        zone["title"] = ("<b>&amp;" + nasty)[:longest]
    job["title"] = nasty
    job["complaint"] = "'\"<&> " * 30
    return cart, job


# -- the page --------------------------------------------------------------------------------------


def frame_of(group: ET.Element) -> Box:
    """The largest rectangle of a group: left, top, right, bottom."""
    return max(
        (
            (x, y, x + float(r.attrib["width"]), y + float(r.attrib["height"]))
            for r in group.iter(f"{SVG}rect")
            for x, y in [(float(r.attrib["x"]), float(r.attrib["y"]))]
        ),
        key=lambda box: (box[2] - box[0]) * (box[3] - box[1]),
    )


def texts(group: ET.Element) -> Iterator[tuple[str, Box]]:
    """Each text with the room it takes, measured with a real font."""
    for text in group.iter(f"{SVG}text"):
        said = text.text or ""
        size = float(text.attrib["font-size"])
        font = _FONTS[text.get("font-weight") == "bold"]
        left, top, right, bottom = font.getbbox(said, anchor="ls")
        width = max(right, font.getlength(said)) * size / _EM
        x, y = float(text.attrib["x"]), float(text.attrib["y"])
        yield (
            said,
            (x + left * size / _EM, y + top * size / _EM, x + width, y + bottom * size / _EM),
        )


def inside(inner: Box, outer: Box) -> bool:
    return (
        inner[0] >= outer[0] - HUNDREDTH
        and inner[1] >= outer[1] - HUNDREDTH
        and inner[2] <= outer[2] + HUNDREDTH
        and inner[3] <= outer[3] + HUNDREDTH
    )


def overlap(one: Box, other: Box) -> bool:
    return (
        one[0] < other[2] - HUNDREDTH
        and other[0] < one[2] - HUNDREDTH
        and one[1] < other[3] - HUNDREDTH
        and other[1] < one[3] - HUNDREDTH
    )


@pytest.mark.parametrize("name", [*JOBS, "hostile"])
def test_the_card_is_one_page_on_which_nothing_is_clipped_or_covered(
    cards: dict[str, str], name: str
) -> None:
    root = ET.fromstring(cards[name])
    assert (root.attrib["width"], root.attrib["height"]) == ("210mm", "297mm")
    page = (0.0, 0.0, 210.0, 297.0)
    groups = root.findall(f"{SVG}g")
    frames = [frame_of(group) for group in groups]
    assert {g.attrib["id"] for g in groups} >= {"heading", "step-1", "cautions", "foot"}
    for group, frame in zip(groups, frames, strict=True):
        assert inside(frame, page), group.attrib["id"]
        said = list(texts(group))
        assert said
        for text, box in said:
            assert inside(box, frame), (group.attrib["id"], text, box, frame)
        for i, (text, box) in enumerate(said):
            for other, room in said[:i]:
                assert not overlap(box, room), (text, other)
    for i, frame in enumerate(frames):
        for other in frames[:i]:
            assert not overlap(frame, other)


@pytest.mark.parametrize("name", [*JOBS, "hostile"])
def test_the_card_loads_nothing_and_uses_no_color(cards: dict[str, str], name: str) -> None:
    root = ET.fromstring(cards[name])
    tags = {element.tag for element in root.iter()}
    assert tags == {SVG + t for t in ("svg", "title", "g", "rect", "path", "text")}
    for element in root.iter():
        for key, value in element.attrib.items():
            assert "href" not in key
            assert "url" not in value
            if key in ("fill", "stroke"):
                assert value in ("none", "#000", "#fff")


def test_hostile_names_are_text_and_nothing_else(cards: dict[str, str]) -> None:
    card = cards["hostile"]
    root = ET.fromstring(card)
    assert "<script" not in card
    assert "\u202e" not in card
    said = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    assert "</text><script>" in said
    assert "..." in said


@pytest.mark.parametrize("name", JOBS)
def test_the_card_says_what_the_plan_says(cards: dict[str, str], name: str) -> None:
    plan = faultloom.Model.shipped(JOBS[name]).plan(job_path(name))
    root = ET.fromstring(cards[name])
    steps = [g for g in root.findall(f"{SVG}g") if g.attrib["id"].startswith("step-")]
    assert [g.attrib["id"] for g in steps] == [f"step-{i + 1}" for i in range(len(steps))]
    assert len(steps) >= min(5, len(plan.steps))
    groups = {g.attrib["id"]: " ".join(t.text or "" for t in g) for g in root.findall(f"{SVG}g")}
    everything = groups["cautions"].replace(" ", "")
    for item in plan.steps[: len(steps)]:
        said = groups[f"step-{item.id}"]
        for terminal in (item.step.red, item.step.black):
            assert terminal.replace(" ", "") in said.replace(" ", "")
        for caution in item.step.cautions:
            assert caution.signal_word in said
            assert caution.text.replace(" ", "") in everything
        for outcome in item.outcomes:
            if outcome.step and outcome.step <= len(steps):
                assert f"Go on at step {outcome.step}." in said
            assert f"Go on at step {len(steps) + 1}." not in said
        if item.step.state and not item.step.isolated:
            assert "Controls:" in said
        assert " min, " in said


# -- the plan --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JOBS)
def test_a_plan_is_a_tree_whose_probabilities_add_up(name: str) -> None:
    plan = faultloom.Model.shipped(JOBS[name]).plan(job_path(name), depth=4)
    assert plan["format"] == "faultloom.plan"
    assert (plan.job, plan.vehicle, plan.depth) == (name, JOBS[name], 4)
    parents: dict[int, int] = {}
    for item in plan.steps:
        assert plan.step(item.id) is item
        assert sum(o.probability for o in item.outcomes) == pytest.approx(1)
        assert sum(o.reach for o in item.outcomes) == pytest.approx(item.reach)
        expected = sum(o.probability * o.expected_usd for o in item.outcomes)
        assert item.step.expected_total_usd >= expected
        for outcome in item.outcomes:
            assert outcome.text
            assert (outcome.then == "step") == (outcome.step > 0)
            assert (outcome.then == "repair") == bool(outcome.component)
            if outcome.step:
                assert outcome.step not in parents
                parents[outcome.step] = item.id
                assert plan.step(outcome.step).level == item.level + 1
                assert plan.step(outcome.step).reach == pytest.approx(outcome.reach)
    assert sorted(parents) == [item.id for item in plan.steps[1:]]
    leaves = [o for item in plan.steps for o in item.outcomes if not o.step]
    assert sum(o.reach for o in leaves) == pytest.approx(1)
    not_done = sum(o.reach for o in leaves if o.then != "runs")
    assert not_done == pytest.approx(plan.open_share)
    assert max(item.level for item in plan.steps) < 4
    assert plan.expected_usd == plan.step(1).step.expected_total_usd < plan.repair_only_usd
    with pytest.raises(KeyError):
        plan.step(len(plan.steps) + 1)


def test_a_plan_begins_with_the_next_step_and_keeps_to_its_options() -> None:
    tug = faultloom.Model.shipped("mulch-tug")
    options: dict[str, Any] = {"instruments": ["meter"], "max_minutes": 30}
    plan = tug.plan(DEAD, **options, residual=0.1, max_steps=3)
    step = tug.next_step(DEAD, **options).step
    assert (plan.step(1).step.text, plan.step(1).step.minutes) == (step.text, step.minutes)
    assert len(plan.steps) <= 3
    for item in plan.steps:
        assert item.step.instrument in ("", "meter")
        assert item.step.minutes <= 30
        assert item.id == 1 or item.reach >= 0.1


def test_progress_rises_and_can_stop_a_plan() -> None:
    tug = faultloom.Model.shipped("mulch-tug")
    shares: list[float] = []
    tug.plan(DEAD, progress=shares.append)
    assert shares == sorted(shares)
    for ask in (tug.plan, tug.plan_card):
        with pytest.raises(faultloom.Error) as stopped:
            ask(DEAD, progress=lambda _: False)
        assert stopped.value.code == faultloom.Code.CANCELLED


# -- the command -----------------------------------------------------------------------------------


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    try:
        code = cli.main([str(argument) for argument in arguments])
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_command_shows_the_tree(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "plan", DEAD, "--depth", 3)
    plan = faultloom.Model.shipped("mulch-tug").plan(DEAD, depth=3)
    assert (code, err) == (0, "")
    for item in plan.steps:
        assert f"\n{' ' * 4 * item.level}{item.id}  " in out
    assert "expected from here" in out
    assert "Before any of this" in out
    assert "Expected to the end of the job: $" in out
    assert "ask again" in out


def test_the_command_writes_json_and_a_card(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "card.svg"
    code, out, err = run(capsys, "plan", DEAD, "--json", "--residual", 0.1, "--card", file)
    tug = faultloom.Model.shipped("mulch-tug")
    assert (code, err) == (0, "")
    assert out == tug.plan(DEAD, residual=0.1).text
    assert file.read_text(encoding="utf-8") == tug.plan_card(DEAD, residual=0.1)
    assert json.loads(out)["residual"] == 0.1


def test_the_command_refuses_what_it_cannot_do(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, _, err = run(capsys, "plan", DEAD, "--card", tmp_path / "none" / "card.svg")
    assert code == 2
    assert "card.svg: No such file or directory; name another file" in err
    assert run(capsys, "plan", DEAD, "--residual", 2)[0] == 2
    assert run(capsys, "plan", DEAD, "--depth", 0)[0] == 2
    code, _, err = run(capsys, "plan", DEAD, "--minutes", 0)
    assert (code, "Nothing can be tested or repaired" in err) == (1, True)
