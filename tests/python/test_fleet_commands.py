"""The command `triage`, work on several processes, and the examples of one command."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import faultloom
import pytest
from conftest import Run
from faultloom import _fleet, fleet
from small_cart import cart_with_motor

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"
BEFORE = "S1.out 0.02 V against BAT1.negative, key on"
TABLE = f"""id,vehicle,complained,found,complaint,charger,unsafe,status,downtime_usd_per_hour
A1,cart.json,2026-08-30,"{BEFORE}",dead,C1,,,20
A2,cart.json,2026-08-29T08:00,,smells,C1,yes,,
A3,cart.json,2026-08-29,the blue one,dead,C2,,,
A4,cart.json,soon,,dead,C2,,,
A5,cart.json,,,,C2,,running,
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    (tmp_path / "cart.json").write_text(json.dumps(cart_with_motor()))
    (tmp_path / "list.csv").write_text(TABLE)
    return tmp_path / "list.csv"


def many(folder: Path, count: int) -> Path:
    """A fleet document of so many vehicles that are down."""
    vehicles = [{"id": f"A{i}", "vehicle": "cart.json", "found": [BEFORE]} for i in range(count)]
    path = folder / "many.json"
    path.write_text(json.dumps({"format": "faultloom.fleet", "version": "1.0", "vehicles": vehicles}))
    return path


# -- the command -----------------------------------------------------------------------------------


def test_a_table_becomes_an_order_of_work(run: Run, table: Path) -> None:
    code, out, err = run("triage", table, "--begins", "2026-08-31T07:30")
    assert code == 1  # rows were set aside
    assert "2 of 4 vehicles wait" in out  # the row that could not be read is none
    lines = out.splitlines()
    first = next(line for line in lines if line.lstrip().startswith("1 "))
    second = next(line for line in lines if line.lstrip().startswith("2  "))
    assert "A2" in first
    assert "dangerous" in first
    assert "Mon 0" in first
    assert "A1" in second
    assert "S1 key switch" in second
    for heading in ("Order of work", "Time and money", "Load into the van"):
        assert heading in lines
    assert "list.csv: row 4 (A3), found, 'the blue one':" in err
    assert "list.csv: row 5 (A4), column complained: 'soon' is no day" in err
    assert all(len(line) <= 80 for line in lines)


def test_rows_set_aside_can_be_mended_and_run(run: Run, table: Path) -> None:
    before = table.read_bytes()
    _, _, err = run("triage", table)
    aside = table.with_name("list.set-aside.csv")
    assert f"2 rows set aside in {aside}" in err
    rows = list(csv.DictReader(aside.open()))
    assert [row["id"] for row in rows] == ["A3", "A4"]
    assert "soon" in rows[1]["x-why"]
    aside.write_text(aside.read_text().replace("soon", "2026-08-30").replace("the blue one", BEFORE.replace(",", ""), 1))
    code, out, err = run("triage", aside)
    assert (code, err) == (0, "")
    assert "2 of 2 vehicles wait" in out
    assert table.read_bytes() == before


def test_the_answer_is_json_on_wish_and_in_a_file(run: Run, table: Path, tmp_path: Path) -> None:
    out_file = tmp_path / "answer.json"
    _, out, _ = run("triage", table, "--json", "--out", out_file, "--aside", tmp_path / "x.csv")
    answer = json.loads(out)
    assert answer["format"] == "faultloom.triage"
    assert out_file.read_text() == out
    assert (tmp_path / "x.csv").is_file()
    assert not table.with_name("list.set-aside.csv").exists()
    assert [row["id"] for row in answer["order"]] == ["A2", "A1"]


def test_options_reach_the_answer(run: Run, table: Path) -> None:
    options = ("--technicians", 2, "--van-share", 0.5, "--van-budget", 30, "--false-rate", 0.1, "--advise")
    _, out, _ = run("triage", table, "--json", *options)
    answer = json.loads(out)
    terms = answer["terms"]
    assert (terms["technicians"], terms["van_share"], terms["van_budget_usd"], terms["false_rate"]) == (2, 0.5, 30, 0.1)
    assert answer["van"]["parts_usd"] <= 30
    assert {job["by"] for job in answer["jobs"]} == {"advice"}
    assert {slot["technician"] for slot in answer["order"]} == {1, 2}


