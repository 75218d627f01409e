"""The log among clocks that are set, computers that sleep, copies, slow readers and other writers.

Facts about SQLite: its own documents, "Write-Ahead Logging" and "PRAGMA Statements".
"""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import LogBusy
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.store import connect_for_writing
from daq.log.writer import LogWriter

PAGES_UNTIL_FOLDED = 1000
"""SQLite folds the write-ahead file into the database after so many pages, by default."""
PAGE = 4096
BULK = {"raw": "x" * 100_000}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "rows.tblog"


@pytest.fixture
def writer(path: Path, clock: ManualClock) -> Iterator[LogWriter]:
    with LogWriter(path, clock) as made:
        yield made


def wal_bytes(path: Path) -> int:
    return path.with_name(path.name + "-wal").stat().st_size


def count(path: Path) -> int:
    with LogReader(path) as reader:
        return sum(1 for _ in reader.entries())


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0])
def test_rows_stay_in_order_and_keep_both_times_when_the_calendar_is_set(
    path, writer, clock, step_s
):
    """Order and intervals are the monotonic clock's; the calendar is told as it was."""
    for n in range(6):
        clock.sleep(0.1)
        if n == 3:
            clock.step_utc(step_s)
        writer.append(1, Kind.READING, "width", {"n": n})
    with LogReader(path) as reader:
        rows = list(reader.entries())
    assert [row.body["n"] for row in rows] == list(range(6))
    between = [(b.mono_ns - a.mono_ns) / 1e9 for a, b in pairwise(rows)]
    assert between == pytest.approx([0.1] * 5)
    calendar = [(b.utc_ns - a.utc_ns) / 1e9 for a, b in pairwise(rows)]
    assert calendar == pytest.approx([0.1, 0.1, 0.1 + step_s, 0.1, 0.1])


def test_every_commit_is_synchronised_with_the_disk(path):
    """synchronous=FULL is 2: after a power cut nothing that was acknowledged is missing."""
    with closing(connect_for_writing(path)) as connection:
        assert connection.execute("PRAGMA synchronous").fetchone() == (2,)
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_copy_of_the_file_alone_is_stale_while_it_is_written_and_whole_at_rest(
    path, clock, tmp_path
):
    """While open the newest rows are in the write-ahead file; reading through SQLite sees all."""
    copy, backup = tmp_path / "copy.tblog", tmp_path / "backup.tblog"
    with LogWriter(path, clock) as writer:
        for n in range(50):
            writer.append(1, Kind.READING, "width", {"n": n})
        shutil.copy(path, copy)
        with closing(sqlite3.connect(copy)) as torn:
            assert torn.execute("SELECT count(*) FROM entries").fetchone()[0] < 50
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(backup)) as target:
            source.backup(target)
        assert count(path) == 50
    assert count(backup) == 50
    assert not path.with_name(path.name + "-wal").exists()
    copy.unlink()
    shutil.copy(path, copy)
    with LogReader(copy) as reader:
        assert reader.verify().rows == 50


def test_a_reader_that_has_read_to_its_end_lets_the_write_ahead_file_be_folded(path, writer):
    with LogReader(path) as reader:
        for _ in range(150):
            newest = writer.append(1, Kind.READING, "width", BULK)
            assert len(list(reader.entries(after=newest.seq - 1))) == 1
        largest = wal_bytes(path)
    assert 150 * len(BULK["raw"]) > 2 * PAGES_UNTIL_FOLDED * PAGE
    assert largest < 1.2 * PAGES_UNTIL_FOLDED * PAGE


def test_a_reader_that_stops_half_way_makes_it_grow_and_nothing_is_lost(path, clock):
    """It grows without bound meanwhile; when the reader is gone the log is one file again."""
    with LogWriter(path, clock) as writer:
        for _ in range(2):
            writer.append(1, Kind.READING, "width", BULK)
        reader = LogReader(path)
        half_way = reader.entries()
        next(half_way)
        for _ in range(100):
            writer.append(1, Kind.READING, "width", BULK)
        assert wal_bytes(path) > 2 * PAGES_UNTIL_FOLDED * PAGE
        assert sum(1 for _ in half_way) == 1  # what it began with, and nothing newer
        reader.close()
    assert not path.with_name(path.name + "-wal").exists()
    assert count(path) == 102


def test_another_program_that_writes_for_a_moment_is_waited_for(path, writer):
    with closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other:
        other.execute("BEGIN IMMEDIATE")
        letting_go = threading.Timer(0.15, lambda: other.execute("ROLLBACK"))
        letting_go.start()
        writer.append(1, Kind.READING, "width", {"n": 1})
        letting_go.join()
    assert count(path) == 1


def test_another_program_that_keeps_the_log_locked_is_told_and_nothing_is_lost(path, clock):
    """The wait is 5 s; here it is shortened so that the test is."""
    with LogWriter(path, clock) as writer:
        writer.append(1, Kind.READING, "width", {"n": 1})
        writer._connection.execute("PRAGMA busy_timeout = 50")
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(LogBusy, match="another program keeps the log locked while writing"):
                writer.append(1, Kind.READING, "width", {"n": 2})
            with pytest.raises(LogBusy):
                writer.append(1, Kind.READING, "width", {"n": 3})
            other.execute("ROLLBACK")
    with LogReader(path) as reader:
        assert reader.verify().rows == 1
    with LogWriter(path, clock) as again:
        again.append(1, Kind.READING, "width", {"n": 2})
    assert count(path) == 2
