"""One writer a log: an advisory lock beside the file, let go by the system when a process dies."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import Self

from daq.errors import LogBusy, LogError


def is_held(path: Path) -> bool:
    """Whether some process writes the log at `path` at this moment."""
    lock = lock_of(path)
    try:
        fd = os.open(lock, os.O_RDONLY)
    except OSError:
        return False
    try:
        # Whoever holds it has written who it is; only then is the lock itself tried, so that
        # looking does not get into the way of a run that begins.
        if not os.read(fd, 1):
            return False
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(fd)
    return False


def lock_of(path: Path) -> Path:
    """Return the file that is locked while the log at `path` is written."""
    return path.with_name(path.name + ".lock")


class LogLock:
    """Hold the log for this process.

    Parameters
    ----------
    path
        The log file; the lock is ``<path>.lock`` and says who holds it.

    Raises
    ------
    LogBusy
        Another process holds it; the message names the process.
    LogError
        The lock file cannot be made.
    """

    def __init__(self, path: Path) -> None:
        self._path = lock_of(path)
        try:
            self._fd: int | None = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise LogError(
                f"{self._path}: {error.strerror}.",
                hint="check that the folder exists and may be written to.",
            ) from error
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(self._fd, 200).decode("utf-8", "replace").strip()
            os.close(self._fd)
            self._fd = None
            raise LogBusy(
                f"{path}: another run holds this log ({holder or 'no name left'}).",
                hint="let it finish, or stop it; two runs never share a log.",
            ) from error
        os.ftruncate(self._fd, 0)
        os.write(self._fd, f"process {os.getpid()}\n".encode())

    def release(self) -> None:
        """Let go; harmless when called twice."""
        if self._fd is not None:
            os.ftruncate(self._fd, 0)
            os.close(self._fd)
            self._fd = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()
