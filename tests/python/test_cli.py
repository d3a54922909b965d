"""The command `faultloom` from the outside: what it prints where, and how it ends."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import faultloom
import pytest
from conftest import Run
from faultloom import _show
from faultloom._terminal import Patience
from faultloom._words import Names, dollars, minutes, percent
from faultloom.answers import Step
from faultloom.dialogue.job_file import JobFile
from rich.console import Console
from small_cart import (
    Document,
    cart_with_interlock,
    cart_with_motor,
    proved_job,
    small_job,
    small_vehicle,
    spliced_job,
)

DATA = faultloom.data_path()
ODD = DATA / "jobs" / "herb-garden-odd-reading.json"
DEAD = DATA / "jobs" / "compost-yard-dead-tug.json"
TUG = DATA / "vehicles" / "mulch-tug.json"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A workshop's folder: vehicles beside jobs."""
    (tmp_path / "vehicles").mkdir()
    (tmp_path / "jobs").mkdir()
    write(tmp_path / "vehicles" / "small-cart.json", small_vehicle())
    write(tmp_path / "jobs" / "dark-lamp.json", small_job())
    return tmp_path


def write(path: Path, document: object) -> Path:
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def program(*arguments: object, **options: Any) -> subprocess.CompletedProcess[bytes]:
    """Runs the command in a process of its own."""
    command = [sys.executable, "-m", "faultloom", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, check=False, timeout=120, **options)


