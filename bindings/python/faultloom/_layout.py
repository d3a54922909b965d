"""How answers are set on a terminal: columns, headings, what is left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from faultloom._bench import one_line

NOTHING = Text("")

# Columns of a grid: numbers, ids, and the text that takes what is left of the line.
NUMBER: dict[str, Any] = {"justify": "right", "no_wrap": True}
NAME: dict[str, Any] = {"overflow": "fold", "max_width": 18}
FLOW: dict[str, Any] = {"ratio": 1, "overflow": "fold"}


def indented(item: RenderableType, by: int = 2) -> Padding:
    """Something set in from the left."""
    return Padding(item, (0, 0, 0, by))


def grid(*columns: dict[str, Any], indent: int = 2) -> tuple[Table, Padding]:
    """A table without lines, to be filled, and the same set in."""
    table = Table.grid(padding=(0, 2, 0, 0))
    for column in columns:
        table.add_column(**column)
    return table, indented(table, indent)


def heading(text: str) -> Text:
    """A line above a part of an answer."""
    return Text(text, style="bold")


def and_more(count: int, option: str = "--json") -> str:
    """The line for rows that are left out."""
    return f"and {count} more, see {option}"


def in_a_row(items: Sequence[str], most: int) -> str:
    """Names in a row, the first of them if there are many."""
    more = f" and {len(items) - most} more" if len(items) > most else ""
    return ", ".join(one_line(item) for item in items[:most]) + more
