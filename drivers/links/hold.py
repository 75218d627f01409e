"""One program an instrument: a lock beside nobody's cable, that names its holder.

Raw sockets and serial lines have no lock that all programs look at, and two that talk to the same
instrument take each other's answers. So each resource has a lock file of its own for as long as
its link is open; the system lets go of it when the process dies, however it dies.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import os
import re
import stat
import sys
import tempfile
from pathlib import Path
from typing import Final

from daq.errors import LinkRefused

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9.]+")


def no_hold() -> None:
    """Let go of nothing: for a link that was opened without a hold."""


class ResourceHold:
    """Hold one resource for this process until `release`.

    Parameters
    ----------
    key
        The same for every way to write the same resource.
    resource
        As it was written, for messages.
    folder
        Where lock files are; the user's own by default.

    Raises
    ------
    LinkRefused
        Another program, or another link of this one, holds it; the message names the holder.
    """

    def __init__(self, key: str, resource: str, *, folder: Path | None = None) -> None:
        self._fd: int | None = None
        path = (folder or lock_folder()) / _file_name(key)
        try:
            fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise LinkRefused(
                f"The lock file {path} cannot be opened ({error.strerror or error}).",
                instrument=resource,
                hint="see to it that this folder may be written to, and that the disk has room.",
            ) from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(fd, 200).decode("utf-8", "replace").strip()
            os.close(fd)
            raise LinkRefused(
                f"Another run holds the instrument: {holder or 'it left no name'}.",
                instrument=resource,
                hint="let it finish or stop it; two programs would take each other's answers.",
            ) from error
        os.ftruncate(fd, 0)
        os.write(fd, f"process {os.getpid()} ({_program()})\n".encode())
        self._fd = fd

    def release(self) -> None:
        """Let go; harmless when called twice."""
        if self._fd is not None:
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, 0)
            os.close(self._fd)
            self._fd = None


def lock_folder() -> Path:
    """Return the folder of lock files, made if it is missing: this user's, and nobody else's.

    Raises
    ------
    LinkRefused
        Somebody else made it, or it cannot be made.
    """
    root = Path(os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir())
    folder = root / f"trimbench-{os.getuid()}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
    except OSError as error:
        raise LinkRefused(
            f"The folder {folder} for lock files cannot be used ({error.strerror or error}).",
            hint="set XDG_RUNTIME_DIR to a folder of your own.",
        ) from error
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.getuid():
        raise LinkRefused(
            f"{folder} belongs to somebody else.",
            hint="remove it, or set XDG_RUNTIME_DIR to a folder of your own.",
        )
    return folder


def who_has_open(path: str) -> str:
    """Return the process that has a device open, such as ``process 812 (terminal)``; else nothing.

    Only this user's processes can be seen, and only where the system has ``/proc``.
    """
    device = str(Path(path).resolve())
    for entry in Path("/proc").glob("[0-9]*/fd/*"):
        with contextlib.suppress(OSError):
            if entry.parts[2] != str(os.getpid()) and os.readlink(entry) == device:  # noqa: PTH115 - a link to no file cannot be resolved as one
                return f"process {entry.parts[2]} ({_name_of(entry.parts[2])})"
    return ""


def _name_of(process: str) -> str:
    try:
        return Path("/proc", process, "comm").read_text(encoding="utf-8").strip()
    except OSError:
        return "no name"


def _program() -> str:
    words = [Path(sys.argv[0]).name, *sys.argv[1:3]] if sys.argv and sys.argv[0] else ["python"]
    return "".join(c if c.isprintable() else "?" for c in " ".join(words))[:80]


def _file_name(key: str) -> str:
    digest = hashlib.sha256(key.encode()).hexdigest()[:12]
    return f"{_UNSAFE.sub('-', key)[-60:]}-{digest}.lock"
