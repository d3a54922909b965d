"""`faultloom bench` as a person uses it: whole jobs at a terminal, interrupted, killed, gone on with."""

from __future__ import annotations

import json
import os
import resource
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import faultloom
import pexpect
import pytest
from faultloom.answers import Step

from small_cart import (
    Document,
    cart_with_interlock,
    cart_with_motor,
    proved_job,
    small_job,
    small_vehicle,
    spliced_job,
)

PROMPT = "\r\n> "
_PATIENCE_S = 120
_ENVIRONMENT = {**os.environ, "TERM": "dumb", "PYTHONUNBUFFERED": "1"}
_EAGER = """
import sys
from faultloom import _terminal
_terminal._PATIENCE_S = 0
from faultloom.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.fixture
def cart(tmp_path: Path) -> Path:
    """The small cart's file."""
    path = tmp_path / "small-cart.json"
    path.write_text(json.dumps(small_vehicle()), encoding="utf-8")
    return path


@pytest.fixture
def job_path(tmp_path: Path) -> Path:
    return tmp_path / "j.json"


@pytest.fixture
def motor_cart(tmp_path: Path) -> Path:
    """The file of the small cart with a motor."""
    path = tmp_path / "cart-with-motor.json"
    path.write_text(json.dumps(cart_with_motor()), encoding="utf-8")
    return path


class Terminal:
    """The bench at a terminal."""

    def __init__(
        self,
        *arguments: object,
        program: tuple[str, ...] = ("-m", "faultloom"),
        environment: dict[str, str] = _ENVIRONMENT,
    ) -> None:
        command = [*program, "bench", *map(str, arguments)]
        self.talk = pexpect.spawn(
            sys.executable,
            command,
            env=environment,
            timeout=_PATIENCE_S,
            encoding="utf-8",
            dimensions=(50, 100),
        )
        self.said = ""

    def wait(self) -> str:
        """What is shown until the next prompt."""
        self.talk.expect_exact(PROMPT)
        shown = str(self.talk.before)
        self.said += shown
        return shown

    def type(self, line: str) -> str:
        """Types a line; what is shown until the next prompt."""
        self.talk.sendline(line)
        return self.wait()

    def end(self, line: str | None = None) -> int:
        """Ends with a last line; the exit code, or minus the signal."""
        if line is not None:
            self.talk.sendline(line)
        self.talk.expect(pexpect.EOF)
        self.said += str(self.talk.before)
        self.talk.close()
        status = self.talk.exitstatus
        return -self.talk.signalstatus if status is None else int(status)

    def kill(self) -> None:
        self.talk.kill(signal.SIGKILL)
        self.talk.wait()
        self.talk.close()

    @property
    def pid(self) -> int:
        return int(self.talk.pid)


Sit = Callable[..., Terminal]
Begun = Callable[[Document], Path]


@pytest.fixture
def sit() -> Iterator[Sit]:
    """Sits down at the bench; nobody is left there afterwards."""
    sittings: list[Terminal] = []

    def begin(*arguments: object, **options: Any) -> Terminal:
        sittings.append(Terminal(*arguments, **options))
        return sittings[-1]

    yield begin
    for sitting in sittings:
        if not sitting.talk.closed:
            sitting.talk.close(force=True)


def script(lines: list[str], *arguments: object, **more: Any) -> subprocess.CompletedProcess[str]:
    """Runs the bench on a list of answers."""
    command = [sys.executable, "-m", "faultloom", "bench", *map(str, arguments)]
    text = "".join(line + "\n" for line in lines)
    return subprocess.run(
        command, input=text, capture_output=True, text=True, check=False, timeout=300, **more
    )


def job_in(path: Path) -> Document:
    """The job in a file, which has to be whole and valid."""
    text = path.read_text(encoding="utf-8")
    assert faultloom.check_document(text) == []
    document: Document = json.loads(text)
    return document


def entry_ids(path: Path) -> list[str]:
    return [entry["id"] for entry in job_in(path)["entries"]]


def cards(shown: str) -> list[str]:
    """What is to be done in each step that was shown."""
    return [part.partition("What it may show")[0] for part in shown.split("Next: ")[1:]]


# Complaint, cues; the small cart has no motor to be asked about.
OPENING = ["stays dark", ""]
OPENING_OF_MOTOR = [*OPENING, "no"]


# -- scripts of answers ----------------------------------------------------------------------------


def test_a_new_job_asks_for_the_complaint_and_proposes_a_step(cart: Path, job_path: Path) -> None:
    ended = script(["The lamp stays dark.", "2, 3"], cart, "--job", job_path)
    assert ended.returncode == 0, ended.stderr
    assert "What is the complaint" in ended.stdout
    assert "Next: " in ended.stdout
    assert "Answer  " in ended.stdout
    assert f"Go on with: faultloom bench {cart} --job {job_path}" in ended.stdout
    job = job_in(job_path)
    assert job["complaint"] == job["title"] == "The lamp stays dark."
    assert [entry["cue"] for entry in job["entries"]] == ["comes_and_goes", "dash_alive"]


