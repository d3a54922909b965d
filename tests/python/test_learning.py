"""Learning from histories, calibration and sensitivity through the package and the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import faultloom
import jsonschema
import pytest
from conftest import Run

DATA = faultloom.data_path()
DEAD = DATA / "jobs" / "compost-yard-dead-tug.json"



@pytest.fixture(scope="module")
def tug() -> faultloom.Model:
    return faultloom.Model.shipped("mulch-tug")


def past_job(name: str, *confirmed: str, **more: Any) -> dict[str, Any]:
    job = {
        "id": name,
        "vehicle": "mulch-tug",
        "exposure_hours": 300,
        "closing": {"verdict": "repaired", "by": "verification"},
        "confirmed": list(confirmed),
    }
    return {**job, **more}


def history(*jobs: dict[str, Any], hours: float = 0) -> dict[str, Any]:
    document = {
        "format": "faultloom.history",
        "version": "1.0",
        "title": "Fernhollow 2025",
        "seen": "all",
        "jobs": list(jobs),
    }
    if hours:
        document["running"] = [{"vehicle": "mulch-tug", "hours": hours, "environment": "outdoor"}]
    return document


def judged_job() -> dict[str, Any]:
    job = json.loads(DEAD.read_text())
    return {**job, "closing": {"verdict": "repaired", "by": "word"}, "confirmed": ["F1"]}


def test_history_schema_agrees() -> None:
    schema = json.loads((DATA / "schema" / "history.schema.json").read_text())
    jsonschema.Draft7Validator.check_schema(schema)
    validator = jsonschema.Draft7Validator(schema)
    good = history(past_job("a", "K1/coil_open"), judged_job(), hours=100)
    validator.validate(good)
    assert faultloom.check_document(good) == []
    bad = [
        {**good, "seen": "some"},
        {**good, "jobs": [past_job("a", "K1/coil_open", exposure_hours=0)]},
        {**good, "jobs": [past_job("a", "K1/")]},
        {k: v for k, v in good.items() if k != "seen"},
    ]
    for document in bad:
        assert list(validator.iter_errors(document))
        assert faultloom.check_document(document)


def test_learned_rates_follow_the_conjugate_rule(tug: faultloom.Model) -> None:
    # Confirmed causes, no pooling, no environment, one mode share left alone: Gamma(a + n, b + E).
    jobs = [past_job(f"j{i}", "F1/blown") for i in range(4)]
    learned = faultloom.learn_rates(
        tug, history(*jobs), pool=False, environments=False, shares=False, noticed_otherwise=1
    )
    change = next(c for c in learned.changes if c.kind == "fuse")
    shipped = json.loads((DATA / "rates.json").read_text())["kinds"]["fuse"]
    fuses = sum(p["kind"] == "fuse" for p in vehicle("mulch-tug")["parts"].values())
    exposure = fuses * 4 * 300 / 1e6
    assert change.failures == pytest.approx(4, rel=1e-4)
    assert change.exposure_million_hours == pytest.approx(exposure, rel=1e-4)
    expected = (shipped["gamma_shape"] + 4) / (shipped["gamma_rate_million_hours"] + exposure)
    assert change.after.mean == pytest.approx(expected, rel=1e-4)


def vehicle(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((DATA / "vehicles" / f"{name}.json").read_text())
    return document


def test_learned_document_builds_a_model(tug: faultloom.Model) -> None:
    learned = faultloom.learn_rates([tug], history(past_job("a", "S1/open"), hours=5000))
    assert faultloom.check_document(learned.rates) == []
    again = faultloom.Model(DATA / "vehicles" / "mulch-tug.json", rates=learned.rates)
    assert (again.mode_priors() != tug.mode_priors()).any()
    key = next(c for c in learned.changes if c.kind == "key_switch")
    assert key.group == "switches"
    assert key.before.low < key.before.mean < key.before.high
    assert dict(learned.cannot_say)["heavy_selector"]
    # Learned once more, the source says where it all began and does not grow.
    once_more = faultloom.learn_rates(again, history(past_job("b", "S1/open")))
    source = once_more.rates["kinds"]["key_switch"]["source"]
    assert source.count("before:") == 1
    assert source.endswith("trade share, from memory")


def test_two_vehicles_at_once(tug: faultloom.Model) -> None:
    hauler = faultloom.Model.shipped("seedling-hauler")
    jobs = [past_job("a", "K1/coil_open"), past_job("b", "K1/coil_open", vehicle="seedling-hauler")]
    learned = faultloom.learn_rates([tug, hauler], history(*jobs))
    assert learned["history"]["confirmed"] == 2
    with pytest.raises(faultloom.Error) as raised:
        faultloom.learn_rates(tug, history(*jobs))
    assert raised.value.problems[0].pointer == "/jobs/1/vehicle"


def test_calibration_scores(tug: faultloom.Model) -> None:
    answer = faultloom.calibration(
        tug, history(judged_job(), past_job("x", "F1")), against=tug, bins=4, budget_sets=500
    )
    scores = answer.scores
    assert answer.jobs == 1
    assert answer["jobs_left_out"] == 1
    assert answer.log_loss_difference == (0, 0)
    assert scores == answer.against
    assert sum(point.claims for point in scores.diagram) == answer["claims"]
    assert scores.excess == pytest.approx(scores.log_loss - scores.entropy)


def test_sensitivity_adds_up(tug: faultloom.Model) -> None:
    answer = faultloom.sensitivity(tug, DEAD, top=3, budget_sets=1000)
    slopes = answer.derivatives()
    assert list(slopes)[0] == answer.leader
    own = slopes[answer.leader]
    # More failures of everything else speak against the leader, more of its own kind for it.
    assert max(own.values()) > 0 > min(own.values())
    values = [rate.value_of_knowing_usd for rate in answer.wanted]
    assert values == sorted(values, reverse=True)
    assert all(r.mean > 0 and r.relative_sigma > 0 for r in answer.rates)


def test_frames(tug: faultloom.Model) -> None:
    pytest.importorskip("pandas")
    frame = faultloom.rates_frame()
    assert frame.groupby("kind")["share"].sum().sub(1).abs().max() < 1e-5
    fuse = frame[frame.kind == "fuse"]
    assert fuse.handbook_per_million_hours.iloc[0] == pytest.approx(0.08)
    assert fuse.failures_per_million_hours.sum() == pytest.approx(5, rel=1e-6)
    changes = faultloom.learn_rates(tug, history(past_job("a", "F1/blown"))).frame()
    assert changes.loc["fuse", "after"] > changes.loc["fuse", "before"]


def test_shipped_handbook_figures_are_marked_unused() -> None:
    kinds = json.loads((DATA / "rates.json").read_text())["kinds"]
    figures = {name: kind["handbook"] for name, kind in kinds.items() if "handbook" in kind}
    assert len(figures) >= 20
    assert not any(figure["used"] for figure in figures.values())
    assert all("MIL-HDBK-217F Notice 2" in figure["source"] for figure in figures.values())
    assert all(kind["class"] for kind in kinds.values())


# -- command line ----------------------------------------------------------------------------------


def written(folder: Path, document: dict[str, Any]) -> Path:
    file = folder / "history.json"
    file.write_text(json.dumps(document))
    return file


def test_learn_command(run: Run, tmp_path: Path) -> None:
    jobs = [past_job(f"j{i}", "K1/coil_open") for i in range(5)]
    file = written(tmp_path, history(*jobs, hours=3000))
    rates = tmp_path / "rates.json"
    code, out, err = run("learn", file, "--output", rates)
    assert (code, err) == (0, "")
    assert "5 with a confirmed cause" in out
    assert "contactor" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert faultloom.check_document(rates) == []
    assert list(tmp_path.iterdir()) == sorted([file, rates], key=list(tmp_path.iterdir()).index)
    # What was learned can be used at once.
    code, out, err = run("rank", DEAD, "--rates", rates, "--budget-sets", 200)
    assert code == 0, err
    code, out, err = run("learn", file, "--json")
    assert json.loads(out)["format"] == "faultloom.learning"


def test_calibrate_command(run: Run, tmp_path: Path) -> None:
    file = written(tmp_path, history(judged_job()))
    rates = DATA / "rates.json"
    code, out, err = run("calibrate", file, "--against", rates, "--budget-sets", 300, "--bins", 3)
    assert (code, err) == (0, "")
    assert "job by job: +0.000" in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_what_commands_refuse(run: Run, tmp_path: Path) -> None:
    bad = history(past_job("a", "K1/coil_opn"), past_job("a", "Q9"))
    code, out, err = run("learn", written(tmp_path, bad))
    assert code == 2
    assert out == ""
    assert len(err.splitlines()) == 3
    assert "/jobs/0/confirmed/0" in err
    code, _, err = run("learn", written(tmp_path, history(past_job("a", "F1", vehicle="nobody"))))
    assert code == 2
    assert "--vehicle" in err
    code, _, err = run("calibrate", written(tmp_path, history(past_job("a", "F1"))))
    assert code == 2
    assert "confirmed" in err
    code, _, err = run("learn", DEAD)
    assert code == 2
    assert "job document" in err
    out_file = tmp_path / "no" / "folder.json"
    code, _, err = run("learn", written(tmp_path, history(past_job("a", "F1"))), "--output", out_file)
    assert code == 2
    assert "Can't be written" in err


def test_shipped_history_tells_what_it_was_drawn_from() -> None:
    # Invented: contactors drawn at two and a half times the shipped rate, fuses at half.
    document = json.loads((DATA / "histories" / "fernhollow-two-seasons.json").read_text())
    models = [faultloom.Model.shipped(v) for v in ("mulch-tug", "orchid-runner", "seedling-hauler")]
    assert faultloom.check_document(document) == []
    learned = faultloom.learn_rates(models, document)
    contactor = next(change for change in learned.changes if change.kind == "contactor")
    assert contactor.after.low < 2.5 * contactor.before.mean < contactor.after.high
    assert learned["settled"]