def snapshot(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# -- answers ---------------------------------------------------------------------------------------


def test_rank_shows_readings_suspects_and_what_lies_outside(run: Run) -> None:
    code, out, err = run("rank", ODD)
    assert code == 0
    assert err == ""
    assert "One reading does not fit" in out
    assert "probably misread" in out
    assert "Where the fault is" in out
    assert "Pedal micro switch" in out
    assert "Not in the model" in out
    assert "Not looked at: about" in out
    assert "No test tells these apart" in out
    assert " %  ━━" in out


def test_rank_puts_what_nothing_speaks_for_in_one_line(run: Run) -> None:
    job = DATA / "jobs" / "orchard-burnt-contacts.json"
    model = faultloom.Model.shipped("seedling-hauler")
    priors = dict(zip(model.modes, model.mode_priors(job), strict=True))
    chances = {c.id: c.probability for c in model.rank(job, top=200).components}
    assert chances["TL1"] == pytest.approx(priors["TL1/open"], rel=0.2)
    assert chances["TL1"] > 0.005
    _, out, _ = run("rank", job)
    suspects = out.partition("Where the fault is")[2].partition("Not in the model")[0]
    assert "K1" in suspects
    assert "Left tail lamp" not in suspects
    _, _, ordinary = suspects.partition("No likelier than before anything was found:")
    assert "TL1" in ordinary
    assert "K1" not in ordinary.split()


def test_rank_shows_all_while_nothing_stands_out(run: Run, tmp_path: Path) -> None:
    job = json.loads(DEAD.read_text(encoding="utf-8"))
    file = tmp_path / "job.json"
    file.write_text(json.dumps({**job, "entries": []}), encoding="utf-8")
    _, out, _ = run("rank", file)
    assert "No likelier than" not in out
    assert out.count("%") > 5


def test_rank_counts_both_ends_to_a_wire(run: Run) -> None:
    _, out, _ = run("rank", DEAD)
    ranking = faultloom.Model.shipped("mulch-tug").rank(DEAD)
    wire = next(w for w in ranking.wires if w.id == "W2")
    line = next(line for line in out.splitlines() if "Wire W2 from" in line)
    assert percent(wire.probability) in line
    assert not [line for line in out.splitlines() if "Control crimp of W2" in line]


def test_rank_shows_as_many_suspects_as_wanted(run: Run) -> None:
    _, out, _ = run("rank", ODD, "--top", 1)
    assert "Pedal micro switch" in out
    assert "Main contactor" not in out


def test_next_shows_probes_state_outcomes_and_cautions(run: Run) -> None:
    code, out, err = run("next", ODD, "--use", "meter")
    advice = faultloom.Model.shipped("seedling-hauler").next_step(ODD, instruments=["meter"])
    assert code == 0
    assert err == ""
    assert "Next: " in out
    assert "What it may show" in out
    assert "Instead you could" in out
    for caution in advice.step.cautions:
        assert f"  {caution.signal_word}  " in out
    for terminal in filter(None, (advice.step.red, advice.step.black)):
        assert terminal in out
    assert dollars(advice.step.expected_total_usd) in out
    assert dollars(advice.repair_only_usd) in out


def test_controls_are_named_in_the_order_in_which_they_are_moved() -> None:
    vehicle = json.loads((DATA / "vehicles" / "seedling-hauler.json").read_text(encoding="utf-8"))
    names = Names(vehicle, {}, {"components": [], "modes": []})
    state = {"charge_plug": "unplugged", **vehicle["run_state"]}
    step = Step("reading", "", 1, 1, 1, state=dict(sorted(state.items())))
    assert names.settings(step) == [
        "run/tow switch to run",
        "key to on",
        "direction selector to forward",
        "drive pedal to pressed (by a helper)",
    ]


def test_a_step_that_waits_for_a_failure_says_how_long(folder: Path) -> None:
    vehicle = json.loads((folder / "vehicles" / "small-cart.json").read_text(encoding="utf-8"))
    names = Names(vehicle, {}, {"components": [], "modes": []})
    trying = "Try it up to 20 times; note what shows the first time this fails: lamp lit (H1)"
    step = Step("reading", "", 1, 1, 1, red="S1.out", black="BAT1.negative", trying=trying)
    with io.StringIO() as page:
        Console(file=page, width=100).print(_show.how(step, names))
        shown = page.getvalue()
    assert f"Then         {trying}" in shown


def test_explain_weighs_each_reading(run: Run) -> None:
    code, out, _ = run("explain", ODD, "--top", 3)
    explanation = faultloom.Model.shipped("seedling-hauler").explain(ODD, top=3)
    assert code == 0
    assert "decibans" in out
    for entry in explanation.entries:
        assert any(line.startswith(f"{entry.id}  ") for line in out.splitlines())
    assert "  for  " in out
    assert "  against  " in out
    assert "if nothing broken" in out


def test_deck_is_the_deck_of_the_library(run: Run) -> None:
    situation = ("--state", "key=on", "--mode", "K1/coil_open", "--lift", "W7:from")
    code, out, err = run("deck", TUG, *situation)
    model = faultloom.Model(TUG)
    assert (code, err) == (0, "")
    assert out == model.spice_deck({"key": "on"}, ["K1/coil_open"], ["W7:from"])
    _, out, _ = run("deck", TUG, *situation, "--json")
    assert out == model.solve({"key": "on"}, ["K1/coil_open"], ["W7:from"]).text
    _, out, _ = run("deck", TUG, "--isolated", "--json")
    assert out == model.solve(isolated=True).text


@pytest.fixture
def crowded() -> list[faultloom.Group]:
    """Ten pairs of parts that can't be told apart, and two modes of one part."""
    return [
        faultloom.Group((f"K{k}/coil_open", f"S{k}/contact_open"), 0.2 / 1.5**k) for k in range(10)
    ] + [faultloom.Group(("K1/coil_open", "K1/coil_shorted"), 0.5)]


def test_only_what_matters_is_said_not_to_be_told_apart(crowded: list[faultloom.Group]) -> None:
    shares = _show._named_groups(crowded, Names({}, {}, {"components": [], "modes": []}))
    assert list(shares.values()) == [g.probability for g in crowded if 0.02 <= g.probability < 0.5]
    console = Console(file=io.StringIO(), width=80)
    console.print(_show._groups(shares))
    lines = console.file.getvalue().splitlines()  # type: ignore[attr-defined]
    assert len(lines) == _show._MOST_GROUPS + 1
    assert lines[-1].strip() == f"and {len(shares) - _show._MOST_GROUPS} more, see --json"


def test_groups_shows_what_no_test_tells_apart(run: Run) -> None:
    code, out, err = run("groups", DEAD, "--use", "meter", "--top", 2)
    answer = faultloom.Model.shipped("mulch-tug").ambiguity(DEAD, instruments=["meter"], top=2)
    assert (code, err) == (0, "")
    assert f"{percent(answer.isolated_to_one)}  of the suspicion" in out
    for group in answer.groups:
        assert f"{percent(group.probability)}: " in out
        assert group.splitter is not None
        assert "To split it" in out
    assert f"and {answer.group_count - 2} more" in out
    assert out.count("with meter") == 1
    for line in out.splitlines():
        assert len(line) <= 80
        assert line == line.rstrip()


def test_cautions_of_all_groups_are_shown_once(run: Run) -> None:
    _, out, _ = run("groups", DEAD, "--top", 5)
    answer = faultloom.Model.shipped("mulch-tug").ambiguity(DEAD, top=5)
    texts = {c.text for g in answer.groups if g.splitter for c in g.splitter.cautions}
    assert texts
    said = " ".join(out.split())
    assert all(said.count(" ".join(text.split())) == 1 for text in texts)


def test_testability_shows_figures_and_worst_groups(run: Run) -> None:
    means = ("--use", "meter", "--use", "ohmmeter", "--lift-wires", "--look", "--top", 1)
    code, out, err = run("testability", TUG, *means)
    figures = faultloom.Model(TUG).testability(
        instruments=["meter", "ohmmeter"], lifting=True, looks=True, top=1
    )
    assert (code, err) == (0, "")
    for share in (figures.detected, figures.isolated_to_one, figures.isolated_to_two):
        assert f"{percent(share)}  can be" in out
    assert f"{figures.mean_group_size:.1f}  things are left" in out
    assert "wire ends taken off" in " ".join(out.split())
    assert run("testability", TUG, *means, "--json") == (0, figures.text, "")


def test_what_is_off_limits_is_said(run: Run) -> None:
    code, out, _ = run("testability", TUG, "--pack-off", "--keep-closed", "drive", "--top", 1)
    assert code == 0
    assert "with the pack off all the time" in out
    assert "with these closed: " in out
    assert "heard" not in out


@pytest.mark.parametrize("command", [("groups", DEAD), ("testability", TUG)])
def test_bad_means_are_refused(run: Run, command: tuple[str, Path]) -> None:
    code, out, err = run(*command, "--use", "divining_rod")
    assert (code, out) == (2, "")
    assert err.startswith("--use: There is no 'divining_rod'; there is beeper, ")
    code, out, err = run(*command, "--keep-closed", "attic")
    assert (code, out) == (2, "")
    assert err.startswith("--keep-closed: There is no 'attic'")
    other = TUG if command[0] == "groups" else DEAD
    assert run(command[0], other)[0] == 2
    assert run(command[0], "nothing.json")[0] == 2


def test_a_budget_of_sets_reaches_the_search(run: Run) -> None:
    model = faultloom.Model.shipped("mulch-tug")
    expected = model.rank(DEAD, top=10, budget_sets=50).text
    assert run("rank", DEAD, "--budget-sets", 50, "--json") == (0, expected, "")
    assert (
        run("explain", DEAD, "--budget-sets", 50, "--json")[1] != run("explain", DEAD, "--json")[1]
    )
    assert run("rank", DEAD, "--budget-sets", "many")[0] == 2


def test_json_is_that_of_the_library_exactly(run: Run) -> None:
    model = faultloom.Model.shipped("mulch-tug")
    assert run("rank", DEAD, "--json") == (0, model.rank(DEAD, top=10).text, "")
    assert run("next", DEAD, "--json") == (0, model.next_step(DEAD).text, "")
    assert run("explain", DEAD, "--json") == (0, model.explain(DEAD).text, "")
    assert run("groups", DEAD, "--json") == (0, model.ambiguity(DEAD, top=5).text, "")


@pytest.mark.parametrize("command", ["rank", "next", "explain"])
@pytest.mark.parametrize("job", [DEAD, ODD], ids=lambda path: path.stem)
def test_answers_fit_a_narrow_terminal(run: Run, command: str, job: Path) -> None:
    code, out, err = run(command, job)
    assert (code, err) == (0, "")
    for line in out.splitlines():
        assert len(line) <= 80
        assert line == line.rstrip()
        assert "\x1b" not in line
    assert "…" not in out


def test_a_job_without_entries_is_answered(run: Run, folder: Path) -> None:
    path = write(folder / "jobs" / "new.json", {**small_job(), "entries": []})
    for command in ("rank", "next", "explain"):
        code, out, err = run(command, path)
        assert (code, err) == (0, "")
        assert "Lamp stays dark" in out


def test_tries_that_went_the_same_way_are_told_together(run: Run, folder: Path) -> None:
    job = small_job()
    del job["entries"][0]["outcome"]
    job["entries"][0]["tries"] = {"yes": 2, "no": 3}
    code, out, err = run("rank", write(folder / "jobs" / "tries.json", job))
    assert (code, err) == (0, "")
    told = [line for line in out.splitlines() if line.startswith("  lamp")]
    assert len(told) == 2
    assert [line.rstrip()[-9:] for line in told] == [", 2 times", ", 3 times"]


# -- where documents come from ---------------------------------------------------------------------


def test_the_vehicle_beside_the_job_is_used(run: Run, folder: Path) -> None:
    job = folder / "jobs" / "dark-lamp.json"
    code, out, _ = run("rank", job)
    assert code == 0
    assert "A lamp on a switch" in out
    (folder / "vehicles" / "small-cart.json").rename(folder / "elsewhere.json")
    code, out, err = run("rank", job)
    assert (code, out) == (2, "")
    assert (
        err
        == f"{job}: There is no file for vehicle 'small-cart'; give one with --vehicle (/vehicle)\n"
    )
    assert run("rank", job, "--vehicle", folder / "elsewhere.json")[0] == 0


def test_other_documents_may_be_given(run: Run, folder: Path) -> None:
    job = folder / "jobs" / "dark-lamp.json"
    plain = run("rank", job, "--json")[1]
    for option in ("kinds", "rates", "instruments"):
        assert run("rank", job, "--json", f"--{option}", DATA / f"{option}.json")[1] == plain
    rates = json.loads((DATA / "rates.json").read_text(encoding="utf-8"))
    rates["not_in_model"] = 0.2
    other = write(folder / "rates.json", rates)
    assert run("rank", job, "--json", "--rates", other)[1] != plain


def test_a_problem_names_the_file_at_fault(run: Run, folder: Path) -> None:
    job = folder / "jobs" / "dark-lamp.json"
    rates = write(folder / "rates.json", {"format": "faultloom.rates"})
    code, out, err = run("rank", job, "--rates", rates)
    assert (code, out) == (2, "")
    assert all(line.startswith(f"{rates}: ") for line in err.splitlines())
    vehicle = small_vehicle()
    vehicle["wires"]["W1"]["to"] = "S1.inn"
    path = write(folder / "vehicles" / "small-cart.json", vehicle)
    code, out, err = run("rank", job)
    assert (code, out) == (2, "")
    assert err.startswith(f"{path}: ")
    assert "(/wires/W1/to)" in err


def test_a_job_may_come_from_standard_input() -> None:
    result = program("rank", "-", "--json", input=DEAD.read_bytes())
    assert result.returncode == 0
    assert json.loads(result.stdout)["job"] == DEAD.stem


# -- check -----------------------------------------------------------------------------------------


def test_check_finds_nothing_in_the_shipped_documents(run: Run) -> None:
    files = [
        p
        for p in sorted(DATA.rglob("*"))
        if p.suffix in (".json", ".csv") and p.parent.name != "schema"
    ]
    code, out, err = run("check", *files)
    assert (code, err) == (0, "")
    assert out.splitlines() == [f"{file}: fine" for file in files]


def test_check_reports_lint_with_another_code(run: Run, folder: Path) -> None:
    vehicle = small_vehicle()
    vehicle["controls"]["lever"] = {**vehicle["controls"]["key"], "title": "Lever"}
    path = write(folder / "idle.json", vehicle)
    code, out, err = run("check", path)
    assert (code, err) == (1, "")
    assert len(out.splitlines()) == 1
    assert out.startswith(f"{path}: ")
    assert out.endswith("(/controls/lever)\n")


def test_check_reports_every_problem_of_every_file(run: Run, folder: Path) -> None:
    job = small_job()
    job["colour"] = "red"
    job["exposure_hours"] = -1
    bad = write(folder / "jobs" / "bad.json", job)
    good = folder / "jobs" / "dark-lamp.json"
    code, out, err = run("check", good, bad)
    assert (code, err) == (2, "")
    lines = out.splitlines()
    assert lines[0] == f"{good}: fine"
    assert len(lines) == 3
    assert {line.rpartition(" ")[2] for line in lines[1:]} == {"(/colour)", "(/exposure_hours)"}
    code, out, _ = run("check", good, bad, "--json")
    report = json.loads(out)
    assert code == 2
    assert [item["file"] for item in report] == [str(good), str(bad)]
    assert [len(item["problems"]) for item in report] == [0, 2]
    assert report[1]["problems"][0].keys() == {"code", "number", "message", "pointer"}


def test_check_looks_up_the_names_in_a_job(run: Run, folder: Path) -> None:
    job = small_job()
    job["entries"][1]["red"] = "S1.inn"
    path = write(folder / "jobs" / "bad.json", job)
    code, out, _ = run("check", path)
    assert code == 2
    assert out == f"{path}: There is no terminal 'S1.inn'; did you mean 'S1.in'? (/entries/1/red)\n"


def test_check_says_when_it_has_no_vehicle(run: Run, folder: Path) -> None:
    path = write(folder / "jobs" / "lost.json", {**small_job(), "vehicle": "lost-cart"})
    code, out, err = run("check", path)
    assert (code, out) == (0, f"{path}: fine\n")
    assert err == f"{path}: Checked without its vehicle 'lost-cart'; give it with --vehicle\n"


def test_check_reads_run_lists(run: Run, folder: Path) -> None:
    path = folder / "list.csv"
    path.write_text("wire,from,to\nW1,A.x,B.y\n", encoding="utf-8")
    code, out, _ = run("check", path)
    assert code == 2
    assert "length_metre" in out


# -- bad input -------------------------------------------------------------------------------------


def terminal_missing(job: Document) -> None:
    job["entries"][1]["red"] = "S1.inn"


BAD_JOBS: dict[str, tuple[Callable[[Document], object] | bytes, str]] = {
    "unknown key": (lambda j: j.update(colour=1), "(/colour)"),
    "wrong unit": (
        lambda j: j["entries"][1].update(instrument="filament_lamp"),
        "(/entries/1/volts)",
    ),
    "negative": (lambda j: j.update(exposure_hours=-3), "(/exposure_hours)"),
    "not a number": (lambda j: j["entries"][1].update(volts=float("nan")), "(/entries/1)"),
    "missing terminal": (terminal_missing, "(/entries/1/red)"),
    "nested brackets": (b"[" * 10_000_000, "deeper than 64 levels"),
    "empty": (b"", "Not JSON"),
    "control codes": (lambda j: j["entries"][1].update(red="S1.\x1b[31min"), "(/entries/1/red)"),
}


@pytest.mark.parametrize("command", ["check", "rank", "next", "explain"])
@pytest.mark.parametrize("mistake", BAD_JOBS)
def test_a_bad_job_is_refused_in_a_line(run: Run, folder: Path, command: str, mistake: str) -> None:
    change, said = BAD_JOBS[mistake]
    path = folder / "jobs" / "bad.json"
    if isinstance(change, bytes):
        path.write_bytes(change)
    else:
        job = small_job()
        change(job)
        write(path, job)
    before = snapshot(folder)
    code, out, err = run(command, path)
    assert code == 2
    text = out if command == "check" else err
    assert (err if command == "check" else out) == ""
    assert len(text.splitlines()) == 1
    assert text.startswith(f"{path}: ")
    assert said in text
    assert "\x1b" not in text
    assert snapshot(folder) == before


def test_kinds_in_a_loop_are_refused(run: Run, folder: Path) -> None:
    kinds = json.loads((DATA / "kinds.json").read_text(encoding="utf-8"))
    kinds["kinds"]["dash_lamp"]["based_on"] = "tail_lamp"
    path = write(folder / "kinds.json", kinds)
    code, out, err = run("rank", folder / "jobs" / "dark-lamp.json", "--kinds", path)
    assert (code, out) == (2, "")
    assert err.startswith(f"{path}: Kinds are based on each other in a loop")
    assert len(err.splitlines()) == 1
    assert run("check", path)[0] == 2


def test_a_document_of_another_kind_is_refused(run: Run) -> None:
    code, out, err = run("rank", TUG)
    assert (code, out) == (2, "")
    assert err == f"{TUG}: This is a vehicle document, but a job is needed here (/format)\n"
    assert run("deck", DEAD)[0] == 2


def test_a_file_that_can_not_be_read_is_refused(run: Run, tmp_path: Path) -> None:
    for command in ("rank", "deck", "check"):
        for path in (tmp_path / "nothing.json", tmp_path):
            code, out, err = run(command, path)
            assert (code, out) == (2, "")
            assert err.startswith(f"{path}: Can't be read: ")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--state", "kee=on"], "There is no control 'kee'"),
        (["--state", "key=maybe"], "Control 'key' has no position 'maybe'"),
        (["--mode", "K1/rusty"], "no fault mode 'rusty'"),
        (["--lift", "W7"], "no wire end 'W7'"),
    ],
)
def test_a_situation_that_can_not_be_is_refused(run: Run, arguments: list[str], said: str) -> None:
    code, out, err = run("deck", TUG, *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_names_in_options_are_checked(run: Run) -> None:
    code, out, err = run("next", DEAD, "--use", "divining_rod", "--keep-closed", "attic")
    assert (code, out) == (2, "")
    assert err.startswith("--use: There is no 'divining_rod'; there is beeper, ")


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["divine"],
        ["rank"],
        ["rank", "a", "b"],
        ["rank", "a", "--top", "0"],
        ["rank", "a", "--top", "many"],
        ["rank", "a", "--veh", "b"],
        ["deck", "a", "--state", "key"],
        ["check"],
    ],
)
def test_bad_usage_ends_with_two(run: Run, arguments: list[str]) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith("usage: faultloom")


