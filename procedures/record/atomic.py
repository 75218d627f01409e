"""Write a file so that it is there whole or not at all, and say a full disk in plain words."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from daq.errors import LogError, LogFull

_NO_SPACE = frozenset({errno.ENOSPC, errno.EDQUOT})


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """Open ``<path>.part`` for writing and rename it to `path` when the block ends well.

    An earlier file of that name stays until then, and for good when something goes wrong.

    Raises
    ------
    LogFull
        The disk is full.
    LogError
        The folder is missing, may not be written to, or the disk failed.
    """
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        _remove(part)
        raise _told(path, error) from error
    except BaseException:
        _remove(part)
        raise


def _remove(part: Path) -> None:
    with suppress(OSError):
        part.unlink()


def _told(path: Path, error: OSError) -> LogError:
    if error.errno in _NO_SPACE:
        return LogFull(
            f"{path}: the disk is full; the log is untouched.",
            hint="free some space, then make the record again with `trimbench record`.",
        )
    return LogError(
        f"{path}: {error.strerror or error} while writing the record.",
        hint="check that the folder exists and may be written to.",
    )
