"""A file that is written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def write_whole(path: os.PathLike[str] | str, text: str) -> None:
    """Writes a text as UTF-8 in place of what the file holds.

    It goes to a file beside it first, which then takes the place of the old one in a single step;
    on failure the old one stays as it was and nothing is left beside it. Behind a symbolic link the
    file it points to is meant. What is no plain file, such as a pipe, is written to directly.

    Args:
        path: The file; need not exist, its folder must.
        text: What it is to hold.

    Raises:
        OSError: No space, no permission, or the like.
    """
    target = Path(path).resolve()
    data = text.encode()
    if target.exists() and not target.is_file() and not target.is_dir():
        target.write_bytes(data)
        return
    number, name = tempfile.mkstemp(
        prefix=f".{target.name[:64]}.", suffix=".new", dir=target.parent
    )
    new = Path(name)
    try:
        with os.fdopen(number, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        new.chmod(_mode_for(target))
        new.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
        raise


def _mode_for(target: Path) -> int:
    """The mode of the old file, or what the user's mask leaves of that of a new one."""
    with contextlib.suppress(FileNotFoundError):
        return target.stat().st_mode & 0o7777
    mask = os.umask(0o022)
    os.umask(mask)
    return 0o666 & ~mask
