"""Write a file whole or not at all, and never over one that has to stay as it is."""

from __future__ import annotations

import errno
import os
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from daq.errors import InputError, LogError, LogFull
from daq.log.store import is_log

NO_SPACE = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What the system says of a full disk."""


def writable(path: Path, protected: Collection[Path] = ()) -> Path:
    """Return the regular file that `path` leads to, there already or still to be made.

    Parameters
    ----------
    path
        Where somebody asked for an output. A symbolic link is followed, so that the file behind
        it is written and the link stays.
    protected
        Files that must stay as they are, such as the station file, the log and the input; by
        whatever name they are meant. A log is protected without being named.

    Raises
    ------
    InputError
        It is one of these, or a folder, a device or a pipe.
    """
    target = Path(os.path.realpath(path))
    # What is still a link leads round in a circle.
    if target.is_symlink() or (target.exists() and not target.is_file()):
        what = "a folder" if target.is_dir() else "no regular file"
        raise InputError(f"'{path}' is {what}.", hint="give the name of a file.")
    for name in (target, _part(target)):
        if is_log(name) or any(_same(name, one) for one in protected):
            raise InputError(
                f"{path}: this would write over {name}, which has to stay as it is.",
                hint="give the output a name of its own.",
            )
    return target


@contextmanager
def replacing(path: Path, protected: Collection[Path] = ()) -> Iterator[BinaryIO]:
    """Open ``<path>.part`` for writing and rename it to `path` when the block ends well.

    An earlier file of that name stays until then, and for good when something goes wrong.

    Raises
    ------
    InputError
        That file may not be written over; see `writable`.
    LogFull
        The disk is full.
    LogError
        The folder is missing, may not be written to, or the disk failed.
    """
    target = writable(path, protected)
    part = _part(target)
    try:
        with part.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        _remove(part)
        raise _told(path, error) from error
    except BaseException:
        _remove(part)
        raise


def _part(target: Path) -> Path:
    # Not `with_name`: the root folder has no name, and is refused under the name that it got.
    return Path(f"{target}.part")


def _same(one: Path, other: Path) -> bool:
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    # Another name for the same file: a hard link, or capitals that the file system ignores.
    with suppress(OSError):
        return one.samefile(other)
    return False


def _remove(part: Path) -> None:
    with suppress(OSError):
        part.unlink()


def _told(path: Path, error: OSError) -> LogError:
    if error.errno in NO_SPACE:
        return LogFull(
            f"{path}: the disk is full; the log is untouched.",
            hint="free some space, then give the same command again.",
        )
    return LogError(
        f"{path}: {error.strerror or error} while writing it.",
        hint="check that the folder exists and may be written to.",
    )
