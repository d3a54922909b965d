"""Lines from whoever answers: a person at a terminal, or a file of answers."""

from __future__ import annotations

import contextlib
import sys

from faultloom._bench import one_line
from faultloom.dialogue.interrupts import Interrupts


class Lines:
    """Asks for lines.

    At a terminal a line can be edited and earlier ones called back. Elsewhere each line is
    repeated after its prompt, so that the output reads like a talk.

    Args:
        interrupts: Heard while waiting.
    """

    def __init__(self, interrupts: Interrupts) -> None:
        self._interrupts = interrupts
        self._terminal = sys.stdin.isatty() and sys.stdout.isatty()
        if reconfigure := getattr(sys.stdin, "reconfigure", None):
            reconfigure(errors="replace")
        if self._terminal:
            # Only its being there is needed: it gives input() editing.
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401, PLC0415

    def ask(self, prompt: str) -> str | None:
        """The next line without its end, None if there are no more."""
        sys.stdout.flush()
        if self._terminal:
            with self._interrupts.allowed():
                try:
                    return input(prompt)
                except EOFError:
                    pass
            sys.stdout.write("\n")
            return None
        sys.stdout.write(prompt)
        sys.stdout.flush()
        with self._interrupts.allowed():
            line = sys.stdin.readline()
        sys.stdout.write(one_line(line.rstrip("\r\n")) + "\n")
        return line.rstrip("\r\n") if line else None
