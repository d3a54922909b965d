"""Answers as they show in a notebook."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Protocol


class _Suspect(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def probability(self) -> float: ...
    @property
    def zone(self) -> str: ...
    @property
    def loom(self) -> str: ...


def ranking_table(
    title: str, suspects: Iterable[_Suspect], rest: Iterable[tuple[str, float]]
) -> str:
    """A table of suspects with a bar for each probability, in HTML without scripts.

    Args:
        title: Caption of the table.
        suspects: Its rows, in their order.
        rest: What can be the case besides, with its probability; below the suspects.
    """
    rows = [_row(one.id, one.title, one.zone or one.loom, one.probability) for one in suspects]
    rows += [_row("", name, "", probability) for name, probability in rest]
    head = "".join(f"<th>{name}</th>" for name in ("Id", "Suspect", "Where", "Probability", ""))
    return (
        f"<table><caption>{escape(title)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def _row(name: str, title: str, where: str, probability: float) -> str:
    percent = 100 * probability
    shown = "&lt;0.1 %" if 0 < percent < 0.1 else f"{percent:.3g} %"
    bar = f'<div style="background:currentColor;height:0.6em;width:{percent / 10:.2f}em"></div>'
    words = "".join(f"<td>{escape(word)}</td>" for word in (name, title, where))
    return f'<tr>{words}<td style="text-align:right">{shown}</td><td>{bar}</td></tr>'