def test_help_and_version_are_answers(run: Run) -> None:
    for arguments in (["--help"], ["rank", "--help"], ["next", "--help"]):
        code, out, err = run(*arguments)
        assert (code, err) == (0, "")
        assert out.startswith("usage: faultloom")
    assert run("--version") == (0, f"faultloom {faultloom.__version__}\n", "")


# -- terminals, pipes and signals ------------------------------------------------------------------


def test_nothing_is_coloured_away_from_a_terminal() -> None:
    result = program("rank", DEAD)
    assert result.returncode == 0
    assert b"\x1b" not in result.stdout + result.stderr


def test_plain_signs_where_the_terminal_knows_no_others() -> None:
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    result = program("rank", DEAD, env=environment)
    assert result.returncode == 0
    assert result.stdout.isascii()
    assert b" %  ---" in result.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
@pytest.mark.parametrize("no_color", [False, True])
def test_colour_only_on_a_terminal_that_wants_it(no_color: bool) -> None:
    import pty  # noqa: PLC0415  # not on every system

    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "200"}
    environment.pop("NO_COLOR", None)
    if no_color:
        environment["NO_COLOR"] = "1"
    command = [sys.executable, "-m", "faultloom", "rank", str(ODD)]
    with subprocess.Popen(
        command, stdout=theirs, stderr=subprocess.DEVNULL, env=environment
    ) as process:
        os.close(theirs)
        written = b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:
                break
            if not piece:
                break
            written += piece
    os.close(ours)
    assert process.returncode == 0
    assert (b"\x1b[1;33m" in written) != no_color
    assert b"probably misread" in written


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break differently there")
def test_a_reader_that_leaves_is_no_error() -> None:
    command = [sys.executable, "-m", "faultloom", "deck", str(TUG)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        err = process.stderr.read()
    assert err == b""
    assert process.returncode == 141


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent differently there")
def test_ctrl_c_ends_with_130() -> None:
    # Reads standard input for ever, so the signal meets the command at work.
    command = [sys.executable, "-m", "faultloom", "rank", "-"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    # A shell starts background jobs with SIGINT ignored, and children inherit that.
    heed = {"preexec_fn": lambda: signal.signal(signal.SIGINT, signal.SIG_DFL)}
    with subprocess.Popen(command, **pipes, **heed) as process:  # type: ignore[call-overload]
        time.sleep(2)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert out == b""
    assert err == b"Stopped.\n"


class Terminal(io.StringIO):
    """Standard error that claims to be a terminal."""

    def isatty(self) -> bool:
        return True


def test_long_work_shows_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    now = 0.0
    monkeypatch.setattr(time, "monotonic", lambda: now)
    with Patience() as patience:
        patience(0.0)
        now = 0.9
        patience(0.2)
        assert stream.getvalue() == ""
        now = 1.1
        patience(0.5)
        assert "Working it out" in stream.getvalue()
        assert "50 %" in stream.getvalue()


def test_long_work_is_silent_away_from_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with Patience() as patience:
        patience._begun -= 10
        patience(0.5)
    assert capsys.readouterr().err == ""


# -- words -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0 %"),
        (1e-9, "<0.1 %"),
        (0.0005, "0.1 %"),
        (0.032, "3.2 %"),
        (0.0996, "10 %"),
        (0.47, "47 %"),
        (0.991, "99.1 %"),
        (0.99949, "99.9 %"),
        (0.99999, ">99.9 %"),
        (1, "100 %"),
    ],
)
def test_percent(value: float, text: str) -> None:
    assert percent(value) == text


