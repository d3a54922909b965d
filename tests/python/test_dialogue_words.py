"""What may be typed at the bench: numbers, commands, answers to steps, findings in words."""

from __future__ import annotations

import functools
import json
from dataclasses import replace
from typing import Any

import faultloom
import pytest
from faultloom.answers import Step
from faultloom.dialogue.grammar import Command, NotUnderstoodError, Quantity, Words, understand
from faultloom.dialogue.own import EXAMPLES, OwnFindings
from faultloom.dialogue.questions import (
    LEAD,
    WITH,
    Question,
    Reply,
    entry_key,
    key_of,
    open_keys,
)
from faultloom.dialogue.vocabulary import Vocabulary
from hypothesis import given, settings
from hypothesis import strategies as st

DATA = faultloom.data_path()


def _vocabulary(vehicle_id: str) -> Vocabulary:
    model = faultloom.Model.shipped(vehicle_id)
    vehicle = json.loads((DATA / "vehicles" / f"{vehicle_id}.json").read_text(encoding="utf-8"))
    instruments = json.loads((DATA / "instruments.json").read_text(encoding="utf-8"))
    return Vocabulary(vehicle, instruments, model.summary(), model.terminals, model.solve().signs)


@functools.cache
def _hauler() -> Vocabulary:
    return _vocabulary("seedling-hauler")


@pytest.fixture(scope="module")
def hauler() -> Vocabulary:
    return _hauler()


# -- one line --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "value", "unit"),
    [
        ("0.2", 0.2, ""),
        ("48", 48, ""),
        ("48.1 V", 48.1, "V"),
        ("48.1v", 48.1, "V"),
        ("48,1 volts", 48.1, "V"),
        ("-0.35 V", -0.35, "V"),
        (".5", 0.5, ""),
        ("5.", 5, ""),
        ("350 mV", 0.35, "V"),
        ("4.7k", 4700, "ohm"),
        ("4.7 kΩ", 4700, "ohm"),
        ("4.7 k\N{OHM SIGN}", 4700, "ohm"),
        ("2 Mohm", 2e6, "ohm"),
        ("2 mohm", 0.002, "ohm"),
        ("12 A", 12, "A"),
        ("300 mA", 0.3, "A"),
        ("\N{MINUS SIGN}3 V", -3, "V"),
    ],
)
def test_numbers_are_read_with_their_unit(line: str, value: float, unit: str) -> None:
    assert understand(line) == Quantity(value, unit)


def test_how_far_off_a_number_may_be_is_read_in_its_unit() -> None:
    assert understand("48 +- 2 V") == Quantity(48, "V", 2)
    assert understand("48 V +- 2") == Quantity(48, "V", 2)
    assert understand("48 V ± 500 mV") == Quantity(48, "V", 0.5)
    for line in ("48 V +- 2 A", "48 V +- 0"):
        with pytest.raises(NotUnderstoodError, match="how far off"):
            understand(line)


@pytest.mark.parametrize("line", ["1,200", "1,200 V", "1,234,567"])
def test_a_comma_that_may_mean_two_things_is_asked_about(line: str) -> None:
    with pytest.raises(NotUnderstoodError, match="without commas"):
        understand(line)


def test_a_unit_nobody_knows_is_named() -> None:
    with pytest.raises(NotUnderstoodError, match="'psi' is no unit"):
        understand("48 psi")


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ("undo", Command("undo")),
        ("  UNDO. ", Command("undo")),
        ("why", Command("why")),
        ("skip", Command("skip")),
        ("other 2", Command("other", "2")),
        ("another step", Command("other")),
        ("save /tmp/Job.json", Command("save", "/tmp/Job.json")),
        ("?", Command("help")),
        ("quit", Command("quit")),
        ("done", Command("done")),
        ("something else: I read 3 V", Command("own", "I read 3 V")),
        ("Something else I read 3 V", Command("own", "I read 3 V")),
        ("I read 3 V on K1.load", Command("own", "3 V on K1.load")),
    ],
)
def test_commands_are_read(line: str, command: Command) -> None:
    assert understand(line) == command


def test_other_lines_are_words_in_small_letters() -> None:
    assert understand("  Not   sure ") == Words("not sure")
    assert understand("can\N{RIGHT SINGLE QUOTATION MARK}t") == Words("can't")


