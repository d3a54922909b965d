"""What is proposed next at the bench, and what closes a job in words."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from typing import Any

import faultloom
import pytest
from faultloom.answers import Advice
from faultloom.dialogue.agenda import Agenda
from faultloom.dialogue.closing import Closing, closing_in, since_repair, tries
from faultloom.dialogue.grammar import NotUnderstoodError
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.vocabulary import Vocabulary

from small_cart import cart_with_interlock, proved_job, spliced_job

TURNS = {"type": "sign", "part": "M1", "sign": "turns", "state": {"key": "on"}}
NO, YES = {**TURNS, "outcome": "no"}, {**TURNS, "outcome": "yes"}
UNSURE = {**TURNS, "outcome": "not_sure"}
REPAIR = {"type": "repair", "component": "W4"}


@functools.cache
def _model() -> faultloom.Model:
    return faultloom.Model(cart_with_interlock())


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    model = _model()
    path = faultloom.data_path() / "instruments.json"
    instruments = json.loads(path.read_text(encoding="utf-8"))
    summary = model.summary()
    signs = model.solve().signs
    return Vocabulary(cart_with_interlock(), instruments, summary, model.terminals, signs)


def _advice(*steps: Mapping[str, Any]) -> Advice:
    """Advice with these steps, the best first."""
    usual = {"text": "A step", "minutes": 1, "cost_usd": 1, "expected_total_usd": 1}
    rows = [{**usual, **step} for step in steps]
    answer = {
        "job": "j",
        "vehicle": "v",
        "step": rows[0],
        "alternatives": rows[1:],
        "repair_only_usd": 1,
        "cut_short": False,
    }
    return Advice(json.dumps(answer))


LOOK = {"type": "look", "component": "W3"}
VERIFY = {"type": "verify", "state": {"key": "on"}}
BRIDGE = {"type": "bridge", "component": "W4", "sign": "turns", "lead": ["S1.out", "M1.a1"]}


def _filled(vocabulary: Vocabulary, advice: Advice, job: Mapping[str, Any]) -> Agenda:
    agenda = Agenda(vocabulary)
    journal = Journal(job)
    agenda.fill(advice, journal, _model().verification(job) if journal.repaired else None)
    return agenda


def _job(*entries: Mapping[str, Any]) -> dict[str, Any]:
    return Journal.begun("j", "cart-with-interlock", None).with_entries(map(dict, entries)).document


def test_whether_it_runs_is_asked_twice_at_most(vocabulary: Vocabulary) -> None:
    advice = _advice(VERIFY, LOOK)
    for entries, proposed in (
        ((NO,), "verify"),
        ((NO, NO), "look"),
        ((NO, YES, NO), "look"),
        ((NO, UNSURE), "look"),
    ):
        agenda = _filled(vocabulary, advice, _job(*entries))
        assert agenda.current is not None
        assert agenda.current.type == proposed, entries
        assert not agenda.closes


def test_a_lead_across_a_suspect_is_a_step_like_others(vocabulary: Vocabulary) -> None:
    agenda = _filled(vocabulary, _advice(BRIDGE, LOOK), _job(NO))
    assert agenda.current is not None
    assert agenda.current.type == "bridge"
    assert [step.type for step in agenda.others(9)] == ["look"]


def test_open_checks_come_first_and_what_failed_after_the_search(vocabulary: Vocabulary) -> None:
    advice = _advice(LOOK, VERIFY)
    agenda = _filled(vocabulary, advice, spliced_job())
    assert agenda.current is not None
    assert agenda.check(agenda.current) is not None
    rows = [agenda.current, *agenda.others(9)]
    checks = [check.id if (check := agenda.check(step)) else step.type for step in rows]
    assert checks == ["drives", "drop_W4", "interlock_key_off", "look"]
    failed = proved_job(with_key_off="yes")
    agenda = _filled(vocabulary, advice, failed)
    assert agenda.current is not None
    assert agenda.current.type == "look"
    # With nothing better than to prove that it runs, the check that failed is made once more.
    agenda = _filled(vocabulary, _advice(VERIFY, LOOK), failed)
    check = agenda.check(agenda.current)
    assert check is not None
    assert check.id == "interlock_key_off"
    twice = {**failed, "entries": [*failed["entries"], {**failed["entries"][-1], "id": "e8"}]}
    agenda = _filled(vocabulary, _advice(VERIFY, LOOK), twice)
    assert agenda.current is not None
    assert agenda.current.type == "look"
    assert not agenda.closes


def test_the_job_closes_once_nothing_is_left_to_prove(vocabulary: Vocabulary) -> None:
    agenda = _filled(vocabulary, _advice(VERIFY, LOOK), proved_job())
    assert agenda.closes
    assert agenda.current is None
    assert [step.type for step in agenda.others(9)] == ["look"]
    agenda.skip()
    assert agenda.current is not None
    assert agenda.current.type == "look"


def test_tries_are_those_since_the_last_repair(vocabulary: Vocabulary) -> None:
    assert tries([NO, REPAIR, YES, UNSURE, NO], vocabulary) == ["yes", "no"]
    assert tries([NO, {**YES, "state": {}}, {**YES, "lifted": ["W4:to"]}], vocabulary) == ["no"]
    several = {key: value for key, value in YES.items() if key != "outcome"}
    several["tries"] = {"yes": 2, "no": 1}
    assert tries([several], vocabulary) == ["yes", "yes", "no"]
    # What was caught when it failed tells of that try and of those before it.
    caught = {**NO, "sign": "click", "when": {"part": "M1", "sign": "turns", "outcome": "no"}}
    caught["when"]["after"] = 2
    assert tries([caught], vocabulary) == ["yes", "yes", "no"]
    assert since_repair([NO, REPAIR, YES, REPAIR]) == []


@pytest.mark.parametrize(
    ("text", "closing"),
    [
        ("repaired", Closing("repaired")),
        ("Repaired by word.", Closing("repaired", by_word=True)),
        ("repaired, on my word: wheels clear", Closing("repaired", True, "wheels clear")),
        ("it fixed itself", Closing("fixed_itself")),
        ("no_fault_found: see x_7", Closing("no_fault_found", note="see x_7")),
        ("not repaired: Waits for a coil", Closing("not_repaired", note="Waits for a coil")),
        ("repaired it", None),
        ("", None),
        ("by word", None),
    ],
)
def test_words_that_close_a_job(text: str, closing: Closing | None) -> None:
    assert closing_in(text) == closing


def test_a_note_has_an_end() -> None:
    with pytest.raises(NotUnderstoodError, match="at most 2000"):
        closing_in("repaired: " + "x" * 2001)