def test_minutes_and_dollars() -> None:
    assert [minutes(v) for v in (0.3, 4, 3.6, 9.96, 34.2)] == [
        "0.3 min",
        "4 min",
        "3.6 min",
        "10 min",
        "34 min",
    ]
    assert [dollars(v) for v in (0.5, 9.99, 63.2)] == ["$0.50", "$9.99", "$63"]


# -- the end of a job ------------------------------------------------------------------------------


@pytest.fixture
def proving(tmp_path: Path) -> Callable[[Document], Path]:
    """Writes a job beside the vehicle whose key has to be proved to stop it."""
    for name in ("vehicles", "jobs"):
        (tmp_path / name).mkdir()
    for vehicle in (cart_with_interlock(), cart_with_motor()):
        write(tmp_path / "vehicles" / f"{vehicle['id']}.json", vehicle)
    return lambda job: write(tmp_path / "jobs" / "cut-wire.json", job)


def test_verify_shows_what_is_to_prove(run: Run, proving: Callable[[Document], Path]) -> None:
    code, out, err = run("verify", proving(spliced_job()))
    assert (code, err) == (0, "")
    shown = " ".join(out.split())
    assert "What was repaired W4" in shown
    assert "To prove before it goes back open It drives: key on" in shown
    assert "open At most 0.6031 V from S1.out to M1.a1, key on before 12.6 V" in shown
    assert "open It does not drive with the key off: all at rest" in shown
    assert "WARNING Never leave an interlock bypassed." in shown


