"""The job's file and document at the bench: whole at every moment, nothing erased."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import faultloom
import pytest
from faultloom.dialogue.job_file import ChangedError, InUseError, JobFile
from faultloom.dialogue.journal import Journal, job_id
from faultloom.dialogue.questions import WITH

LOOK = {"type": "look", "component": "W3", "outcome": "clean"}
CUE = {"type": "cue", "cue": "comes_and_goes", "outcome": "yes"}


def _journal() -> Journal:
    return Journal.begun("a job", "small-cart", None)


def _files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# -- the document ----------------------------------------------------------------------------------


def test_a_job_grows_and_is_a_valid_document_at_each_stage() -> None:
    journal = _journal()
    for changed in (
        journal.with_complaint("It stands still. " * 9),
        journal.with_entries([LOOK, CUE]),
        journal.with_entries([LOOK]).with_zones(["bay", "bay"]).with_aside("x", answered=False),
        journal.with_complaint("").with_entries([LOOK, CUE]).undone(),  # type: ignore[list-item]
    ):
        document = changed[0] if isinstance(changed, tuple) else changed
        assert faultloom.check_document(document.text) == []
    assert json.loads(journal.text)["entries"] == []


def test_ids_go_on_from_the_highest_and_are_never_used_again() -> None:
    entries = [{"id": "e7", **LOOK}, {"id": "lamp", **LOOK}, {"id": "e3", **LOOK}]
    journal = Journal({**_journal().document, "entries": entries}).with_entries([CUE])
    assert [entry["id"] for entry in journal.entries] == ["e7", "lamp", "e3", "e8"]
    undone = journal.undone()
    assert undone is not None
    again = undone[0].with_entries([CUE])
    assert [entry["id"] for entry in again.entries] == ["e7", "lamp", "e3", "e9"]


def test_undo_takes_back_one_answer_after_the_other_and_erases_nothing() -> None:
    journal = _journal().with_entries([CUE]).with_entries([LOOK, {**CUE, WITH: ""}])
    journal = journal.with_aside("repair K1", answered=False)
    steps = []
    while (undone := journal.undone()) is not None:
        journal, taken = undone
        steps.append(taken)
    assert steps == [[], ["e2", "e3"], ["e1"]]
    assert journal.entries == []
    assert [entry["id"] for entry in journal.document["entries"]] == ["e1", "e2", "e3"]
    assert journal.document["withdrawn"] == ["e2", "e3", "e1"]
    assert faultloom.check_document(journal.text) == []


def test_an_answered_step_is_aside_until_something_is_added() -> None:
    journal = _journal().with_entries([LOOK]).with_aside("verify", answered=True)
    assert journal.aside == {"verify"}
    assert journal.with_entries([LOOK]).aside == set()
    undone = journal.undone()
    assert undone is not None
    assert undone[1] == ["e1"]
    assert undone[0].aside == set()


def test_undo_knows_what_came_last() -> None:
    journal = _journal().with_aside("a", answered=False).with_entries([LOOK])
    first = journal.undone()
    assert first is not None
    assert first[1] == ["e1"]
    later = first[0].with_aside("b", answered=False)
    second = later.undone()
    assert second is not None
    assert second[1] == []
    assert second[0].aside == {"a"}


def test_what_is_added_or_taken_back_opens_a_closed_job_and_keeps_its_closing() -> None:
    closing = {"verdict": "repaired", "by": "word"}
    closed = Journal({**_journal().with_entries([LOOK]).document, "closing": closing})
    assert closed.verdict == "repaired"
    undone = closed.undone()
    assert undone is not None
    for changed in (closed.with_entries([CUE]), undone[0]):
        assert changed.verdict == ""
        assert changed.document["x-earlier-closings"] == [closing]
        assert faultloom.check_document(changed.text) == []
    again = Journal({**closed.with_entries([CUE]).document, "closing": closing})
    assert again.with_entries([CUE]).document["x-earlier-closings"] == [closing, closing]
    assert closed.with_entries([]).verdict == closed.with_zones(["bay"]).verdict == "repaired"


@pytest.mark.parametrize("odd", [5, None, [1], [{"step": 3}], [{"step": "x", "after": "y"}], {}])
def test_odd_extensions_are_left_alone(odd: Any) -> None:
    journal = Journal({**_journal().document, "x-set-aside": odd, "x-more": odd})
    assert journal.aside == set()
    assert journal.undone() is None
    assert journal.with_entries([LOOK]).document["x-more"] == odd


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("j", "j"),
        ("2026-11-27", "job-2026-11-27"),
        ("é!", "job"),
        ("a b/c", "a-b-c"),
        ("x" * 99, "x" * 64),
    ],
)
def test_any_name_becomes_an_id(name: str, made: str) -> None:
    assert job_id(name) == made
    document = Journal.begun(name, "small-cart", ["meter"]).document
    assert faultloom.check_document(document) == []


# -- the file --------------------------------------------------------------------------------------


def test_a_file_is_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    with JobFile(tmp_path / "j.json") as file:
        assert file.text is None
        file.write("one")
        file.write("two")
        assert file.text == b"two"
        assert _files(tmp_path) == [".j.json.lock", "j.json"]
    assert _files(tmp_path) == ["j.json"]
    with JobFile(tmp_path / "j.json") as file:
        assert file.text == b"two"


def test_mode_and_symbolic_links_stay(tmp_path: Path) -> None:
    target = tmp_path / "kept.json"
    target.write_text("old")
    target.chmod(0o640)
    link = tmp_path / "link.json"
    link.symlink_to(target)
    with JobFile(link) as file:
        file.write("new")
    assert link.is_symlink()
    assert target.read_text() == "new"
    assert target.stat().st_mode & 0o777 == 0o640


def test_two_runs_do_not_write_the_same_file(tmp_path: Path) -> None:
    path = tmp_path / "j.json"
    (tmp_path / "link.json").symlink_to(path)
    with JobFile(path) as file:
        file.write("mine")
        for name in ("j.json", "link.json"):
            with pytest.raises(InUseError, match=f"another run .process {os.getpid()}."):
                JobFile(tmp_path / name)
    with JobFile(path) as file:
        assert file.text == b"mine"


def test_what_something_else_wrote_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "j.json"
    with JobFile(path) as file:
        file.write("mine")
        path.write_text("theirs")
        with pytest.raises(ChangedError, match="changed by something else"):
            file.write("mine again")
        assert path.read_text() == "theirs"
        path.unlink()
        file.write("back")
        assert path.read_text() == "back"


def test_a_failed_write_leaves_the_old_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with JobFile(tmp_path / "j.json") as file:
        file.write("old")
        with monkeypatch.context() as patched:
            patched.setattr(os, "fsync", full)
            with pytest.raises(OSError, match="No space"):
                file.write("new")
        assert (tmp_path / "j.json").read_text() == "old"
        assert ".j.json.new" not in _files(tmp_path)
        file.write("new")
        assert (tmp_path / "j.json").read_text() == "new"


_WRITER = """
import os, signal, sys
from pathlib import Path
from faultloom.dialogue import job_file
moment = sys.argv[2]

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

