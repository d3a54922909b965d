"""The reference cases of tests/cases through the Python package; their README has the format."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import faultloom
import pytest

CASES = Path(__file__).resolve().parents[1] / "cases"
FILES = sorted(CASES.rglob("case.json"))
CHECKS = {"pointer", "equals", "near", "tolerance", "at_least", "at_most"}


def resolve(answer: Any, pointer: str) -> Any:
    """The value that a JSON pointer (RFC 6901) leads to."""
    for token in pointer.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        answer = answer[int(key)] if isinstance(answer, list) else answer[key]
    return answer


def ask(model: faultloom.Model, case: dict[str, Any]) -> Any:
    """The answer of a case as parsed JSON."""
    given, options = case["input"], case.get("options", {})
    match case["call"]:
        case "volts":
            volts = model.terminal_volts(**given)
            return {"volts": dict(zip(model.terminals, volts.tolist(), strict=True))}
        case "solve":
            return dict(model.solve(**given))
        case "rank":
            return dict(model.rank(given, **options))
        case "next":
            return dict(model.next_step(given, **options))
        case other:
            raise AssertionError(f"unknown call '{other}'")


def is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def check(answer: Any, expected: dict[str, Any]) -> None:
    """Raises AssertionError unless the answer is as expected."""
    assert expected.keys() <= CHECKS, f"unknown check in {expected}"
    assert expected.keys() & {"equals", "near", "at_least", "at_most"}, f"no check in {expected}"
    assert ("near" in expected) == ("tolerance" in expected), (
        f"near without tolerance in {expected}"
    )
    pointer = expected["pointer"]
    try:
        value = resolve(answer, pointer)
    except (LookupError, ValueError, TypeError):
        raise AssertionError(f"{pointer} leads to nothing") from None
    if "equals" in expected:
        wanted = expected["equals"]
        same_type = type(value) is type(wanted) or (is_number(value) and is_number(wanted))
        assert same_type, f"{pointer} is {value!r}, not {wanted!r}"
        assert value == wanted, f"{pointer} is {value!r}, not {wanted!r}"
    for word in ("near", "at_least", "at_most"):
        if word in expected:
            assert is_number(value), f"{pointer} is {value!r}, not a number"
    if "near" in expected:
        distance = abs(value - expected["near"])
        assert distance <= expected["tolerance"], (
            f"{pointer} is {value}, {distance} from {expected['near']}"
        )
    if "at_least" in expected:
        assert value >= expected["at_least"], f"{pointer} is {value}"
    if "at_most" in expected:
        assert value <= expected["at_most"], f"{pointer} is {value}"


def test_a_check_that_means_nothing_fails() -> None:
    answer = {"a": [1.0, "x"], "b/c": True}
    check(answer, {"pointer": "/a/0", "near": 1.1, "tolerance": 0.2})
    check(answer, {"pointer": "/b~1c", "equals": True})
    mistakes: list[dict[str, Any]] = [
        {"pointer": "/a/0"},
        {"pointer": "/a/0", "nearly": 1},
        {"pointer": "/a/0", "near": 1},
        {"pointer": "/a/2", "equals": 1},
        {"pointer": "/a/1", "at_least": 0},
        {"pointer": "/b~1c", "equals": 1},
        {"pointer": "/z", "equals": None},
    ]
    for mistake in mistakes:
        with pytest.raises(AssertionError):
            check(answer, mistake)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.parent.relative_to(CASES).as_posix())
def test_case(path: Path) -> None:
    case = json.loads(path.read_text(encoding="utf-8"))
    assert case["source"]
    assert case["expect"]
    model = faultloom.Model(faultloom.data_path() / case["vehicle"])
    answer = ask(model, case)
    for expected in case["expect"]:
        check(answer, expected)
