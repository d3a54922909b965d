"""Many jobs ranked in one call: rows in order, problems in their place, the same answer in any company."""

from __future__ import annotations

import json
from typing import Any

import faultloom
import pytest

JOBS = faultloom.data_path() / "jobs"


@pytest.fixture(scope="module")
def model() -> faultloom.Model:
    return faultloom.Model.shipped("mulch-tug")


def job(**changes: Any) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(
        (JOBS / "compost-yard-dead-tug.json").read_text()
    )
    return document | changes


def test_rows_come_in_order_and_alone_as_among_others(model: faultloom.Model) -> None:
    jobs = [
        job(id="a"),
        job(id="b", exposure_hours=77),
        job(id="c", environment="outdoor"),
    ]
    answer = model.rank_jobs(jobs, full=False)
    assert answer["format"] == "faultloom.fleet-ranking"
    assert tuple(answer["modes"]) == model.modes
    assert [row["id"] for row in answer["jobs"]] == ["a", "b", "c"]
    for index, row in enumerate(answer["jobs"]):
        alone = model.rank_jobs([jobs[index]], full=False)["jobs"][0]
        assert alone | {"index": index} == row


def test_a_bad_job_does_not_stop_the_others(model: faultloom.Model) -> None:
    path = JOBS / "compost-yard-dead-tug.json"
    answer = model.rank_jobs(
        [path, '{"format": ', job(vehicle="other"), path.read_text()]
    )
    status = [row["status"] for row in answer["jobs"]]
    assert status[1:3] == ["failed", "failed"]
    assert answer["jobs"][1]["problems"][0]["code"] == "syntax"
    assert answer["jobs"][2]["problems"][0]["pointer"] == "/vehicle"
    assert answer["jobs"][0] | {"index": 3} == answer["jobs"][3]


def test_a_text_with_an_array_is_taken_too(model: faultloom.Model) -> None:
    answer = json.loads(
        model.native.rank_jobs_json(json.dumps([job(), 7]), '{"full":false}')
    )
    assert [row["status"] for row in answer["jobs"]] == ["screened", "failed"]


def test_names_mean_nothing(model: faultloom.Model) -> None:
    plain = model.rank_jobs([job()], full=False)["jobs"][0]
    renamed = job(id="z9", title="Other words", complaint="")
    for index, entry in enumerate(reversed(renamed["entries"])):
        entry["id"] = f"n{index}"
        entry.pop("note", None)
    other = model.rank_jobs([renamed], full=False)["jobs"][0]
    assert other["suspects"] == plain["suspects"]
    assert other["bound"] == plain["bound"]


def test_like_rank_if_asked_for(model: faultloom.Model) -> None:
    row = model.rank_jobs([job()], screen=False, most_suspects=3)["jobs"][0]
    ranking = model.rank(job())
    assert row["status"] == "ranked"
    assert row["bound"] == ranking.bound
    assert len(row["components"]) == 3
    assert row["components"][0]["probability"] == ranking.components[0].probability


def test_options_and_stopping(model: faultloom.Model) -> None:
    with pytest.raises(faultloom.Error) as wrong:
        model.rank_jobs([], screen_bound=2)
    assert wrong.value.problems[0].name == "value"
    with pytest.raises(faultloom.Error) as stopped:
        model.rank_jobs([job()] * 3, progress=lambda share: False)
    assert stopped.value.problems[0].name == "cancelled"
    assert model.rank_jobs([])["jobs"] == []