def test_verify_shows_what_passed_and_what_failed(
    run: Run, proving: Callable[[Document], Path]
) -> None:
    _, out, _ = run("verify", proving(proved_job()))
    shown = " ".join(out.split())
    assert "Everything is proved" in shown
    assert "before 12.6 V, after 0.01 V" in shown
    assert "open" not in shown.partition("Everything is proved")[2].partition("WARNING")[0]
    _, out, _ = run("verify", proving(proved_job(volts=3.2)))
    shown = " ".join(out.split())
    assert "Something failed: go on with the job" in shown
    assert "failed At most 0.6031 V" in shown
    job = proving(proved_job(with_key_off="yes"))
    assert "failed It does not drive with the key off" in " ".join(run("verify", job)[1].split())
    assert run("verify", job, "--json")[1] == faultloom.Model(cart_with_interlock()).verification(
        job
    ).text


@pytest.mark.parametrize(
    ("job", "options", "said"),
    [
        (spliced_job(), [], ["Not proved yet: It drives", "At most", "with the key off"]),
        (spliced_job(), ["--word"], ["nobody's word stands for it"]),
        (proved_job(volts=3.2), [], ["Failed: At most 0.6031 V"]),
        (proved_job(volts=3.2), ["--word"], ["Failed: At most 0.6031 V"]),
        (proved_job(with_key_off="yes"), ["--word"], ["Failed: It does not drive"]),
        ({**spliced_job(), "entries": []}, ["--word"], ["No repair is recorded", "nobody's word"]),
    ],
)
def test_close_says_line_by_line_what_stands_against_it(
    job: Document,
    options: list[str],
    said: list[str],
    run: Run,
    proving: Callable[[Document], Path],
) -> None:
    path = proving(job)
    before = path.read_bytes()
    code, out, err = run("close", path, "repaired", *options, "--output", path)
    assert (code, out) == (1, "")
    lines = err.splitlines()
    assert len(lines) == len(said)
    for line, part in zip(lines, said, strict=True):
        assert part in line
    assert path.read_bytes() == before
    assert snapshot(path.parent) == {path: before}