def test_the_command_that_goes_on_has_the_same_options(cart: Path, job_path: Path) -> None:
    options = ["--use", "meter", "--keep-closed", "dash", "--pack-off"]
    ended = script(OPENING, cart, "--job", job_path, *options)
    last = ended.stdout.splitlines()[-1].removeprefix("Go on with: faultloom bench ")
    assert job_in(job_path)["instruments"] == ["meter"]
    again = script([], *shlex.split(last))
    assert again.returncode == 0, again.stderr
    assert again.stdout.splitlines()[-1].endswith(last)


def test_without_a_file_the_job_is_named_after_vehicle_and_day(cart: Path, tmp_path: Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    for _ in range(2):
        assert script(OPENING, cart, cwd=folder).returncode == 0
    first, second = sorted(path.stem for path in folder.iterdir())
    assert first.startswith("small-cart-20")
    assert second == f"{first}-2"


def test_a_shipped_vehicle_goes_by_its_id(job_path: Path) -> None:
    ended = script(["quit"], "mulch-tug", "--job", job_path)
    assert ended.returncode == 0
    assert "Mulch tug" in ended.stdout
    assert not job_path.exists()


def test_whether_it_runs_is_asked_if_the_vehicle_has_a_motor(job_path: Path) -> None:
    ended = script(["dead", "no", "maybe", "no", "quit"], "mulch-tug", "--job", job_path)
    assert "Type yes, no, or nothing at all" in ended.stdout
    (entry,) = job_in(job_path)["entries"]
    assert (entry["part"], entry["sign"], entry["outcome"]) == ("M1", "turns", "no")


def test_answers_move_the_suspicion(cart: Path, job_path: Path) -> None:
    lines = [*OPENING, "H1 lit no, key on", "0.02 V on S1.out against pack negative, key on"]
    ended = script([*lines, "rank"], cart, "--job", job_path)
    assert ended.returncode == 0, ended.stderr
    assert "Noted" in ended.stdout
    assert "How the suspicion moved" in ended.stdout
    assert " up to " in ended.stdout
    assert " down to " in ended.stdout
    assert "Where the fault is" in ended.stdout
    job = job_in(job_path)
    assert job["entries"] == [
        {
            "id": "e1",
            "type": "sign",
            "part": "H1",
            "sign": "lit",
            "state": {"key": "on"},
            "outcome": "no",
        },
        {
            "id": "e2",
            "type": "reading",
            "instrument": "meter",
            "red": "S1.out",
            "black": "BAT1.negative",
            "state": {"key": "on"},
            "volts": 0.02,
        },
    ]
    before = faultloom.Model(cart).rank({**job, "entries": job["entries"][:1]})
    after = faultloom.Model(cart).rank(job)
    moved = ended.stdout.rpartition("How the suspicion moved")[2]
    for ranking in (before, after):
        for suspect in ranking.wires[:2]:
            assert suspect.id in moved


def test_a_step_shows_probes_controls_places_cautions_and_outcomes(
    cart: Path, job_path: Path
) -> None:
    ended = script([*OPENING, "H1 lit no, key on"], cart, "--job", job_path, "--use", "meter")
    step = faultloom.Model(cart).next_step(job_path, instruments=["meter"]).step
    shown = " ".join(ended.stdout.rpartition("Next: ")[2].split())
    for terminal in filter(None, (step.red, step.black)):
        assert terminal in shown
    for zone in step.zones_to_open:
        assert zone.title in shown
    for caution in step.cautions:
        assert f"{caution.signal_word} {caution.text}" in shown
    for outcome in step.outcomes:
        if outcome.probability > 0.02:
            assert outcome.outcome in shown
    assert " min this step" in shown


def test_undo_takes_back_and_the_ranking_is_as_before(cart: Path, job_path: Path) -> None:
    lines = [*OPENING, "H1 lit no, key on", "rank", "looked at W3, damaged", "undo", "rank"]
    ended = script([*lines, "undo", "undo"], cart, "--job", job_path)
    rankings = [part.partition("\n> ")[0] for part in ended.stdout.split("Where the fault is")[1:]]
    assert len(rankings) == 2
    assert rankings[0] == rankings[1]
    assert "Taken back: e2 look at W3: damage" in ended.stdout
    assert "There is nothing to take back" in ended.stdout
    assert job_in(job_path)["withdrawn"] == ["e2", "e1"]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("xyzzy", "'xyzzy' is no answer here"),
        ("undoo", "did you mean 'undo'?"),
        ("48 psi", "'psi' is no unit here"),
        ("something else: 3 V on S9.out", "'S9.out' is not understood, near it: S1.out"),
        ("something else: 9e9 V", "not understood"),
        ("meter 999 V on S1.out against pack negative", "shows at most 600"),
        ("other 99", "'99' is none of the steps"),
        ("skip all", "Type skip alone"),
        ("", "yes, no or chatters"),
        ("x" * 9000, "too long"),
        ("\x1b[31mred\x07", "no answer here"),
    ],
)
def test_what_is_not_understood_costs_one_line_and_loses_nothing(
    line: str, said: str, motor_cart: Path, job_path: Path
) -> None:
    script([*OPENING_OF_MOTOR, "skip"], motor_cart, "--job", job_path)
    before = job_path.read_bytes()
    ended = script([line, "quit"], motor_cart, "--job", job_path)
    assert "Answer  yes, no or chatters" in ended.stdout
    assert ended.returncode == 0, ended.stderr
    assert said in " ".join(ended.stdout.split())
    assert "\x1b" not in ended.stdout
    assert "\x07" not in ended.stdout
    assert job_path.read_bytes() == before