# -- answers to steps ------------------------------------------------------------------------------


def _step(kind: str, **members: Any) -> Step:
    usual = {"text": "A step", "minutes": 1, "cost_usd": 1, "expected_total_usd": 1}
    return Step(kind, **{**usual, **members})


def _reading(instrument: str, **members: Any) -> Step:
    return _step("reading", instrument=instrument, red="K1.load", black="BAT1.negative", **members)


def _answer(step: Step, line: str, vocabulary: Vocabulary) -> tuple[dict[str, Any], ...]:
    said = understand(line)
    assert not isinstance(said, Command)
    return Question(step, vocabulary).reply(said).entries


def test_a_display_is_answered_with_a_number_in_its_unit(hauler: Vocabulary) -> None:
    step = _reading("meter", state={"key": "on", "pedal": "released"})
    (entry,) = _answer(step, "48.1 V", hauler)
    assert entry == {
        "type": "reading",
        "instrument": "meter",
        "red": "K1.load",
        "black": "BAT1.negative",
        "state": {"key": "on"},
        "volts": 48.1,
    }
    assert _answer(step, "300 mV", hauler)[0]["volts"] == 0.3
    assert _answer(step, "48 V +- 2", hauler)[0]["tolerance_volt"] == 2
    with pytest.raises(NotUnderstoodError, match="48 ohm is no answer"):
        _answer(step, "48 ohm", hauler)
    with pytest.raises(NotUnderstoodError, match="volts it shows"):
        _answer(step, "bright", hauler)


def test_ohms_are_answered_with_the_pack_isolated_or_overload(hauler: Vocabulary) -> None:
    step = _reading("ohmmeter", isolated=True)
    assert _answer(step, "4.7k", hauler)[0] | {"red": "", "black": ""} == {
        "type": "reading",
        "instrument": "ohmmeter",
        "red": "",
        "black": "",
        "state": {},
        "isolated": True,
        "ohms": 4700,
    }
    for word in ("OL", "overload", "open"):
        assert _answer(step, word, hauler)[0]["outcome"] == "overload"


@pytest.mark.parametrize(
    ("step", "line", "outcome"),
    [
        (_reading("filament_lamp"), "Bright", "bright"),
        (_reading("filament_lamp"), "glows", "dim"),
        (_reading("filament_lamp"), "off", "dark"),
        (_reading("beeper", isolated=True), "beeps", "beep"),
        (_reading("beeper", isolated=True), "no", "silent"),
        (_step("sign", component="K1", sign="click"), "y", "yes"),
        (_step("sign", component="K1", sign="click"), "rattles", "chatters"),
        (_step("look", component="W14"), "ok", "clean"),
        (_step("look", component="W14"), "burnt", "damage"),
        (_step("look", component="charge_plug"), "set wrong", "set_wrong"),
        (_step("look", component="charge_plug"), "clean", "set_right"),
        (_step("look", component="W14"), "not sure", "not_sure"),
        (_step("look", component="W14"), "can't", "cannot_reach"),
        (_reading("meter"), "don't know", "not_sure"),
    ],
)
def test_words_answer_what_they_fit(
    step: Step, line: str, outcome: str, hauler: Vocabulary
) -> None:
    (entry,) = _answer(step, line, hauler)
    assert entry["outcome"] == outcome


def test_a_word_that_does_not_fit_is_answered_with_those_that_do(hauler: Vocabulary) -> None:
    with pytest.raises(NotUnderstoodError, match=r"did you mean 'bright'\?.*bright, dim or dark"):
        _answer(_reading("filament_lamp"), "brigt", hauler)
    with pytest.raises(NotUnderstoodError, match="'set wrong' is no answer here"):
        _answer(_step("sign", component="K1", sign="click"), "set wrong", hauler)
    with pytest.raises(NotUnderstoodError, match="A number is no answer here"):
        _answer(_step("look", component="W14"), "3", hauler)