def test_a_bypass_that_was_found_stands_against_closing(
    run: Run, proving: Callable[[Document], Path]
) -> None:
    """Every check passed; nobody's word makes up for it, where jumpers are common."""
    rates = json.loads((DATA / "rates.json").read_text(encoding="utf-8"))
    rates["per_visit"]["bypassed"] = 0.3
    job = {**proved_job(with_key_off="yes"), "vehicle": "cart-with-motor"}
    look = {"type": "look", "component": "S1:work", "outcome": "damage"}
    job["entries"] += [{"id": "e8", **look}, {"id": "e9", **look}]
    path = proving(job)
    options = ["--rates", write(path.with_name("rates.json"), rates)]
    shown = run("verify", path, *options)[1]
    assert "Everything is proved" in shown
    assert "Left by earlier hands" in shown
    code, out, err = run("close", path, "repaired", "--word", *options)
    assert (code, out) == (1, "")
    assert err.startswith("Earlier work at key switch is probably still there")
    assert err.count("\n") == 1
    code, out, _ = run("close", path, "not_repaired", *options)
    assert code == 0
    assert json.loads(out)["closing"]["reported"] == ["S1:work"]


def test_close_writes_the_job_closed(run: Run, proving: Callable[[Document], Path]) -> None:
    job = proved_job()
    path = proving(job)
    code, out, err = run("close", path, "repaired", "--note", "on the ramp")
    assert (code, err) == (0, "")
    closing = {"verdict": "repaired", "by": "verification", "note": "on the ramp"}
    assert json.loads(out) == {**job, "closing": closing}
    assert json.loads(path.read_text(encoding="utf-8")) == job
    elsewhere = path.with_name("closed.json")
    assert run("close", path, "repaired", "--output", elsewhere) == (0, "", "")
    assert json.loads(elsewhere.read_text(encoding="utf-8"))["closing"]["by"] == "verification"
    assert run("close", path, "repaired", "--output", path) == (0, "", "")
    assert path.read_bytes() == elsewhere.read_bytes()
    assert set(snapshot(path.parent)) == {path, elsewhere}
    assert faultloom.check_document(path) == []