def test_bytes_that_are_no_text_are_one_more_word(cart: Path, job_path: Path) -> None:
    command = [sys.executable, "-m", "faultloom", "bench", cart, "--job", job_path]
    lines = b"dark\n\n\xff\xfe\x00\nquit\n"
    ended = subprocess.run(command, input=lines, capture_output=True, check=False, timeout=60)
    assert ended.returncode == 0, ended.stderr
    assert b"no answer here" in ended.stdout


def test_not_sure_and_cannot_are_noted_and_lead_to_another_step(
    motor_cart: Path, job_path: Path
) -> None:
    ended = script([*OPENING_OF_MOTOR, "not sure", "can't"], motor_cart, "--job", job_path)
    first, second, third = cards(ended.stdout)
    assert len({first, second, third}) == 3
    assert [e["outcome"] for e in job_in(job_path)["entries"][1:]] == ["not_sure", "cannot_reach"]
    resumed = script(["quit"], motor_cart, "--job", job_path)
    assert cards(resumed.stdout) == [third]


def test_skip_and_other_choose_among_the_steps_and_note_nothing(
    motor_cart: Path, job_path: Path
) -> None:
    lines = [*OPENING_OF_MOTOR, "skip", "step", "other", "1", "other 2", "other", ""]
    ended = script(lines, motor_cart, "--job", job_path)
    assert entry_ids(job_path) == ["e1"]
    shown = [part.partition("\n> ")[0] for part in ended.stdout.split("Next: ")[1:]]
    first, second, same, after_1, after_2, last = shown
    assert second == same
    assert len({first, second, after_2}) == 3
    assert after_1 == first
    assert last == after_2
    listed = ended.stdout.partition("Other steps")[2].partition("Which one?")[0]
    rows = [line for line in listed.splitlines() if line.lstrip()[:1].isdigit()]
    assert len(rows) > 5


def test_why_gives_costs_and_weights(cart: Path, job_path: Path) -> None:
    ended = script([*OPENING, "why", "H1 lit no, key on", "why"], cart, "--job", job_path)
    assert "Nothing was found so far" in ended.stdout
    assert "Why this step" in ended.stdout
    assert "decibans" in ended.stdout


def test_help_lists_what_may_be_typed(motor_cart: Path, job_path: Path) -> None:
    ended = script([*OPENING_OF_MOTOR, "help"], motor_cart, "--job", job_path)
    for typed in ("not sure", "can't", "undo", "why", "skip", "other", "something else", "rank"):
        assert f"  {typed}" in ended.stdout


def test_a_repair_ends_what_was_broken_and_says_what_it_mended(
    motor_cart: Path, job_path: Path
) -> None:
    lines = [*OPENING_OF_MOTOR, "looked at M1, damaged", "looked at M1, damaged", "replaced M1"]
    ended = script([*lines, "undo", "replaced M1"], motor_cart, "--job", job_path)
    assert ended.returncode == 0, ended.stderr
    assert "M1 motor, chance that it had been faulty" in " ".join(ended.stdout.split())
    assert "repair: replace M1\n      says nothing" not in ended.stdout
    assert "Taken back: e4" in ended.stdout
    job = job_in(job_path)
    assert job["entries"][-1] == {
        "id": "e5",
        "type": "repair",
        "component": "M1",
        "action": "replace",
    }
    assert job["withdrawn"] == ["e4"]
    repairs = faultloom.Model(motor_cart).rank(job)["repairs"]
    assert [repair["entry"] for repair in repairs] == ["e5"]


def test_what_was_shown_to_run_is_not_to_be_shown_again(motor_cart: Path, job_path: Path) -> None:
    damaged = "looked at M1, damaged"
    found = [damaged, damaged, "12.6 V M1.a1 M1.a2, key on", "replaced M1"]
    lines = [*OPENING_OF_MOTOR, *found, "runs", "why", "skip", "undo"]
    ended = script(lines, motor_cart, "--job", job_path)
    assert ended.returncode == 0, ended.stderr
    before, proof = ended.stdout.split("To prove: It drives")[:2]
    assert "> replaced M1" in before
    assert "> runs" in proof
    assert ended.stdout.count("Everything is proved") == 1
    assert "prove that it runs" not in ended.stdout.partition("> replaced M1")[2]
    # Undo asks for the proof again, and what it recorded is gone.
    assert ended.stdout.rpartition("Taken back: e6")[2].count("To prove: It drives") == 1
    assert job_in(job_path)["withdrawn"] == ["e6"]


def test_done_at_a_repair_is_asked_about(motor_cart: Path, job_path: Path) -> None:
    """It could mean that the repair is made or that the sitting is over."""
    found = ["looked at M1, damaged", "0 A clamp on W4, key on", "12.6 V M1.a1 M1.a2, key on"]
    lines = [*OPENING_OF_MOTOR, *found, "other"]
    listed = script(lines, motor_cart, "--job", job_path).stdout
    current = listed.rpartition("Next: ")[2]
    number = next((r.split()[0] for r in listed.splitlines() if " Replace M1" in r), "")
    assert number or current.startswith("Replace M1")
    choose = [f"other {number}"] if number and not current.startswith("Replace M1") else []
    ended = script([*choose, "done", "done", "runs"], motor_cart, "--job", job_path)
    assert ended.stdout.count("Done with what?") == 2
    assert [e["type"] for e in job_in(job_path)["entries"][-2:]] == ["repair", "sign"]