class Half:
    def __init__(self, stream): self.stream = stream
    def __getattr__(self, name): return getattr(self.stream, name)
    def __enter__(self): return self
    def __exit__(self, *_): self.stream.close()
    def write(self, data):
        self.stream.write(data[: len(data) // 2]); self.stream.flush(); die()

file = job_file.JobFile(sys.argv[1])
file.write("old" * 5000)
print("ready", flush=True)
if moment == "opened":
    opened = Path.open
    def half(path, *args, **more):
        stream = opened(path, *args, **more)
        return Half(stream) if args == ("wb",) else stream
    Path.open = half
elif moment == "written":
    os.fsync = die
elif moment == "flushed":
    Path.replace = die
elif moment == "replaced":
    replaced = Path.replace
    Path.replace = lambda path, target: (replaced(path, target), die())
elif moment == "synced":
    file._sync_folder = die
file.write("new" * 5000)
"""


@pytest.mark.parametrize(
    ("moment", "left"),
    [
        ("opened", "old"),
        ("written", "old"),
        ("flushed", "old"),
        ("replaced", "new"),
        ("synced", "new"),
    ],
)
def test_killed_while_writing_leaves_a_whole_file_and_no_lock(
    moment: str, left: str, tmp_path: Path
) -> None:
    path = tmp_path / "j.json"
    command = [sys.executable, "-c", _WRITER, str(path), moment]
    ended = subprocess.run(command, capture_output=True, check=False, timeout=60)
    assert ended.returncode == -signal.SIGKILL, ended.stderr.decode()
    assert ended.stdout == b"ready\n"
    assert path.read_text() == left * 5000
    with JobFile(path) as file:
        assert file.text == (left * 5000).encode()
        file.write("after")
    assert _files(tmp_path) == ["j.json"]


_HOLDER = """
import sys, time
from faultloom.dialogue.job_file import JobFile
file = JobFile(sys.argv[1])
print("held", flush=True)
time.sleep(60)
"""


def test_the_lock_of_a_killed_process_does_not_block(tmp_path: Path) -> None:
    path = tmp_path / "j.json"
    command = [sys.executable, "-c", _HOLDER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(InUseError, match=str(holder.pid)):
            JobFile(path)
        holder.kill()
        holder.wait()
    assert _files(tmp_path) == [".j.json.lock"]
    JobFile(path).close()


_COUNTER = """
import sys, time
from faultloom.dialogue.job_file import InUseError, JobFile
for _ in range(int(sys.argv[2])):
    while True:
        try:
            file = JobFile(sys.argv[1])
            break
        except InUseError:
            time.sleep(0.0005)
    file.write(str(int(file.text or b"0") + 1))
    file.close()
"""


def test_runs_that_come_and_go_never_hold_the_file_together(tmp_path: Path) -> None:
    path = tmp_path / "count.json"
    command = [sys.executable, "-c", _COUNTER, str(path), "40"]
    runs = [subprocess.Popen(command, stderr=subprocess.PIPE) for _ in range(4)]
    deadline = time.monotonic() + 120
    for run in runs:
        _, complaint = run.communicate(timeout=max(1, deadline - time.monotonic()))
        assert run.returncode == 0, complaint.decode()
    assert path.read_text() == "160"
