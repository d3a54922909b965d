"""What every file held open has in common."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closing:
    """A context manager that closes itself at the end."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Gives free what is held. May be called more than once."""
        raise NotImplementedError