def test_opened_places_stay_open_even_after_undo(motor_cart: Path, job_path: Path) -> None:
    def first_look(lines: list[str]) -> str:
        listed = script([*lines, "other"], motor_cart, "--job", job_path).stdout
        return next(row.split()[0] for row in listed.splitlines() if " Look at " in row)

    number = first_look(OPENING_OF_MOTOR)
    ended = script([f"other {number}", "can't"], motor_cart, "--job", job_path)
    assert "Open first  Bay" in ended.stdout
    assert "opened_zones" not in job_in(job_path)
    # What could not be reached is not proposed again, so the same number is another step.
    script([f"other {first_look([])}", "clean", "undo"], motor_cart, "--job", job_path)
    job = job_in(job_path)
    assert job["opened_zones"] == ["bay"]
    assert job["withdrawn"] == [job["entries"][-1]["id"]]


def test_where_somebody_was_at_work_is_open(motor_cart: Path, job_path: Path) -> None:
    found = ["H1 lit no, key on", "can't reach S1.in and S1.out with the meter"]
    script([*OPENING_OF_MOTOR, *found], motor_cart, "--job", job_path)
    assert "opened_zones" not in job_in(job_path)
    script(["12 V on S1.in against pack negative"], motor_cart, "--job", job_path)
    assert job_in(job_path)["opened_zones"] == ["dash", "bay"]


def test_what_was_done_is_not_proposed_over_and_over(motor_cart: Path, job_path: Path) -> None:
    """Whether it runs three times at most, in case it comes and goes; a wiggle at a place twice."""
    lines = [*OPENING_OF_MOTOR, *["no"] * 12]
    ended = script(lines, motor_cart, "--job", job_path, "--use", "meter")
    tried = [e for e in job_in(job_path)["entries"] if e.get("sign") == "turns"]
    tried = [e for e in tried if e["state"] == {"key": "on"} and "lead" not in e]
    assert sum("provoked" not in e for e in tried) <= 3
    places = [e["provoked"]["zone"] for e in tried if "provoked" in e]
    assert all(places.count(place) <= 2 for place in places)
    assert len(set(cards(ended.stdout))) >= 3


def test_going_on_shows_where_it_stood_and_keeps_what_others_wrote(
    cart: Path, tmp_path: Path
) -> None:
    path = tmp_path / "old.json"
    old = {**small_job(), "x-origin": {"by": ["hand"]}, "environment": "wet"}
    path.write_text(json.dumps(old), encoding="utf-8")
    ended = script(["looked at W2, clean"], cart, "--job", path)
    assert "What was found" in ended.stdout
    assert "lamp indicator lit (H1): no, key on" in " ".join(ended.stdout.split())
    assert "complaint" not in ended.stdout.partition("Next: ")[0]
    job = job_in(path)
    assert job["entries"][:-1] == old["entries"]
    assert {key: job[key] for key in old if key != "entries"} == {
        key: value for key, value in old.items() if key != "entries"
    }


def test_bad_jobs_and_vehicles_are_refused_in_one_line_each(cart: Path, tmp_path: Path) -> None:
    def refused(*arguments: object) -> str:
        ended = script(OPENING, *arguments)
        assert ended.returncode == 2
        assert ended.stdout == ""
        assert ended.stderr.count("\n") == 1
        return ended.stderr

    assert "neither such a file nor such a vehicle" in refused("no-such-cart")
    assert "standard input" in refused("-")
    job = small_job()
    other = tmp_path / "other.json"
    other.write_text(json.dumps({**job, "vehicle": "mulch-tug"}), encoding="utf-8")
    assert "about 'mulch-tug', not 'small-cart'" in refused(cart, "--job", other)
    job["entries"][1]["red"] = "S9.in"
    other.write_text(json.dumps(job), encoding="utf-8")
    assert "S9" in refused(cart, "--job", other)
    other.write_text("{", encoding="utf-8")
    assert str(other) in refused(cart, "--job", other)
    assert "Is a folder" in refused(cart, "--job", tmp_path)
    assert "name another place" in refused(cart, "--job", tmp_path / "nowhere" / "j.json")
    assert "There is no 'spoon'" in refused(cart, "--use", "spoon")
    assert not [path.name for path in tmp_path.iterdir() if path.name.startswith(".")]


# -- the end of a job ------------------------------------------------------------------------------


@pytest.fixture
def interlock_cart(tmp_path: Path) -> Path:
    """The file of the small cart whose key has to be proved to stop it."""
    path = tmp_path / "cart-with-interlock.json"
    path.write_text(json.dumps(cart_with_interlock()), encoding="utf-8")
    return path