def test_a_word_stands_for_all_but_interlocks(
    run: Run, proving: Callable[[Document], Path]
) -> None:
    job = proved_job()
    del job["entries"][-2]  # the drop along the splice
    path = proving(job)
    assert run("close", path, "repaired")[0] == 1
    code, out, _ = run("close", path, "repaired", "--word")
    assert code == 0
    assert json.loads(out)["closing"] == {"verdict": "repaired", "by": "word"}


def test_close_refuses_a_place_it_can_not_write_to(
    run: Run, proving: Callable[[Document], Path]
) -> None:
    path = proving(proved_job())
    before = snapshot(path.parent)
    for place, said in (
        (path.parent, "Is a folder"),
        (path.parent / "nowhere" / "x.json", "Can't be written: No such file"),
    ):
        code, out, err = run("close", path, "repaired", "--output", place)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1
    with JobFile(path):
        code, _, err = run("close", path, "repaired", "--output", path)
        assert code == 2
        assert "In use by another run" in err
    assert snapshot(path.parent) == before


@pytest.mark.parametrize("when", ["fsync", "replace"])
def test_a_write_that_fails_leaves_the_job_as_it_was(
    when: str, run: Run, proving: Callable[[Document], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = proving(proved_job())
    before = snapshot(path.parent)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    if when == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    code, out, err = run("close", path, "repaired", "--output", path)
    assert (code, out) == (2, "")
    assert err == f"{path}: Can't be written: No space left on device\n"
    assert snapshot(path.parent) == before
