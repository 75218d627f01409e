"""The SQLite file behind the log: its schema, its settings, and how its errors are told."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from daq.errors import InputError, LogBusy, LogDamaged, LogError, LogFull
from daq.log.entry import FORMAT_VERSION
from daq.log.lock import lock_of

APPLICATION_ID: Final = 0x74724C67
"""``trLg``: tells our files from other SQLite files."""

BUSY_TIMEOUT_MS: Final = 5000

_HEADER: Final = b"SQLite format 3\x00"
_APPLICATION_ID_AT: Final = 68
"""Where a database file keeps its application id, big-endian (SQLite database file format, 1.3)."""

_BESIDE: Final = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a log, by what follows its name."""

_SCHEMA: Final = """
CREATE TABLE entries (
  seq     INTEGER PRIMARY KEY,
  run     INTEGER NOT NULL,
  kind    TEXT    NOT NULL,
  key     TEXT    NOT NULL,
  utc_ns  INTEGER NOT NULL,
  mono_ns INTEGER NOT NULL,
  body    TEXT    NOT NULL,
  digest  BLOB    NOT NULL
) STRICT;
CREATE INDEX entries_by_run ON entries (run, seq);
CREATE INDEX entries_by_kind ON entries (kind, seq);
CREATE TRIGGER no_update BEFORE UPDATE ON entries
  BEGIN SELECT RAISE(ABORT, 'the log is append-only'); END;
CREATE TRIGGER no_delete BEFORE DELETE ON entries
  BEGIN SELECT RAISE(ABORT, 'the log is append-only'); END;
"""


def files_of(log: Path) -> tuple[Path, ...]:
    """Return the log's file and those that may stand beside it while it is written."""
    return (log, lock_of(log), *(log.with_name(log.name + ending) for ending in _BESIDE))


def is_log(path: Path) -> bool:
    """Whether there is a log at `path`, of whatever station; nothing of it is touched."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            begin = file.read(_APPLICATION_ID_AT + 4)
    except OSError:
        return False
    return begin.startswith(_HEADER) and begin.endswith(APPLICATION_ID.to_bytes(4, "big"))


@contextmanager
def told(path: Path, doing: str) -> Iterator[None]:
    """Turn SQLite's and the system's errors into the ones that a technician understands.

    Raises
    ------
    LogFull, LogBusy, LogDamaged, LogError
        By what SQLite reports; the original error is chained.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise _translated(path, doing, error) from error
    except OSError as error:
        raise LogError(
            f"{path}: {error.strerror or error} while {doing}.",
            hint="check that the folder exists and may be written to.",
        ) from error


def _translated(path: Path, doing: str, error: sqlite3.Error) -> LogError:
    name = getattr(error, "sqlite_errorname", "") or ""
    if name.startswith("SQLITE_FULL"):
        return LogFull(
            f"{path}: the disk is full; everything that was shown so far is kept.",
            hint="free some space, then `trimbench resume` the run.",
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return LogBusy(
            f"{path}: another program keeps the log locked while {doing}.",
            hint="close whatever has the file open.",
        )
    if name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        return LogDamaged(
            f"{path}: not a readable log ({error}).",
            hint="put it aside unchanged and start with a new file name in the station file.",
        )
    return LogError(f"{path}: {error} while {doing}.", hint="check the disk and the permissions.")


def connect_for_writing(path: Path) -> sqlite3.Connection:
    """Open the log, making it if it is not there; every commit reaches the disk.

    Raises
    ------
    LogError
        The file cannot be opened, is no log, or is of a newer format.
    """
    with told(path, "opening it"):
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        try:
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            if _is_new(connection):
                _create(connection)
            _check_format(connection, path)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
        except BaseException:
            connection.close()
            raise
    return connection


def connect_for_reading(path: Path) -> sqlite3.Connection:
    """Open an existing log read-only.

    Raises
    ------
    InputError
        There is no such file.
    LogError
        The file is no log, or is of a newer format.
    """
    if not path.is_file():
        raise InputError(
            f"{path}: there is no log there.",
            hint="check the station file's `log`, or run a procedure first.",
        )
    with told(path, "opening it"):
        uri = f"{path.resolve().as_uri()}?mode=ro"
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
        try:
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            _check_format(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


def _is_new(connection: sqlite3.Connection) -> bool:
    found = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return bool(found[0] == 0)


def _create(connection: sqlite3.Connection) -> None:
    connection.executescript(
        f"BEGIN IMMEDIATE;"
        f"PRAGMA application_id = {APPLICATION_ID};"
        f"PRAGMA user_version = {FORMAT_VERSION};"
        f"{_SCHEMA}"
        f"COMMIT;"
    )


def _check_format(connection: sqlite3.Connection, path: Path) -> None:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if application != APPLICATION_ID:
        raise LogDamaged(
            f"{path}: a database, but not a trimbench log.",
            hint="give the log another file name in the station file.",
        )
    if version > FORMAT_VERSION:
        raise LogError(
            f"{path}: written by a newer trimbench (log format {version}).",
            hint="use that version or a newer one.",
        )