def test_what_is_wrong_is_told_line_by_line(run: Run, table: Path, tmp_path: Path) -> None:
    for name, text in (("a.json", "{"), ("b.csv", "id,color\n"), ("c.json", '{"format": "faultloom.job"}')):
        (tmp_path / name).write_text(text)
        code, out, err = run("triage", tmp_path / name)
        assert (code, out) == (2, "")
        assert err.startswith(str(tmp_path / name))
    code, _, err = run("triage", tmp_path / "none.json")
    assert code == 2
    assert "none.json: Can't be read: No such file" in err
    code, _, err = run("triage", table, "--out", tmp_path / "no" / "where.json")
    assert code == 2
    assert "Can't be written" in err
    assert run("triage", table, "--begins", "Monday")[0] == 2
    assert run("triage", table, "--van-share", "1.1")[0] == 2


def test_check_knows_lists(run: Run, table: Path, tmp_path: Path) -> None:
    kept = faultloom.data_path() / "fleets"
    code, out, _ = run("check", kept / "fernhollow-monday.json", kept / "fernhollow-monday.csv")
    assert code == 0
    assert out.count(": fine\n") == 2
    code, out, _ = run("check", table)
    assert code == 2
    assert "row 5, column complained" in out
    bad = tmp_path / "bad.json"
    bad.write_text('{"format": "faultloom.fleet", "version": "1.0", "vehicles": [{"id": "A", "vehicle": "none"}]}')
    code, out, _ = run("check", bad)
    assert code == 2
    assert "(/vehicles/0/vehicle)" in out


def test_names_with_control_characters_do_no_harm(run: Run, tmp_path: Path) -> None:
    cart = cart_with_motor()
    cart["parts"]["S1"]["title"] = "Key\x1b[2J switch"
    (tmp_path / "cart.json").write_text(json.dumps(cart))
    path = many(tmp_path, 2)
    path.write_text(path.read_text().replace('"vehicles"', '"title": "x\\u001b[31m", "vehicles"'))
    code, out, _ = run("triage", path)
    assert code == 0
    assert "\x1b" not in out