@pytest.fixture
def begun(job_path: Path) -> Begun:
    """Writes a job to go on with."""

    def write(job: Document) -> Path:
        job_path.write_text(json.dumps(job), encoding="utf-8")
        return job_path

    return write


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_repair_is_proved_check_by_check_and_the_job_closed(
    interlock_cart: Path, begun: Begun
) -> None:
    path = begun(spliced_job())
    answers = ["runs", "10 mV", "no", "repaired: on the ramp"]
    ended = script(answers, interlock_cart, "--job", path)
    assert ended.returncode == 0, ended.stderr
    drives, drop, interlock = (
        part.partition("\n> ")[0] for part in ended.stdout.split("To prove")[1:4]
    )
    assert "It drives" in drives
    assert "yes passes" in drives
    assert "WARNING  Both drive wheels off the ground" in drives
    assert "Red probe    S1.out" in drop
    assert "12.6 V  before the repair" in drop
    assert "at most 0.603 V passes" in flat(drop)
    assert "It does not drive with the key off" in interlock
    assert "no passes" in interlock
    assert "WARNING  Never leave an interlock bypassed." in interlock
    assert "before 12.6 V, after 0.01 V" in ended.stdout.rpartition("Everything is proved")[2]
    assert "Closed: repaired, by verification" in ended.stdout
    job = job_in(path)
    assert job["closing"] == {"verdict": "repaired", "by": "verification", "note": "on the ramp"}
    # They are entries like any other.
    assert job["entries"] == proved_job()["entries"]


def test_what_could_not_be_proved_is_left_to_a_word_but_for_interlocks(
    interlock_cart: Path, begun: Begun
) -> None:
    path = begun(spliced_job())
    answers = ["runs", "can't", "can't", "repaired", "repaired by word"]
    ended = script(answers, interlock_cart, "--job", path)
    assert ended.returncode == 0, ended.stderr
    assert "add 'by word' if you answer for what is open" in flat(ended.stdout)
    refused, by_word = ended.stdout.split("Not closed")[1:]
    assert flat(refused).count("Not proved yet: ") == 2
    assert flat(by_word).count("Not proved yet: ") == 1
    assert "nobody's word stands for it" in flat(by_word)
    assert "closing" not in job_in(path)
    again = script(["M1 turns no, all at rest", "repaired by word"], interlock_cart, "--job", path)
    assert "Closed: repaired, by word" in again.stdout
    assert job_in(path)["closing"] == {"verdict": "repaired", "by": "word"}


def test_a_check_that_failed_stands_against_closing(interlock_cart: Path, begun: Begun) -> None:
    path = begun(spliced_job())
    answers = ["runs", "0.01", "yes", "close repaired by word", "done"]
    ended = script(answers, interlock_cart, "--job", path)
    assert ended.returncode == 0, ended.stderr
    assert "failed It does not drive with the key off" in flat(ended.stdout)
    assert "Not closed Failed: It does not drive with the key off" in flat(ended.stdout)
    assert "Closed: " not in ended.stdout
    assert "The job stays open failed It does not drive" in flat(ended.stdout)
    assert "closing" not in job_in(path)


def test_a_repair_that_did_not_help_leads_back_to_the_search(
    interlock_cart: Path, begun: Begun
) -> None:
    path = begun(spliced_job())
    ended = script(["still", "other"], interlock_cart, "--job", path)
    after = ended.stdout.partition("> still")[2]
    assert "failed  It drives: key on" in after
    assert "Next: " in after
    # Another repair, and all of it is to be proved again.
    again = script(["replaced M1"], interlock_cart, "--job", path)
    assert "To prove, 3 left: It drives" in again.stdout.partition("> replaced M1")[2]


def test_done_says_what_is_open_and_closes_nothing(interlock_cart: Path, begun: Begun) -> None:
    path = begun(spliced_job())
    ended = script(["runs", "done"], interlock_cart, "--job", path)
    assert ended.returncode == 0, ended.stderr
    said = flat(ended.stdout.rpartition("> done")[2])
    assert said.startswith("The job stays open open At most 0.6031 V from S1.out to M1.a1, key on")
    assert "It does not drive with the key off" in said
    assert "It drives: key on" not in said
    assert "closing" not in job_in(path)
    resumed = script([], interlock_cart, "--job", path)
    assert "To prove, 2 left: At most 0.6031 V from S1.out to M1.a1" in resumed.stdout


def test_done_before_any_repair_says_so(motor_cart: Path, job_path: Path) -> None:
    ended = script([*OPENING_OF_MOTOR, "done"], motor_cart, "--job", job_path)
    assert "The job stays open: nothing was repaired, nothing shown to run" in ended.stdout


def test_a_closed_job_says_so_and_is_opened_by_what_is_added(
    interlock_cart: Path, begun: Begun
) -> None:
    path = begun({**proved_job(), "closing": {"verdict": "repaired", "by": "verification"}})
    resumed = script(["done"], interlock_cart, "--job", path)
    assert "This job is closed: repaired, by verification" in resumed.stdout
    assert "closes the job" not in resumed.stdout
    assert "stays open" not in resumed.stdout
    script(["M1 turns yes, all at rest"], interlock_cart, "--job", path)
    job = job_in(path)
    assert "closing" not in job
    assert job["x-earlier-closings"] == [{"verdict": "repaired", "by": "verification"}]


