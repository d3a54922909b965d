"""Signals that ask the bench to stop are heard where nothing is half done, and nowhere else."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType, TracebackType
from typing import Any, Self

_STOPPING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class TerminatedError(BaseException):
    """Raised where the process is told to end; `signal_number` says by what."""

    def __init__(self, signal_number: int) -> None:
        self.signal_number = signal_number
        super().__init__(signal_number)


class Interrupts:
    """Holds back Ctrl-C, SIGTERM and SIGHUP until the next place that allows them.

    Outside the main thread of a program, where signals can't be caught, it does nothing.
    """

    def __init__(self) -> None:
        self._pending = 0
        self._allowed = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            self._before = {number: signal.signal(number, self._heard) for number in _STOPPING}
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
        self._before = {}

    @contextmanager
    def allowed(self) -> Iterator[None]:
        """Inside, a signal ends what is going on with KeyboardInterrupt or TerminatedError."""
        self._allowed = True
        try:
            if self._pending:
                self._stop()
            yield
        finally:
            self._allowed = False

    def _heard(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002
        self._pending = number
        if self._allowed:
            self._stop()

    def _stop(self) -> None:
        number, self._pending = self._pending, 0
        self._allowed = False
        if number == signal.SIGINT:
            raise KeyboardInterrupt
        raise TerminatedError(number)
