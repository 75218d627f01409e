"""The one thread that writes the log.

`LogWriter.append` returns when the row is on the disk, so whatever is shown after it can be
found again after a power cut. Rows that are handed over while a commit is under way share the
next commit.
"""

from __future__ import annotations

import queue
import sqlite3
import threading
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from daq.clock import Clock
from daq.errors import LogError
from daq.log.entry import ANCHOR, Body, Entry, Kind, canonical, chain
from daq.log.lock import LogLock
from daq.log.store import connect_for_writing, told

ACKNOWLEDGE_S: Final = 30.0
"""How long a caller waits for the disk before it is told that the log hangs."""

_BATCH: Final = 200


@dataclass(frozen=True, slots=True)
class _Pending:
    run: int
    kind: Kind
    key: str
    utc_ns: int
    mono_ns: int
    body_json: str
    body: Body
    done: Future[Entry] = field(default_factory=Future)


class LogWriter:
    """Append rows to one log; open one a process.

    Parameters
    ----------
    path
        The log file; made if missing.
    clock
        Stamps the rows that bring no time of their own.
    max_pages
        Upper bound of the file in SQLite pages, for tests of a full disk.

    Raises
    ------
    LogBusy
        Another process writes this log.
    LogError
        The file cannot be opened or is no log.
    """

    def __init__(self, path: Path, clock: Clock, *, max_pages: int | None = None) -> None:
        self._path = path
        self._clock = clock
        self._lock = LogLock(path, clock)
        try:
            self._connection = connect_for_writing(path)
            if max_pages is not None:
                self._connection.execute(f"PRAGMA max_page_count = {int(max_pages)}")
            self._seq, self._digest = self._last_row()
        except BaseException:
            self._lock.release()
            raise
        self._queue: queue.SimpleQueue[_Pending | None] = queue.SimpleQueue()
        self._failed: LogError | None = None
        self._thread = threading.Thread(target=self._work, name="log writer", daemon=True)
        self._thread.start()

    @property
    def path(self) -> Path:
        """The log file."""
        return self._path

    @property
    def last_digest(self) -> bytes:
        """Digest of the newest row on disk."""
        return self._digest

    def next_run(self) -> int:
        """Return the number that a new run gets."""
        with told(self._path, "looking for the last run"):
            (last,) = self._connection.execute("SELECT max(run) FROM entries").fetchone()
        return int(last or 0) + 1

    def append(
        self,
        run: int,
        kind: Kind,
        key: str,
        body: Body,
        *,
        utc_ns: int | None = None,
        mono_ns: int | None = None,
    ) -> Entry:
        """Write one row and wait until it is on the disk.

        Raises
        ------
        LogFull
            The disk is full. The row is not in the log; all earlier ones are.
        LogError
            The disk failed, hangs, or the writer is closed.
        ValueError
            The body holds something that JSON cannot.
        """
        if self._failed is not None:
            raise self._failed
        if not self._thread.is_alive():
            raise LogError(f"{self._path}: the log is closed.")
        self._lock.works_on(run)
        pending = _Pending(
            run=run,
            kind=kind,
            key=key,
            utc_ns=self._clock.utc_ns() if utc_ns is None else utc_ns,
            mono_ns=self._clock.monotonic_ns() if mono_ns is None else mono_ns,
            body_json=canonical(body),
            body=body,
        )
        self._queue.put(pending)
        try:
            return pending.done.result(timeout=ACKNOWLEDGE_S)
        except TimeoutError as error:
            raise LogError(
                f"{self._path}: the disk did not take a row within {ACKNOWLEDGE_S:.0f} s.",
                hint="check the disk; nothing that was shown is lost.",
            ) from error

    def close(self) -> None:
        """Finish what is queued, fold the write-ahead file in, let go; harmless when repeated."""
        if not self._thread.is_alive():
            return
        self._queue.put(None)
        self._thread.join(timeout=ACKNOWLEDGE_S)
        try:
            # At rest the log is one file that can be copied; a reader that is open prevents it.
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.execute("PRAGMA busy_timeout = 0")
            self._connection.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.Error:
            pass  # A full disk must not hide the error that is already on its way up.
        finally:
            self._connection.close()
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _last_row(self) -> tuple[int, bytes]:
        with told(self._path, "reading its last row"):
            row = self._connection.execute(
                "SELECT seq, digest FROM entries ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        return (0, ANCHOR) if row is None else (int(row[0]), bytes(row[1]))

    def _work(self) -> None:
        open_ = True
        while open_:
            batch, open_ = self._next_batch()
            if batch:
                self._commit(batch)

    def _next_batch(self) -> tuple[list[_Pending], bool]:
        batch: list[_Pending] = []
        item = self._queue.get()
        while item is not None:
            batch.append(item)
            if len(batch) >= _BATCH or self._queue.empty():
                return batch, True
            item = self._queue.get()
        return batch, False

    def _commit(self, batch: list[_Pending]) -> None:
        try:
            with told(self._path, "writing"):
                entries = self._insert(batch)
        except LogError as error:
            self._failed = error
            for pending in batch:
                pending.done.set_exception(error)
            return
        self._seq, self._digest = entries[-1].seq, entries[-1].digest
        for pending, entry in zip(batch, entries, strict=True):
            pending.done.set_result(entry)

    def _insert(self, batch: list[_Pending]) -> list[Entry]:
        seq, digest = self._seq, self._digest
        entries: list[Entry] = []
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            for item in batch:
                seq += 1
                fields = (seq, item.run, str(item.kind), item.key, item.utc_ns, item.mono_ns)
                digest = chain(digest, fields, item.body_json)
                self._connection.execute(
                    "INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    (*fields, item.body_json, digest),
                )
                entries.append(
                    Entry(
                        seq,
                        item.run,
                        item.kind,
                        item.key,
                        item.utc_ns,
                        item.mono_ns,
                        item.body,
                        digest,
                    )
                )
            self._connection.execute("COMMIT")
        except BaseException:
            # SQLite may have rolled back by itself (full disk); a second time would raise again.
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise
        return entries
