"""Journals from Python, the command line and the bench: nothing that was added is lost."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import crc32c
import faultloom
import pytest
from faultloom import cli
from faultloom.dialogue.job_file import ChangedError, InUseError, JobFile
from faultloom.dialogue.job_store import JournalFile, open_store
from faultloom.dialogue.journal import Journal as Draft
from hypothesis import given, settings
from hypothesis import strategies as st

from small_cart import small_job, small_vehicle

ROOT = Path(os.environ.get("FAULTLOOM_ROOT", Path(__file__).resolve().parents[2]))
FIXTURES = ROOT / "tests" / "journals"
LOOK: dict[str, Any] = {"type": "look", "component": "W3", "outcome": "clean"}


def new_job() -> dict[str, Any]:
    return faultloom.new_job("j", "small-cart")


def lines_of(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines(keepends=True)


@pytest.fixture(scope="module")
def model() -> faultloom.Model:
    return faultloom.Model(small_vehicle())


# -- the file --------------------------------------------------------------------------------------


def test_a_job_grows_in_a_journal_and_is_there_again(
    tmp_path: Path, model: faultloom.Model
) -> None:
    path = tmp_path / "j.journal"
    with faultloom.Journal.create(path, new_job(), model) as journal:
        assert journal.add(LOOK) == "e1"
        assert journal.append([LOOK, LOOK], members={"complaint": "dark"}) == ["e2", "e3"]
        journal.withdraw("e1", "e3")
        before = journal.job
        assert journal.status().records == 4
        assert journal.status().bytes == path.stat().st_size
    with faultloom.Journal.open(path, model) as journal:
        assert journal.job == before
        assert journal.status().damage == ()
        assert journal.status().migrated_from == ""
    assert before["withdrawn"] == ["e1", "e3"]
    assert before["complaint"] == "dark"
    assert faultloom.check_document(path) == []
    text, status = faultloom.read_journal(path)
    assert json.loads(text) == before
    assert status.records == 4


def test_every_line_has_the_checksum_of_another_library(tmp_path: Path) -> None:
    """The form that the header of the C++ module describes, with CRC-32C from elsewhere."""
    path = tmp_path / "j.journal"
    with faultloom.Journal.create(path, new_job()) as journal:
        for number in range(20):
            journal.append([LOOK], members={"complaint": f"größer {number} \x7f"})
    for file in (path, FIXTURES / "version-1.journal"):
        previous = "00000000"
        for number, line in enumerate(lines_of(file)):
            assert line.endswith(b"}\n")
            covered = line[line.index(b'"prev"') : -1]
            record = json.loads(line)
            assert list(record)[:3] == ["crc", "prev", "n"]
            assert record["crc"] == f"{crc32c.crc32c(covered):08x}"
            assert record["prev"] == previous
            assert record["n"] == number
            previous = record["crc"]


def test_what_is_wrong_is_refused_and_adds_nothing(tmp_path: Path, model: faultloom.Model) -> None:
    path = tmp_path / "j.journal"
    with faultloom.Journal.create(path, new_job(), model) as journal:
        before = path.read_bytes()
        with pytest.raises(faultloom.Error) as caught:
            journal.append([LOOK, {**LOOK, "component": "W99"}], ["e7"], {"id": "k"})
        found = {(problem.name, problem.pointer) for problem in caught.value.problems}
        assert found == {
            ("value", "/set/id"),
            ("reference", "/withdraw/0"),
            ("reference", "/add/1/component"),
        }
        assert path.read_bytes() == before
        with pytest.raises(faultloom.Error) as caught:
            faultloom.Journal.create(path, new_job())
        assert caught.value.code == faultloom.Code.STORAGE
        with pytest.raises(faultloom.Error) as caught:
            faultloom.Journal.open(path)
        assert caught.value.code == faultloom.Code.IN_USE
    with pytest.raises(faultloom.Error, match="closed; open it again"):
        journal.add(LOOK)
    journal.close()
    with pytest.raises(faultloom.Error) as caught:
        faultloom.Journal.open(tmp_path / "none.journal")
    assert caught.value.code == faultloom.Code.STORAGE


def test_a_full_disk_refuses_and_keeps(tmp_path: Path) -> None:
    path = tmp_path / "j.journal"
    with faultloom.Journal.create(path, new_job()) as journal:
        journal.add(LOOK)
        before = path.read_bytes()
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 10, hard))
        try:
            with pytest.raises(faultloom.Error, match="nothing was added") as caught:
                journal.add(LOOK)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert caught.value.code == faultloom.Code.STORAGE
        assert path.read_bytes() == before
        assert journal.add(LOOK) == "e2"


def test_threads_take_turns(tmp_path: Path) -> None:
    path = tmp_path / "j.journal"
    with faultloom.Journal.create(path, new_job()) as journal:
        added: list[str] = []
        threads = [
            threading.Thread(target=lambda: added.extend(journal.add(LOOK) for _ in range(10)))
            for _ in range(4)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(added) == sorted(f"e{number}" for number in range(1, 41))
    assert faultloom.check_document(path) == []


_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=8,
)
_ENTRY = st.fixed_dictionaries(
    {**{key: st.just(value) for key, value in LOOK.items()}},
    optional={
        "note": st.text(st.characters(exclude_categories=["Cs"]), max_size=50),
        "x-own": _JSON,
    },
)
_CHANGE = st.tuples(
    st.lists(_ENTRY, max_size=3),
    st.dictionaries(st.sampled_from(["x-a", "x-b", "x-ü"]), _JSON, max_size=2),
    st.integers(0, 3),
)


@settings(max_examples=60, deadline=None)
@given(changes=st.lists(_CHANGE, max_size=6))
def test_any_changes_are_read_back(
    changes: list[Any], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("changes")
    path = folder / "j.journal"
    expected: dict[str, Any] = new_job()
    with faultloom.Journal.create(path, new_job()) as journal:
        for entries, members, taken_back in changes:
            ids = journal.append(entries, members=members)
            expected["entries"] += [{"id": i, **e} for i, e in zip(ids, entries, strict=True)]
            for name, value in members.items():
                if value is None:
                    expected.pop(name, None)
                else:
                    expected[name] = value
            back = [entry["id"] for entry in expected["entries"]][:taken_back]
            journal.withdraw(*back)
            if new := [name for name in back if name not in expected.get("withdrawn", [])]:
                expected["withdrawn"] = expected.get("withdrawn", []) + new
        assert journal.job == expected
    with faultloom.Journal.open(path) as journal:
        assert journal.job == expected
        journal.compact(folder / "k.journal")
    assert json.loads(faultloom.read_journal(folder / "k.journal")[0]) == expected


# -- damage and old forms --------------------------------------------------------------------------


def test_old_forms_hold_the_same_job(tmp_path: Path) -> None:
    same = json.loads((FIXTURES / "same-job.json").read_bytes())
    assert json.loads(faultloom.read_journal(FIXTURES / "version-1.journal")[0]) == same
    path = tmp_path / "job-17"
    old = (FIXTURES / "job-1.0.json").read_bytes()
    path.write_bytes(old)
    with faultloom.Journal.open(path) as journal:
        status = journal.status()
        assert journal.job == same
    assert status.migrated_from == "faultloom.job 1.0"
    assert Path(status.old_kept_in).read_bytes() == old
    assert json.loads(faultloom.read_journal(path)[0]) == same


def test_a_damaged_journal_is_told_wherever_it_is_read(
    tmp_path: Path, model: faultloom.Model, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "vehicles").mkdir()
    (tmp_path / "jobs").mkdir()
    (tmp_path / "vehicles" / "small-cart.json").write_text(json.dumps(small_vehicle()))
    path = tmp_path / "jobs" / "j.journal"
    with faultloom.Journal.create(path, small_job()) as journal:
        journal.add(LOOK)
        journal.add(LOOK)
    lines = lines_of(path)
    path.write_bytes(lines[0] + lines[1].replace(b"clean", b"cleen") + lines[2])
    with pytest.warns(faultloom.DamagedJournalWarning) as warned:
        ranking = model.rank(path)
    assert len(warned) == 2
    assert "not as they were written" in str(warned[0].message)
    assert len(ranking.entries) == len(small_job()["entries"]) + 1
    names = [problem.name for problem in faultloom.check_document(path)]
    assert names == ["damaged", "damaged"]
    assert cli.main(["rank", str(path)]) == 0
    assert "line 2" in capsys.readouterr().err
    assert cli.main(["check", str(path)]) == 2
    assert "line 2" in capsys.readouterr().out
    path.write_bytes(lines[0][:-30])
    assert cli.main(["rank", str(path)]) == 2
    assert "Restore it from a copy" in capsys.readouterr().err


# -- commands --------------------------------------------------------------------------------------


def test_every_command_reads_a_journal_like_a_document(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for folder in ("vehicles", "jobs"):
        (tmp_path / folder).mkdir()
    (tmp_path / "vehicles" / "small-cart.json").write_text(json.dumps(small_vehicle()))
    plain, kept = tmp_path / "jobs" / "j.json", tmp_path / "jobs" / "j.journal"
    plain.write_text(json.dumps(small_job()))
    faultloom.Journal.create(kept, small_job()).close()
    before = kept.read_bytes()
    for command in ("rank", "next", "verify", "explain", "groups", "check"):
        said = []
        for job in (plain, kept):
            assert cli.main([command, str(job)]) in (0, 1), command
            said.append(capsys.readouterr().out.replace(str(job), "JOB"))
        assert said[0] == said[1], command
    assert kept.read_bytes() == before
    assert cli.main(["close", str(kept), "not_repaired", "--output", str(kept)]) == 0
    assert kept.read_bytes().startswith(before)
    assert json.loads(faultloom.read_journal(kept)[0])["closing"]["verdict"] == "not_repaired"


# -- the bench -------------------------------------------------------------------------------------


def bench(lines: list[str], *arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "faultloom", "bench", *map(str, arguments)]
    said = "".join(line + "\n" for line in lines)
    return subprocess.run(
        command, input=said, capture_output=True, text=True, check=False, timeout=120
    )


@pytest.fixture
def cart(tmp_path: Path) -> Path:
    path = tmp_path / "small-cart.json"
    path.write_text(json.dumps(small_vehicle()), encoding="utf-8")
    return path


OPENING = ["The lamp is dark", ""]


def test_the_bench_keeps_a_job_in_a_journal_and_goes_on(cart: Path, tmp_path: Path) -> None:
    path = tmp_path / "dark.journal"
    first = bench(
        [*OPENING, "H1 lit no, key on", "looked at W3, clean", "undo"], cart, "--job", path
    )
    assert first.returncode == 0, first.stderr
    again = bench(["looked at W2, clean"], cart, "--job", path)
    assert again.returncode == 0, again.stderr
    job = json.loads(faultloom.read_journal(path)[0])
    assert [entry["id"] for entry in job["entries"]] == ["e1", "e2", "e3"]
    assert job["withdrawn"] == ["e2"]
    assert job["complaint"] == OPENING[0]
    assert len(lines_of(path)) >= 5
    assert [name.name for name in tmp_path.iterdir() if name.name.startswith(".")] == []


def test_the_bench_says_what_was_damaged_and_what_became_a_journal(
    cart: Path, tmp_path: Path
) -> None:
    path = tmp_path / "dark.journal"
    assert bench([*OPENING, "H1 lit no, key on"], cart, "--job", path).returncode == 0
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"crc":"0123')
    said = bench([], cart, "--job", path).stderr
    assert "12 bytes of a record that was not finished" in said
    assert "dark.journal.damaged-1" in said
    assert path.read_bytes() == whole
    old = tmp_path / "old"
    old.write_text(json.dumps(small_job()), encoding="utf-8")
    said = bench(["looked at W3, clean"], cart, "--job", old).stderr
    assert "old.before-journal" in said
    job = json.loads(faultloom.read_journal(old)[0])
    assert job["entries"][:-1] == small_job()["entries"]
    assert json.loads((tmp_path / "old.before-journal").read_bytes()) == small_job()


def test_a_name_in_json_stays_a_document(cart: Path, tmp_path: Path) -> None:
    path = tmp_path / "dark.json"
    assert bench([*OPENING, "H1 lit no, key on"], cart, "--job", path).returncode == 0
    assert json.loads(path.read_bytes())["format"] == "faultloom.job"
    assert isinstance(open_store(path), JobFile)


def test_what_is_no_journal_is_refused_by_the_bench(cart: Path, tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("not a job")
    ended = bench([], cart, "--job", path)
    assert ended.returncode == 2
    assert ended.stderr.count("\n") == 1
    assert path.read_text() == "not a job"
    path.write_bytes(b'{"crc":"01234567","n":0}\n')
    assert bench([], cart, "--job", path).returncode == 2


def test_a_store_is_held_by_one_run_and_notices_others(tmp_path: Path) -> None:
    path = tmp_path / "j.journal"
    draft = Draft.begun("j", "small-cart", None)
    with JournalFile(path) as store:
        assert store.text is None
        with pytest.raises(InUseError, match=str(os.getpid())):
            JournalFile(path)
        store.write(draft.text)
        store.write(draft.with_entries([LOOK]).text)
        with path.open("ab") as other:
            other.write(b"theirs\n")
        with pytest.raises(ChangedError):
            store.write(draft.with_entries([LOOK, LOOK]).text)
    with faultloom.Journal.open(path), pytest.raises(InUseError, match="another program"):
        JournalFile(path)
    with pytest.raises(OSError, match="another job"), JournalFile(path) as store:
        store.write(Draft.begun("k", "small-cart", None).text)


_WRITER = """
import sys
from faultloom.dialogue.job_store import JournalFile
from faultloom.dialogue.journal import Journal
look = {"type": "look", "component": "W3", "outcome": "clean"}
store = JournalFile(sys.argv[1])
text = store.text
import json
draft = Journal(json.loads(text)) if text else Journal.begun("j", "small-cart", None)
while True:
    draft = draft.with_entries([look])
    store.write(draft.text)
    print(draft.entries[-1]["id"], flush=True)
"""


def test_killed_at_any_moment_what_was_said_to_be_written_is_there(tmp_path: Path) -> None:
    path = tmp_path / "j.journal"
    count = 0
    for life_ms in (0, 1, 3, 7, 13, 29, 40, 55):
        command = [sys.executable, "-c", _WRITER, str(path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as run:
            assert run.stdout is not None
            said = [run.stdout.readline()]
            time.sleep(life_ms / 1000)
            run.send_signal(signal.SIGKILL)
            said += run.stdout.readlines()
            run.wait()
        last = int([line for line in said if line.endswith("\n")][-1][1:])
        job = json.loads(faultloom.read_journal(path)[0])
        ids = [entry["id"] for entry in job["entries"]]
        assert ids == [f"e{number + 1}" for number in range(len(ids))]
        assert last <= len(ids) <= last + 1
        assert last > count
        count = len(ids)