def test_a_repair_is_noted_with_what_it_did(hauler: Vocabulary) -> None:
    step = _step("repair", component="W14", action="splice")
    repair = {"type": "repair", "component": "W14"}
    assert _answer(step, "repaired", hauler) == (repair,)
    assert _answer(step, "replaced", hauler) == ({**repair, "action": "replace"},)
    first, second = _answer(step, "runs", hauler)
    assert first == repair
    assert second == {
        "type": "sign",
        "part": "M1",
        "sign": "turns",
        "state": hauler.run_state,
        "outcome": "yes",
        WITH: "",
    }
    assert _answer(step, "still faulty", hauler)[1]["outcome"] == "no"
    assert Question(step, hauler).reply(Words("can't")).aside


def test_proving_that_it_runs_is_a_sign_and_is_not_asked_twice(hauler: Vocabulary) -> None:
    reply = Question(_step("verify"), hauler).reply(Words("runs"))
    assert [entry["sign"] for entry in reply.entries] == ["turns"]
    assert reply.aside
    (entry,) = Question(_step("verify"), hauler).reply(Words("can't")).entries
    assert (entry["sign"], entry["outcome"]) == ("turns", "cannot_reach")
    assert open_keys([entry], hauler) == {key_of(_step("verify"), hauler)}


def test_a_lifted_wire_is_in_the_reading(hauler: Vocabulary) -> None:
    probes = {"red": "K1.load", "black": "BAT1.negative"}
    step = _step("lift", instrument="ohmmeter", **probes, isolated=True, lifted="W14:from")
    assert _answer(step, "4.7k", hauler) == (
        {
            "type": "reading",
            "instrument": "ohmmeter",
            **probes,
            "state": {},
            "isolated": True,
            "lifted": ["W14:from"],
            "ohms": 4700,
        },
    )
    assert _answer(step, "OL", hauler)[0]["outcome"] == "overload"
    assert open_keys(_answer(step, "can't", hauler), hauler) == {key_of(step, hauler)}
    assert key_of(_reading("ohmmeter", isolated=True), hauler) != key_of(step, hauler)


def test_what_is_wiggled_meanwhile_is_in_the_entry(hauler: Vocabulary) -> None:
    plain = _step("sign", component="M1", sign="turns", state={"key": "on"})
    step = replace(plain, wiggled_zone="dash")
    (entry,) = _answer(step, "no", hauler)
    assert entry["provoked"] == {"how": "wiggle", "zone": "dash"}
    assert entry["outcome"] == "no"
    (open_one,) = _answer(step, "can't", hauler)
    assert open_keys([open_one], hauler) == {key_of(step, hauler)}
    assert key_of(step, hauler) != key_of(plain, hauler)
    assert key_of(step, hauler) != key_of(replace(plain, wiggled_zone="seat"), hauler)


WHEN = {"part": "M1", "sign": "turns", "outcome": "no"}


def test_what_is_caught_has_its_moment(hauler: Vocabulary) -> None:
    plain = _reading("meter", state={"key": "on"})
    step = replace(plain, when=WHEN, most_tries=20)
    question = Question(step, hauler)
    assert "runs if it never failed" in question.hint
    (entry,) = _answer(step, "7.2 V", hauler)
    assert (entry["volts"], entry["when"]) == (7.2, WHEN)
    assert key_of(step, hauler) == entry_key(entry, hauler) != key_of(plain, hauler)
    for line in ("7.2 V after 4", "7,2 V, after 4", "7.2 after 4"):
        (entry,) = _answer(step, line, hauler)
        assert (entry["volts"], entry["when"]) == (7.2, {**WHEN, "after": 4})
    (entry,) = _answer(step, "runs", hauler)
    assert (entry["type"], entry["sign"], entry["tries"]) == ("sign", "turns", {"yes": 20})
    assert entry["state"] == {"key": "on"}
    reply = question.reply(Words("can't"))
    assert (reply.entries, reply.aside) == ((), True)
    with pytest.raises(NotUnderstoodError, match="20 times at most"):
        _answer(step, "7 V after 20", hauler)
    with pytest.raises(NotUnderstoodError):
        _answer(step, "undo after 2", hauler)