def test_what_runs_without_a_repair_is_closed_as_such(
    interlock_cart: Path, job_path: Path
) -> None:
    """What comes and goes is looked for first; whoever has enough of it closes."""
    lines = ["stood still", "", "no", "H1 lit yes, key on", "M1 turns yes, key on"]
    lines += ["M1 turns no, key off", "close repaired", "close", "1"]
    ended = script(lines, interlock_cart, "--job", job_path)
    assert ended.returncode == 0, ended.stderr
    assert "Not closed No repair is recorded" in flat(ended.stdout)
    assert job_in(job_path)["closing"] == {"verdict": "fixed_itself", "by": "verification"}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("close it", "'it' closes no job: repaired, fixed itself, no fault found, not repaired"),
        ("close repaired maybe", "closes no job"),
        ("close repaired: " + "x" * 2001, "That note is too long"),
    ],
)
def test_a_closing_that_is_none_is_answered_in_a_line(
    line: str, said: str, interlock_cart: Path, begun: Begun
) -> None:
    path = begun(proved_job())
    ended = script([line, "done"], interlock_cart, "--job", path)
    assert said in flat(ended.stdout)
    assert job_in(path) == proved_job()


def test_killed_among_the_checks_it_goes_on_with_the_next(
    sit: Sit, interlock_cart: Path, begun: Begun
) -> None:
    path = begun(spliced_job())
    for answer, left in (("yes", "3 left: It drives"), ("0.01", "2 left: At most"), ("no", ": It")):
        bench = sit(interlock_cart, "--job", path)
        assert left in bench.wait().rpartition("To prove")[2]
        bench.type(answer)
        bench.kill()
    assert job_in(path)["entries"] == proved_job()["entries"]
    bench = sit(interlock_cart, "--job", path)
    assert "Everything is proved" in bench.wait()
    assert bench.end("repaired") == 0
    assert job_in(path)["closing"]["verdict"] == "repaired"