def test_without_its_packages_it_says_what_to_install(
    run: Run, table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.startswith("faultloom.fleet")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.delattr(faultloom, "fleet")
    monkeypatch.setitem(sys.modules, "scipy", None)
    code, out, err = run("triage", table)
    assert (code, out) == (2, "")
    assert "pip install 'faultloom[fleet]'" in err


# -- stopped ---------------------------------------------------------------------------------------


def test_ctrl_c_keeps_what_is_done(run: Run, table: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = many(table.parent, 12)

    class Impatient(_fleet.Patience):
        def __call__(self, share: float) -> None:
            super().__call__(share)
            if share > 0.5:
                os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr(_fleet, "Patience", Impatient)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        code, out, err = run("triage", path, "--chunk", 1, "--out", table.parent / "part.json")
    finally:
        signal.signal(signal.SIGINT, before)
    assert code == 130
    answer = json.loads((table.parent / "part.json").read_text())
    assert answer["interrupted"]
    done, missing = len(answer["jobs"]), len(answer["missing"])
    assert done + missing == 12
    assert 0 < done < 12
    assert f"{done} of 12 vehicles wait" in out
    assert f"Stopped; {missing} vehicles were not looked at: A{done}" in err


# -- several processes -----------------------------------------------------------------------------


def test_other_processes_give_the_same_answer(table: Path) -> None:
    path = many(table.parent, 6)
    here = fleet.triage(path).to_json()
    with ProcessPoolExecutor(2) as pool:
        assert fleet.triage(path, client=pool, chunk=2).to_json() == here


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed")
    with (
        tempfile.TemporaryDirectory() as folder,
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, local_directory=folder
        ) as made,
    ):
        yield made


def test_a_cluster_gives_the_same_answer(cluster: Any, run: Run, table: Path) -> None:
    path = many(table.parent, 6)
    here = fleet.triage(path).to_json()
    _, out, err = run("triage", path, "--json", "--chunk", 2, "--scheduler", cluster.scheduler_address)
    assert err == ""
    assert out == here


def test_a_scheduler_that_is_not_there_is_told(run: Run, table: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, _, err = run("triage", table, "--scheduler", "nonsense://")
    assert code == 2
    assert "--scheduler nonsense://" in err
    monkeypatch.setitem(sys.modules, "distributed", None)
    code, _, err = run("triage", table, "--scheduler", "tcp://127.0.0.1:1")
    assert code == 2
    assert "pip install 'faultloom[cluster]'" in err


# -- the season and the examples -------------------------------------------------------------------


def example(name: str, *arguments: object, **more: str) -> str:
    """What an example prints, with the package as it is installed."""
    folder = Path(sys.executable).parent
    if not (folder / "faultloom").exists():
        pytest.skip("the package is not installed")
    command = [str(EXAMPLES / name), *map(str, arguments)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=300, env={**os.environ, "FAULTLOOM_BIN": str(folder), **more}
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_seasons_are_what_their_script_makes() -> None:
    sys.path.insert(0, str(EXAMPLES / "python"))
    pytest.importorskip("whole_jobs.spice")
    from whole_jobs.spice import Spice, SpiceError

    try:
        Spice()
    except SpiceError:
        pytest.skip("ngspice is not installed")
    import make_season

    for name, text in make_season.files().items():
        kept = (ROOT / "data" / name).read_text(encoding="utf-8")
        assert text == kept, name


def test_the_seasons_are_as_described() -> None:
    history = json.loads((ROOT / "data" / "histories" / "fernhollow-seasons.json").read_text())
    jobs = history["jobs"]
    assert len(jobs) == 600
    assert len({job["x-cart"] for job in jobs} | {row["note"] for row in history["running"]}) == 40
    assert len({job["vehicle"] for job in jobs}) == 3
    noted = [job for job in jobs if job.get("entries")]
    assert len(noted) > 80
    assert sum("confirmed" not in job for job in noted) > 10
    monday = json.loads((ROOT / "data" / "fleets" / "fernhollow-monday.json").read_text())
    assert sum("entries" in vehicle for vehicle in monday["vehicles"]) == 14


def test_triage_of_the_garden_finds_the_charger() -> None:
    listed = ROOT / "data" / "fleets" / "fernhollow-monday.json"
    out = example("triage", listed, "--quick")
    assert "14 of 40 vehicles wait" in out
    assert "charger C3: charge interlock reed" in out
    assert "look at the charger, its plug and its supply before the vehicles" in out
    assert out.count("build batch") == 0
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = page.partition("<!-- triage-output -->")[2].partition("<!-- /triage-output -->")[0]
    found = {_without_figures(line) for line in out.splitlines()}
    head = shown.partition("Order of work")[0].splitlines()[3:]
    headings = [line for line in shown.splitlines() if line in HEADINGS]
    assert len(head) > 8
    assert headings == list(HEADINGS)
    assert not [line for line in (*head, *headings) if _without_figures(line) not in found]


HEADINGS = ("Order of work", "Time and money", "Load into the van")


def _without_figures(line: str) -> str:
    """A line of which only the words are left; figures hang on how far the search goes."""
    return re.sub(r"[<>]?\d+(\.\d+)?", "#", line)


def test_rates_are_learned_and_judged(tmp_path: Path) -> None:
    shutil.copy(ROOT / "data" / "rates.json", tmp_path / "shipped.json")
    out = example("learn", tmp_path)
    assert "with a confirmed cause" in out
    learned = json.loads((tmp_path / "rates.json").read_text())["kinds"]["contactor"]
    # Contactors fail ten times as often in the garden as by the shipped rates, 44 per 10^6 h.
    assert learned["gamma_shape"] / learned["gamma_rate_million_hours"] > 2 * 44
    out = example("calibrate", tmp_path, BUDGET_SETS="60")
    line = next(line for line in out.splitlines() if line.startswith("Log loss, these minus against"))
    mean, error = (float(text.split()[0]) for text in line.partition(": ")[2].split(" ± "))
    assert mean < -2 * error