def test_a_sign_is_caught_like_a_reading(hauler: Vocabulary) -> None:
    plain = _step("sign", component="K1", watched="K1", sign="click", state={"key": "on"})
    step = replace(plain, when=WHEN, most_tries=20)
    (entry,) = _answer(step, "no after 2", hauler)
    assert (entry["sign"], entry["outcome"]) == ("click", "no")
    assert entry["when"] == {**WHEN, "after": 2}
    assert key_of(step, hauler) == entry_key(entry, hauler) != key_of(plain, hauler)
    # The answer to the sign is one thing, that it never failed another.
    assert _answer(step, "yes", hauler)[0]["outcome"] == "yes"
    assert _answer(step, "it runs", hauler)[0]["tries"] == {"yes": 20}


def test_what_a_lead_shows_is_an_entry(hauler: Vocabulary) -> None:
    lead = ("S5.common", "S5.no")
    text = "Drive wheels clear, fused lead from S5.common to S5.no across S5; Watch and listen: (K1)"
    step = _step("bridge", component="S5", sign="click", watched="K1", lead=lead, text=text)
    (entry,) = _answer(step, "yes", hauler)
    assert (entry["part"], entry["sign"], entry["outcome"]) == ("K1", "click", "yes")
    assert entry[LEAD] == list(lead)
    assert entry_key(entry, hauler) == key_of(step, hauler)
    assert key_of(_step("sign", component="K1", sign="click"), hauler) != key_of(step, hauler)
    assert Question(step, hauler).reply(Words("can't")).aside


def test_a_price_is_allowed_or_the_repair_put_aside(hauler: Vocabulary) -> None:
    question = Question(_step("authorize", component="K1", cost_usd=138.5), hauler)
    assert question.reply(Words("yes")) == Reply(authorized_usd=138.5)
    assert question.reply(Words("no")) == Reply(aside=True)
    with pytest.raises(NotUnderstoodError, match="yes if the repair may be made"):
        question.reply(Words("repaired"))


def test_a_type_of_step_that_is_not_known_is_said_so(hauler: Vocabulary) -> None:
    question = Question(_step("dance"), hauler)
    assert not question.known
    assert "something else" in question.hint
    with pytest.raises(NotUnderstoodError, match="something else"):
        question.reply(Words("yes"))
    assert question.reply(Words("can't")).aside


def test_a_step_answered_with_not_sure_is_known_again(hauler: Vocabulary) -> None:
    steps = [
        _reading("meter", state={"key": "on", "pedal": "released"}),
        _reading("ohmmeter", isolated=True),
        _step("sign", component="K1", sign="click", state={"key": "on"}),
        _step("look", component="W14"),
    ]
    for step in steps:
        entries = _answer(step, "not sure", hauler)
        assert open_keys(entries, hauler) == {key_of(step, hauler)}
    assert len({key_of(step, hauler) for step in steps}) == len(steps)
    assert not open_keys(_answer(steps[0], "3", hauler), hauler)


# -- findings in words -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "members"),
    [
        (
            "I read 12.4 V on K1.load against BAT1.negative, key on, pedal pressed",
            {
                "instrument": "meter",
                "red": "K1.load",
                "black": "BAT1.negative",
                "state": {"key": "on", "pedal": "pressed"},
                "volts": 12.4,
            },
        ),
        (
            "black K1.load, red k1.line, -3 V",
            {"red": "K1.line", "black": "K1.load", "volts": -3, "state": {}},
        ),
        (
            "test lamp bright K1 load to pack negative, key=on, direction selector in forward",
            {
                "instrument": "filament_lamp",
                "red": "K1.load",
                "outcome": "bright",
                "state": {"key": "on", "selector": "forward"},
            },
        ),
        (
            "low_impedance_meter 3.1 on S5.common and pack negative, run state",
            {
                "instrument": "low_impedance_meter",
                "volts": 3.1,
                "state": {
                    "service_switch": "run",
                    "key": "on",
                    "selector": "forward",
                    "pedal": "pressed",
                },
            },
        ),
        (
            "1.2k between S5.common and S5.no pack off, W17:to lifted",
            {
                "instrument": "ohmmeter",
                "ohms": 1200,
                "isolated": True,
                "lifted": ["W17:to"],
            },
        ),
        ("no beep S5.common S5.no, pack off", {"instrument": "beeper", "outcome": "silent"}),
        ("clamp on P15 12 A, run state", {"instrument": "clamp", "wire": "P15", "amps": 12}),
        (
            "12 V on K1.load against pack negative, same state",
            {"state": {"key": "on"}},
        ),
        (
            "K1 clicks no, key on",
            {"type": "sign", "part": "K1", "sign": "click", "outcome": "no"},
        ),
        ("main contactor click yes", {"type": "sign", "part": "K1", "outcome": "yes"}),
        ("M1.turns: no", {"type": "sign", "part": "M1", "sign": "turns"}),
        ("looked at W14, damaged", {"type": "look", "component": "W14", "outcome": "damage"}),
        ("W14:from clean", {"type": "look", "component": "W14:from", "outcome": "clean"}),
        (
            "charge plug set wrong",
            {"type": "look", "component": "charge_plug", "outcome": "set_wrong"},
        ),
        ("replaced K1", {"type": "repair", "component": "K1", "action": "replace"}),
        ("repaired main contactor", {"type": "repair", "component": "K1"}),
        ("can't reach K1.load and K1.line with the meter", {"outcome": "cannot_reach"}),
    ],
)
def test_a_finding_in_words_becomes_an_entry(
    text: str, members: dict[str, Any], hauler: Vocabulary
) -> None:
    entry = OwnFindings(hauler).entry(text, {"key": "on", "pedal": "released"})
    assert {key: entry.get(key) for key in members} == members