def test_a_closing_that_can_not_be_written_is_not_lost(
    sit: Sit, interlock_cart: Path, begun: Begun
) -> None:
    path = begun(proved_job())
    bench = sit(interlock_cart, "--job", path)
    bench.wait()
    before = path.read_bytes()
    _, most = resource.prlimit(bench.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(bench.pid, resource.RLIMIT_FSIZE, (8, most))
    shown = bench.type("repaired")
    assert "Can't be written" in shown
    assert "Not left" in shown
    assert path.read_bytes() == before
    resource.prlimit(bench.pid, resource.RLIMIT_FSIZE, (most, most))
    assert bench.end("quit") == 0
    assert job_in(path)["closing"]["verdict"] == "repaired"


def test_a_repair_beyond_what_was_authorized_is_asked_about(
    interlock_cart: Path, begun: Begun
) -> None:
    job = spliced_job()
    path = begun({**job, "entries": job["entries"][:3]})
    arguments = (interlock_cart, "--job", path, "--authorized", "50")
    listed = script(["other"], *arguments).stdout
    number = next(r.split()[0] for r in listed.splitlines() if "Ask first" in r)
    ended = script([f"other {number}", "yes", "other"], *arguments)
    assert ended.returncode == 0, ended.stderr
    assert "Next: Ask first, 92 USD is more than was authorized: splice W4" in flat(ended.stdout)
    assert "yes if the repair may be made at that price, or no" in ended.stdout
    after = ended.stdout.partition("> yes")[2]
    assert "Ask first" not in after
    assert "Splice W4" in after
    assert " --authorized 50 --job " in ended.stdout
    # For this sitting only; refused, the repair is put aside.
    again = script([f"other {number}", "no", "other"], *arguments)
    assert "Ask first" in again.stdout.partition("> no")[0]
    assert "W4, Wire" not in again.stdout.partition("> no")[2].partition("Other steps")[2]
    assert len(job_in(path)["entries"]) == 3


def test_what_a_lead_shows_is_noted_and_moves_the_suspicion(
    motor_cart: Path, begun: Begun
) -> None:
    turns = {"type": "sign", "part": "M1", "sign": "turns", "state": {"key": "on"}}
    job = {**spliced_job(), "vehicle": "cart-with-motor"}
    job["entries"] = [{"id": name, **turns, "outcome": "no"} for name in ("e1", "e2")]
    path = begun(job)
    arguments = (motor_cart, "--job", path, "--use", "ohmmeter")
    listed = script(["other"], *arguments).stdout
    number = next(r.split()[0] for r in listed.splitlines() if "fused lead from" in r)
    ended = script([f"other {number}", "yes", "other"], *arguments)
    assert ended.returncode == 0, ended.stderr
    card, after = ended.stdout.rpartition("Next: Drive wheels clear")[2].split("> yes")
    red, black = (row.split()[2] for row in card.splitlines() if row.startswith("  Fused lead"))
    assert "WARNING  Bridge a suspect contact only with a fused lead" in card
    assert "Take the lead off now" in after
    assert f"fused lead from {red} to {black}" not in flat(after.partition("Other steps")[2])
    entry = job_in(path)["entries"][-1]
    assert (entry["outcome"], entry["lead"]) == ("yes", [red, black])
    model = faultloom.Model(motor_cart)
    noted, before = model.rank(path), model.rank(job)
    assert noted.components != before.components


# -- at a terminal ---------------------------------------------------------------------------------


def _truth_answers(model: faultloom.Model, fault: str, step: Step) -> str:
    """What somebody who does a step finds if one fault is the truth."""
    component, _, _ = fault.rpartition("/")
    if step.type == "repair":
        return "runs" if step.component == component else "still faulty"
    if step.type == "verify":
        runs = model.solve(step.state, [fault]).signs["M1.turns"] == "yes"
        return "runs" if runs else "still faulty"
    if step.type == "look":
        return "damage" if step.component == component else "clean"
    solution = model.solve(step.state, [fault], isolated=step.isolated)
    if step.type == "sign":
        return solution.signs[f"{step.component}.{step.sign}"]
    return f"{solution.volts[step.red] - solution.volts[step.black]:.2f}"


def _proposed(model: faultloom.Model, path: Path, shown: str) -> Step:
    """The step that is shown, from among those the library proposes."""
    advice = model.next_step(path, instruments=["meter"], alternatives=12)
    flat = " ".join(shown.rpartition("Next: ")[2].split())
    for step in (advice.step, *advice.alternatives):
        probes = (f"Red probe {step.red} ", f"Black probe {step.black} ")
        words = probes if step.type == "reading" else (step.text.partition(";")[0],)
        if all(text in flat for text in words):
            return step
    pytest.fail(f"not proposed by the library: {flat}")


@pytest.mark.parametrize("fault", ["M1/brushes_open", "S1/open"])
def test_a_whole_job_with_a_kill_after_every_other_answer(
    fault: str, sit: Sit, motor_cart: Path, job_path: Path
) -> None:
    """One thing is broken; the bench is killed again and again and yet comes to it."""
    model = faultloom.Model(motor_cart)
    arguments = (motor_cart, "--job", job_path, "--use", "meter")
    bench = sit(*arguments)
    bench.wait()
    bench.type("stands still")
    bench.type("none")
    shown = bench.type("no")
    for count in range(1, 40):
        step = _proposed(model, job_path, shown)
        answer = _truth_answers(model, fault, step)
        if step.type == "repair":
            break
        shown = bench.type(answer)
        assert "Noted" in shown
        assert len(entry_ids(job_path)) == 1 + count
        if count % 2:
            bench.kill()
            bench = sit(*arguments)
            shown = bench.wait()
            assert "What was found" in shown
    else:
        pytest.fail("no end")
    assert step.component.partition(":")[0] == fault.partition("/")[0]
    shown = bench.type("runs")
    job = job_in(job_path)
    assert [entry["type"] for entry in job["entries"][-2:]] == ["repair", "sign"]
    assert bench.end("quit") == 0
    assert f"Go on with: faultloom bench {motor_cart} --use meter --job {job_path}" in bench.said


@pytest.mark.parametrize("delay_s", [0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.3])
def test_killed_at_any_moment_after_an_answer_nothing_that_was_shown_is_lost(
    delay_s: float, sit: Sit, cart: Path, job_path: Path
) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    bench.type("H1 lit no, key on")
    bench.talk.sendline("0.02 V on S1.out against pack negative, key on")
    time.sleep(delay_s)
    try:
        bench.talk.expect_exact("Noted", timeout=0)
        shown = True
    except pexpect.TIMEOUT:
        shown = False
    bench.kill()
    ids = entry_ids(job_path)
    assert ids == (["e1", "e2"] if shown else ids[:2])
    assert ids[:1] == ["e1"]
    again = sit(cart, "--job", job_path)
    assert "What was found" in again.wait()
    again.type("looked at W3, clean")
    assert entry_ids(job_path) == [*ids, f"e{len(ids) + 1}"]
    assert again.end("done") == 0
    assert not [p.name for p in job_path.parent.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize(
    ("ending", "code"),
    [
        (lambda bench: bench.talk.sendintr(), 130),
        (lambda bench: bench.talk.sendeof(), 0),
        (lambda bench: os.kill(bench.pid, signal.SIGTERM), 128 + signal.SIGTERM),
        (lambda bench: os.kill(bench.pid, signal.SIGHUP), 128 + signal.SIGHUP),
        (lambda bench: bench.talk.sendline("quit"), 0),
    ],
    ids=["ctrl-c", "ctrl-d", "sigterm", "sighup", "quit"],
)
def test_however_it_ends_the_job_is_in_its_file(
    ending: Callable[[Terminal], object], code: int, sit: Sit, cart: Path, job_path: Path
) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    bench.type("H1 lit no, key on")
    ending(bench)
    assert bench.end() == code
    assert f"The job is in {job_path}" in bench.said
    assert "Traceback" not in bench.said
    assert entry_ids(job_path) == ["e1"]


@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 128 + signal.SIGTERM)]
)
def test_told_to_end_while_it_works_the_answer_is_kept(
    number: signal.Signals, code: int, sit: Sit, job_path: Path
) -> None:
    """The search of the hauler takes long enough to be caught at work."""
    bench = sit("seedling-hauler", "--job", job_path)
    bench.wait()
    bench.type("dead")
    bench.type("")
    bench.type("")
    bench.talk.sendline("K1 click no, run state")
    deadline = time.monotonic() + _PATIENCE_S
    while not job_in(job_path)["entries"]:
        assert time.monotonic() < deadline
        time.sleep(0.001)
    os.kill(bench.pid, number)
    assert bench.end() == code
    assert "Traceback" not in bench.said
    assert "Noted" not in bench.said
    assert [entry["sign"] for entry in job_in(job_path)["entries"]] == ["click"]


