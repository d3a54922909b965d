"""Jobs drawn, solved by ngspice and read by people who err, and how the library's chances fare on them."""

import ctypes.util
import json
import sys
from pathlib import Path
from typing import Any

import faultloom
import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "examples" / "python"))

if ctypes.util.find_library("ngspice") is None:
    pytest.skip("ngspice is not installed", allow_module_level=True)

import calibrate_on_ngspice as on_ngspice  # noqa: E402

TUG = "mulch-tug"


@pytest.fixture(scope="module")
def histories() -> list[dict[str, Any]]:
    return [on_ngspice.history(TUG, setting, 4, 3, 5) for setting in on_ngspice.SETTINGS]


def outcomes(history: dict[str, Any]) -> list[Any]:
    return [
        [(e.get("volts"), e.get("outcome"), e.get("tries")) for e in job["entries"]] for job in history["jobs"]
    ]


def test_histories_are_valid_and_the_same_again(histories: list[dict[str, Any]]) -> None:
    for history in histories:
        assert faultloom.check_document(history) == []
        assert len(history["jobs"]) == 4
    again = on_ngspice.history(TUG, on_ngspice.SETTINGS[2], 4, 3, 5)
    assert again == histories[2]
    assert on_ngspice.history(TUG, on_ngspice.SETTINGS[2], 4, 3, 6) != histories[2]


def test_settings_share_their_faults_and_differ_in_what_is_read(histories: list[dict[str, Any]]) -> None:
    exact, errs, differs, _ = histories
    causes = [[job["confirmed"] for job in history["jobs"]] for history in (exact, errs)]
    assert causes[0] == causes[1]
    assert all(causes[0])
    assert outcomes(exact) != outcomes(errs)
    assert outcomes(errs) != outcomes(differs)


def test_whoever_does_not_err_reads_what_the_library_computes() -> None:
    """Two solvers, one vehicle with the values of its documents: ngspice's volts against `Model.solve`."""
    model = faultloom.Model.shipped(TUG)
    kinds = json.loads((ROOT / "data" / "kinds.json").read_text(encoding="utf-8"))["kinds"]
    vague = {
        mode
        for kind in kinds.values()
        for mode, data in kind.get("modes", {}).items()
        if "spread_factor" in data or "duty" in data
    }
    compared = 0
    for job in on_ngspice.history(TUG, on_ngspice.SETTINGS[0], 12, 4, 11)["jobs"]:
        modes = job["confirmed"]
        if any(mode.rsplit("/", 1)[1] in vague for mode in modes):
            continue
        for entry in job["entries"]:
            if entry["type"] != "reading":
                continue
            solved = model.solve(entry["state"], modes)
            there = [solved.volts[entry[probe]] for probe in ("red", "black")]
            if None in there:
                continue
            assert entry["volts"] == pytest.approx(there[0] - there[1], abs=0.02)
            compared += 1
    assert compared >= 8


def test_scores_are_those_of_the_library(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = [str(tmp_path), "--jobs", "3", "--readings", "2", "--budget-sets", "200", "--processes", "1"]
    assert on_ngspice.main(words) == 0
    printed = capsys.readouterr().out
    scores = json.loads((tmp_path / "scores.json").read_text(encoding="utf-8"))
    for setting in on_ngspice.SETTINGS:
        file = tmp_path / (setting.title.replace(" ", "-") + ".json")
        history = json.loads(file.read_text(encoding="utf-8"))
        answer = faultloom.calibration(faultloom.Model.shipped(TUG), history, bins=on_ngspice.BINS, budget_sets=200)
        assert scores[setting.title] == dict(answer)
        assert f"{answer.scores.entropy:.3f}" in printed
    assert (tmp_path / "reliability.svg").stat().st_size > 10_000