def test_a_repair_has_no_action_unless_one_is_said(hauler: Vocabulary) -> None:
    assert "action" not in OwnFindings(hauler).entry("repaired K1", {})


def test_the_examples_of_the_help_are_understood(hauler: Vocabulary) -> None:
    for example in EXAMPLES:
        assert OwnFindings(hauler).entry(example, {})["type"]


def test_the_instrument_used_last_is_meant_by_its_type(hauler: Vocabulary) -> None:
    own = OwnFindings(hauler, ["led_lamp", "low_impedance_meter"])
    assert own.entry("lamp dim K1.load pack negative", {})["instrument"] == "led_lamp"
    found = own.entry("3 V K1.load pack negative", {})
    assert found["instrument"] == "low_impedance_meter"


@pytest.mark.parametrize(
    ("text", "complaints"),
    [
        ("", ["Tell what you found"]),
        ("gibberish", ["'gibberish' is not understood"]),
        (
            "12 V on K1.laod against pack negative",
            ["'K1.laod' is not understood, near it: K1.load", "where the black probe was"],
        ),
        ("12 on K1.load against pack negative", ["the instrument, or the unit"]),
        ("12 V on K1.load", ["where the black probe was, such as 'black BAT1.negative'"]),
        ("12 V K1.load K1.line S5.no", ["name 2 points"]),
        ("red K1.load red K1.line 12 V", ["the red probe can't be on K1.line too"]),
        ("12 V 13 V K1.load K1.line", ["one result at a time"]),
        ("meter on K1.load and K1.line", ["the result is missing"]),
        ("12 V K1.load K1.line pedal", ["say where pedal stood: released, pressed"]),
        ("3 ohm K1.load K1.line", ["pack isolated"]),
        ("lamp 3 V K1.load K1.line", ["answers in words"]),
        ("meter 3 ohm K1.load K1.line", ["3 ohm is no answer"]),
        ("12 A", ["name the one wire inside the clamp"]),
        ("K1 click", ["say one answer: yes, no or chatters"]),
        ("lit no", ["'lit' of what: "]),
        ("looked at W14", ["say one answer: clean or damaged"]),
        ("replaced", ["name one part"]),
        ("replaced K1 and S5", ["name one part"]),
        ("12 V K1.load K1.line W17:to", ["say what W17:to was: lifted?"]),
    ],
)
def test_what_is_missing_in_a_finding_is_said(
    text: str, complaints: list[str], hauler: Vocabulary
) -> None:
    with pytest.raises(NotUnderstoodError) as raised:
        OwnFindings(hauler).entry(text, {})
    assert "\n" not in str(raised.value)
    for complaint in complaints:
        assert complaint in str(raised.value)