def test_a_terminal_that_is_gone_ends_it_with_the_answers_kept(
    sit: Sit, cart: Path, job_path: Path
) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    bench.type("H1 lit no, key on")
    # Closes the terminal first of all, and the program gets its SIGHUP from the system.
    bench.talk.ptyproc.fileobj.close()
    _, status = os.waitpid(bench.pid, 0)
    bench.talk.closed = bench.talk.ptyproc.closed = True
    assert os.waitstatus_to_exitcode(status) == 128 + signal.SIGHUP
    assert entry_ids(job_path) == ["e1"]
    assert not [p.name for p in job_path.parent.iterdir() if p.name.startswith(".")]


def test_two_at_one_job_are_told_so(sit: Sit, cart: Path, job_path: Path) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    second = script(OPENING, cart, "--job", job_path)
    assert second.returncode == 2
    assert second.stderr == (
        f"{job_path}: In use by another run (process {bench.pid}); end that one first\n"
    )
    bench.kill()
    assert script(OPENING, cart, "--job", job_path).returncode == 0


def test_a_full_disk_keeps_the_answers_until_they_can_be_written(
    sit: Sit, cart: Path, job_path: Path
) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    before = job_path.read_bytes()
    _, most = resource.prlimit(bench.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(bench.pid, resource.RLIMIT_FSIZE, (len(before), most))
    shown = bench.type("H1 lit no, key on")
    assert shown.count("Can't be written") == 1
    assert "Noted" in shown
    assert job_path.read_bytes() == before
    shown = bench.type("quit")
    assert "Not left" in shown
    assert "Can't be written" in bench.type("save")
    resource.prlimit(bench.pid, resource.RLIMIT_FSIZE, (most, most))
    assert f"Written to {job_path}" in bench.type("save")
    assert entry_ids(job_path) == ["e1"]
    assert bench.end("quit") == 0


def test_what_can_not_be_written_can_go_elsewhere(sit: Sit, cart: Path, tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    bench = sit(cart, "--job", folder / "j.json")
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    shutil.rmtree(folder)
    assert "Can't be written" in bench.type("H1 lit no, key on")
    assert "Can't be used" in " ".join(bench.type(f"save {folder / 'k.json'}").split())
    assert "Is there already" in " ".join(bench.type(f"save {cart}").split())
    elsewhere = tmp_path / "k.json"
    assert f"Written to {elsewhere}" in bench.type(f"save {elsewhere}")
    bench.type("looked at W3, clean")
    assert entry_ids(elsewhere) == ["e1", "e2"]
    assert bench.end("done") == 0
    assert f"--job {elsewhere}" in bench.said


def test_what_could_never_be_written_is_shown(sit: Sit, cart: Path, tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    bench = sit(cart, "--job", folder / "j.json")
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    shutil.rmtree(folder)
    bench.type("H1 lit no, key on")
    bench.talk.sendeof()
    bench.end()
    kept = bench.said.rpartition("to be kept by hand:")[2]
    document = json.loads(kept[kept.index("{") : kept.rindex("}") + 1])
    assert [entry["sign"] for entry in document["entries"]] == ["lit"]


def test_what_another_program_wrote_is_left_alone(sit: Sit, cart: Path, job_path: Path) -> None:
    bench = sit(cart, "--job", job_path)
    bench.wait()
    bench.type(OPENING[0])
    bench.type(OPENING[1])
    job_path.write_text(json.dumps(small_job()), encoding="utf-8")
    assert "changed by something else" in " ".join(bench.type("H1 lit no, key on").split())
    assert job_in(job_path) == small_job()


def test_work_that_takes_long_shows_how_far_it_is(sit: Sit, tmp_path: Path, job_path: Path) -> None:
    plain_lines = tmp_path / "inputrc"
    plain_lines.write_text("set enable-bracketed-paste off\n", encoding="utf-8")
    better = {**_ENVIRONMENT, "TERM": "xterm", "INPUTRC": str(plain_lines)}
    bench = sit("mulch-tug", "--job", job_path, program=("-c", _EAGER), environment=better)
    bench.wait()
    bench.type("dead")
    bench.type("")
    shown = bench.type("no")
    assert "Working it out" in shown
    assert " %" in shown.partition("Next: ")[0]
    quiet = script(["quit"], "mulch-tug", "--job", job_path.with_name("k.json"))
    assert "Working it out" not in quiet.stdout + quiet.stderr


def test_a_reader_that_goes_away_ends_it_quietly(cart: Path, job_path: Path) -> None:
    command = [sys.executable, "-m", "faultloom", "bench", str(cart), "--job", str(job_path)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True) as run:
        assert run.stdin is not None
        assert run.stdout is not None
        assert run.stderr is not None
        run.stdin.write("dark\n\n")
        run.stdin.flush()
        while "Answer" not in run.stdout.readline():
            pass
        run.stdout.close()
        run.stdin.write("H1 lit no, key on\nrank\nrank\n")
        run.stdin.close()
        complaint = run.stderr.read()
        assert run.wait(60) == 141
    assert "Traceback" not in complaint
    # Lines nobody was asked for any more may or may not have been read.
    assert entry_ids(job_path) in ([], ["e1"])
