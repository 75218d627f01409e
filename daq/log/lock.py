"""One writer a log: an advisory lock beside the file, let go by the system when a process dies."""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from daq.clock import Clock
from daq.errors import LogBusy, LogError

_TRIES: Final = 20
_PAUSE_S: Final = 0.01
"""How often, and after which pause, a log is tried that seems to be held: somebody may only look
whether it is, and `holder` has the lock for that moment."""

_NOTE: Final = re.compile(rb"process (\d+)(?:, run (\d+))?\n")
_NOTE_BYTES: Final = 200


@dataclass(frozen=True, slots=True)
class Holder:
    """Who writes a log.

    Attributes
    ----------
    process
        Its number in the system; None when it has not said so yet.
    run
        The run that it wrote a row of last; None before its first row.
    """

    process: int | None
    run: int | None


def holder(path: Path) -> Holder | None:
    """Return who writes the log at `path` at this moment; None when nobody does."""
    lock = lock_of(path)
    try:
        fd = os.open(lock, os.O_RDONLY)
    except OSError:
        return None
    try:
        # Whoever holds it has written who it is; only then is the lock itself tried, so that
        # looking does not get into the way of a run that begins.
        if not os.read(fd, 1) or not _is_locked(fd):
            return None
        # Read again: what was there first may be what a killed process left.
        return _holder_of(os.pread(fd, _NOTE_BYTES, 0))
    finally:
        os.close(fd)


def _is_locked(fd: int) -> bool:
    """Whether somebody else holds the lock; it is tried, and let go when `fd` is closed."""
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    return False


def _holder_of(note: bytes) -> Holder:
    said = _NOTE.match(note)
    if said is None:
        return Holder(None, None)
    process, run = said.groups()
    return Holder(int(process), None if run is None else int(run))


def lock_of(path: Path) -> Path:
    """Return the file that is locked while the log at `path` is written."""
    return path.with_name(path.name + ".lock")


class LogLock:
    """Hold the log for this process.

    Parameters
    ----------
    path
        The log file; the lock is ``<path>.lock`` and says who holds it.
    clock
        Waits a moment for one who only looks whether the log is held.

    Raises
    ------
    LogBusy
        Another process holds it; the message names the process.
    LogError
        The lock file cannot be made.
    """

    def __init__(self, path: Path, clock: Clock) -> None:
        self._path = lock_of(path)
        self._run: int | None = None
        try:
            self._fd: int | None = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise LogError(
                f"{self._path}: {error.strerror}.",
                hint="check that the folder exists and may be written to.",
            ) from error
        try:
            _take(self._fd, clock)
        except OSError as error:
            said = os.read(self._fd, _NOTE_BYTES).decode("utf-8", "replace").strip()
            os.close(self._fd)
            self._fd = None
            raise LogBusy(
                f"{path}: another run holds this log ({said or 'no name left'}).",
                hint="let it finish, or stop it; two runs never share a log.",
            ) from error
        os.ftruncate(self._fd, 0)
        os.write(self._fd, f"process {os.getpid()}\n".encode())

    def works_on(self, run: int) -> None:
        """Let those who look know which run is written now."""
        if self._fd is None or run == self._run:
            return
        self._run = run
        note = f"process {os.getpid()}, run {run}\n".encode()
        # Written over what is there, so that nobody ever finds it empty. A run does not end
        # because it could not say its number.
        with contextlib.suppress(OSError):
            os.pwrite(self._fd, note, 0)
            os.ftruncate(self._fd, len(note))

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


def _take(fd: int, clock: Clock) -> None:
    """Take the lock, trying for a moment.

    Raises
    ------
    OSError
        Another process has it and keeps it.
    """
    for _ in range(_TRIES):
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            clock.sleep(_PAUSE_S)
        else:
            return
    fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
