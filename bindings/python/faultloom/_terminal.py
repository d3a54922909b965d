"""How text reaches the user: width, colour, pipes, and a sign of life during long work."""

from __future__ import annotations

import io
import sys
import time
from types import TracebackType
from typing import Self, TextIO

from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TextColumn

BAR_STROKE = "\N{BOX DRAWINGS HEAVY HORIZONTAL}"

_WIDTH = 80
_NARROWEST = 40
_PATIENCE_S = 1.0
_STROKES = 100


def plain_console(stream: TextIO) -> Console:
    """A console that is at most 80 columns wide and takes nothing in a text for a command."""
    console = Console(file=stream, markup=False, highlight=False, emoji=False, soft_wrap=False)
    width = console.width if console.is_terminal else _WIDTH
    console.width = max(_NARROWEST, min(width, _WIDTH))
    return console


def show(*items: RenderableType) -> None:
    """Writes an answer to standard output, all at once and without blanks at the ends of lines."""
    console = plain_console(sys.stdout)
    with console.capture() as capture:
        for item in items:
            console.print(item)
    text = capture.get()
    if not console.encoding.lower().startswith("utf"):
        text = text.replace(BAR_STROKE, "-")
    lines = text.split("\n")
    sys.stdout.write("\n".join(line.rstrip(" ") for line in lines))


def write_exactly(text: str) -> None:
    """Writes a text to standard output as UTF-8, whatever the terminal is set to."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())
    else:
        sys.stdout.write(text)


def complain(lines: list[str]) -> None:
    """Writes lines to standard error."""
    sys.stderr.writelines(line + "\n" for line in lines)


class Patience:
    """Shows on a terminal how far long work is, once it takes longer than a second.

    Call it with the share of the work done (0..1).
    """

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._bar: Progress | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, share: float) -> None:
        """Takes note of the share done."""
        done = round(_STROKES * share)
        if (
            self._bar is None
            and sys.stderr.isatty()
            and time.monotonic() - self._begun > _PATIENCE_S
        ):
            columns = (
                TextColumn("Working it out"),
                BarColumn(bar_width=30),
                TextColumn("{task.percentage:3.0f} %"),
            )
            self._bar = Progress(*columns, console=plain_console(sys.stderr), transient=True)
            self._bar.add_task("", total=_STROKES, completed=done)
            self._bar.start()
        if self._bar is not None:
            self._bar.update(self._bar.task_ids[0], completed=done)