@pytest.mark.parametrize("vehicle", ["mulch-tug", "orchid-runner", "seedling-hauler"])
def test_every_name_of_a_vehicle_is_understood(vehicle: str) -> None:
    vocabulary = _vocabulary(vehicle)
    model = faultloom.Model.shipped(vehicle)
    for terminal in model.terminals:
        for text in (terminal, terminal.lower(), terminal.replace(".", " ")):
            meaning, _ = vocabulary.find(text.split(), 0)
            assert meaning is not None
            assert (meaning.kind, meaning.name) == ("terminal", terminal)
    for sign in model.solve().signs:
        meaning, _ = vocabulary.find(sign.replace(".", " ").split(), 0)
        assert meaning is not None
        assert (meaning.kind, meaning.name) == ("sign", sign)
    for component in model.summary().components:
        meaning, _ = vocabulary.find([component.id], 0)
        assert meaning is not None
        assert meaning.name == component.id


_SAID = (
    *(
        "K1.load",
        "k1",
        "load",
        "K1.click",
        "click",
        "S5",
        "W14",
        "W14:from",
        "P15",
        "X2-1",
        "H1",
        "lit",
    ),
    *("BAT1.negative", "pack", "negative", "red", "black", "key", "on", "pedal", "pressed", "run"),
    *(
        "state",
        "selector",
        "forward",
        "same",
        "off",
        "lifted",
        "isolated",
        "meter",
        "lamp",
        "clamp",
    ),
    *("ohmmeter", "beeper", "12", "12.4", "-3", "V", "ohm", "A", "4.7k", "+-", "2", "bright", "no"),
    *(
        "yes",
        "clean",
        "damaged",
        "not",
        "sure",
        "can't",
        "looked",
        "at",
        "replaced",
        "put",
        "right",
    ),
    *("set", "wrong", "charge", "plug", "setting", "something", "else:", "=", ",", ".", "1e999"),
)


def _is_one_clear_line(error: NotUnderstoodError) -> bool:
    text = str(error)
    return bool(text) and "\n" not in text


@given(st.text(max_size=80) | st.lists(st.sampled_from(_SAID), max_size=14).map(" ".join))
@settings(max_examples=600, deadline=None)
def test_whatever_is_typed_is_understood_or_answered_in_one_line(line: str) -> None:
    """And what is understood is an entry of the right form; the library judges its values."""
    hauler = _hauler()
    try:
        said = understand(line)
        if isinstance(said, Command):
            line = said.rest
        entry = OwnFindings(hauler).entry(line, hauler.run_state)
    except NotUnderstoodError as error:
        assert _is_one_clear_line(error)
        return
    job = {
        "format": "faultloom.job",
        "version": "1.0",
        "id": "typed",
        "vehicle": "seedling-hauler",
        "entries": [{"id": "e1", **entry}],
    }
    assert {problem.name for problem in faultloom.check_document(job)} <= {"value"}


@given(
    st.text(max_size=40) | st.lists(st.sampled_from(_SAID), max_size=4).map(" ".join),
    st.sampled_from(
        [
            _reading("meter"),
            _reading("filament_lamp"),
            _reading("ohmmeter", isolated=True),
            _step("sign", component="K1", sign="click"),
            _step("look", component="charge_plug"),
            _step("look", component="W14"),
            _step("repair", component="W14", action="splice"),
            _step("verify"),
            _step("lift", instrument="meter", red="K1.load", black="K1.line", lifted="W7:to"),
            _step(
                "bridge",
                component="S5",
                sign="turns",
                watched="M1",
                lead=("S5.common", "S5.no"),
            ),
            _step("authorize", component="K1", action="replace"),
            _step("dance"),
        ]
    ),
)
@settings(max_examples=600, deadline=None)
def test_whatever_answers_a_step_is_an_entry_or_one_line(line: str, step: Step) -> None:
    try:
        said = understand(line)
        if isinstance(said, Command):
            return
        entries = Question(step, _hauler()).reply(said).entries
    except NotUnderstoodError as error:
        assert _is_one_clear_line(error)
        return
    job = {
        "format": "faultloom.job",
        "version": "1.0",
        "id": "typed",
        "vehicle": "seedling-hauler",
        "entries": [{"id": f"e{i}", **entry} for i, entry in enumerate(entries)],
    }
    assert {problem.name for problem in faultloom.check_document(job)} <= {"value"}
