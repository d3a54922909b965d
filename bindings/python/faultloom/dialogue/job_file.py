"""The job's file: whole at every moment, and written by one run at a time."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
from pathlib import Path

from faultloom._bench import one_line
from faultloom._closing import Closing

_MOST_BYTES = 64 << 20
_NEW_MODE = 0o666
_TRIES = 16


class InUseError(Exception):
    """Another run holds the file; the text says which."""


class ChangedError(Exception):
    """Something else wrote the file since it was last read or written here."""


class Lock:
    """A lock that one run holds for a file, on a file beside it, `.NAME.lock`.

    It is one of the operating system and ends with the process, however that ends, so that it
    never has to be removed by hand.

    Args:
        path: Absolute, of the file that is locked; need not exist.

    Raises:
        InUseError: Another run holds it.
        OSError: The folder can't be written to.
    """

    def __init__(self, path: Path) -> None:
        self._path = path.with_name(f".{path.name}.lock")
        self._lock = self._locked()

    def release(self) -> None:
        """Gives it free. May be called more than once."""
        if self._lock < 0:
            return
        # Removed while still held: whoever waits for it looks again, see _locked.
        with contextlib.suppress(OSError):
            self._path.unlink()
        os.close(self._lock)
        self._lock = -1

    def _locked(self) -> int:
        for _ in range(_TRIES):
            lock = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, _NEW_MODE)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                # A run that has just ended may have removed the name between the two calls above.
                if os.path.samestat(os.fstat(lock), self._path.stat()):
                    os.ftruncate(lock, 0)
                    os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
                    return lock
            except FileNotFoundError:
                pass
            except BlockingIOError:
                holder = os.pread(lock, 32, 0).decode("ascii", "replace").strip()
                os.close(lock)
                who = f" (process {one_line(holder)})" if holder else ""
                raise InUseError(f"In use by another run{who}; end that one first") from None
            except BaseException:
                os.close(lock)
                raise
            os.close(lock)
        raise InUseError("In use by other runs; try again")


class JobFile(Closing):
    """A job document in a file that is locked as long as this object is open.

    The text goes to `.NAME.new` first and takes the place of the old one in a single step.

    Args:
        path: Of the job; need not exist. Behind a symbolic link the file it points to is meant.

    Raises:
        InUseError: Another run has it open.
        OSError: The folder can't be written to, or the file can't be read.
    """

    def __init__(self, path: os.PathLike[str] | str) -> None:
        self.path = Path(path).resolve()
        self._new_path = self.path.with_name(f".{self.path.name}.new")
        self._lock = Lock(self.path)
        try:
            self._new_path.unlink(missing_ok=True)
            self._last = self._on_disk()
        except BaseException:
            self.close()
            raise

    @property
    def text(self) -> bytes | None:
        """What was last read or written here, None if there is no file yet."""
        return self._last

    def write(self, text: str) -> None:
        """Replaces the text. It is on the disk when this returns; on failure the old one is.

        Raises:
            ChangedError: The file is not as it was left here.
            OSError: No space, no permission, or the like.
        """
        now = self._on_disk()
        if now is not None and now != self._last:
            raise ChangedError(f"{self.path.name} was changed by something else meanwhile")
        data = text.encode()
        try:
            self._write_new(data)
            self._new_path.replace(self.path)
        except OSError:
            with contextlib.suppress(OSError):
                self._new_path.unlink(missing_ok=True)
            raise
        self._last = data
        self._sync_folder()

    def close(self) -> None:
        """Gives the file free. May be called more than once."""
        self._lock.release()

    def _on_disk(self) -> bytes | None:
        try:
            with self.path.open("rb") as stream:
                data = stream.read(_MOST_BYTES + 1)
        except FileNotFoundError:
            return None
        if len(data) > _MOST_BYTES:
            raise OSError(errno.EFBIG, os.strerror(errno.EFBIG))
        return data

    def _write_new(self, data: bytes) -> None:
        with self._new_path.open("wb") as stream:
            if self._last is not None:
                with contextlib.suppress(FileNotFoundError):
                    os.fchmod(stream.fileno(), self.path.stat().st_mode & 0o7777)
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())

    def _sync_folder(self) -> None:
        """Puts the new name on the disk too; the text is there under one of the two already."""
        with contextlib.suppress(OSError):
            folder = os.open(self.path.parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
