"""What the property tests of the package share."""

from __future__ import annotations

import random
from typing import Any

import faultloom
from hypothesis import settings

from small_cart import Document, small_job

# The same examples every time, and few: the machine is shared.
quietly = settings(max_examples=25, deadline=None, derandomize=True, database=None)


def job_with(found: list[Document]) -> Document:
    return {**small_job(), "entries": found}


def belief(ranking: faultloom.Ranking) -> dict[str, Any]:
    """Everything in a ranking but the list of entries."""
    return {key: value for key, value in ranking.items() if key != "entries"}


def by_id(ranking: faultloom.Ranking) -> dict[str, Any]:
    return {entry["id"]: entry for entry in ranking["entries"]}


def mixed(value: Any, random: random.Random) -> Any:
    """The same JSON value with the members of all its objects in another order."""
    if isinstance(value, dict):
        keys = list(value)
        random.shuffle(keys)
        return {key: mixed(value[key], random) for key in keys}
    return [mixed(item, random) for item in value] if isinstance(value, list) else value
