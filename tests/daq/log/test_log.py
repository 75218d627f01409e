"""The log keeps what it acknowledged, chains its rows, and says what is wrong with it."""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

import daq
from daq.clock import ManualClock
from daq.errors import InputError, LogBusy, LogDamaged, LogError, LogFull
from daq.log.entry import ANCHOR, Kind
from daq.log.lock import is_held, lock_of
from daq.log.reader import LogReader
from daq.log.writer import LogWriter


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "station.tblog"


def write(path: Path, clock: ManualClock, rows: int) -> None:
    with LogWriter(path, clock) as writer:
        run = writer.next_run()
        writer.append(run, Kind.RUN_STARTED, "p", {"procedure": "p"})
        for n in range(rows):
            clock.sleep(0.1)
            writer.append(run, Kind.EVENT, f"step {n}", {"n": n, "text": "ü µ Ω"})


def tamper(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    connection.executescript(f"DROP TRIGGER no_update; DROP TRIGGER no_delete; {statement}")
    connection.close()


def test_a_row_is_on_disk_before_append_returns(path: Path, clock: ManualClock) -> None:
    with LogWriter(path, clock) as writer:
        writer.append(1, Kind.RUN_STARTED, "p", {"a": 1})
        entry = writer.append(1, Kind.EVENT, "k", {"b": [1, 2]})
        with LogReader(path) as reader:
            assert [e.body for e in reader.entries()] == [{"a": 1}, {"b": [1, 2]}]
            assert reader.verify().digest == entry.digest.hex()


def test_the_chain_is_sha256_over_canonical_json(path: Path, clock: ManualClock) -> None:
    """Recomputed here with hashlib and json alone (FIPS 180-4 SHA-256, RFC 8259 JSON)."""
    write(path, clock, 3)
    previous = ANCHOR
    connection = sqlite3.connect(path)
    for *fields, body, digest in connection.execute("SELECT * FROM entries ORDER BY seq"):
        told = json.dumps(fields, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256(previous + told.encode() + b"\n" + body.encode()).digest()
        assert digest == previous
    connection.close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET body = replace(body, '1', '2') WHERE seq = 3;",
        "UPDATE entries SET utc_ns = utc_ns + 1 WHERE seq = 3;",
        "DELETE FROM entries WHERE seq = 3;",
        "DELETE FROM entries WHERE seq = 1;",
        "UPDATE entries SET seq = -1 WHERE seq = 3; UPDATE entries SET seq = 3 WHERE seq = 4;"
        "UPDATE entries SET seq = 4 WHERE seq = -1;",
    ],
)
def test_an_edited_removed_or_moved_row_is_found(
    path: Path, clock: ManualClock, statement: str
) -> None:
    write(path, clock, 5)
    tamper(path, statement)
    with LogReader(path) as reader, pytest.raises(LogDamaged, match="chain breaks"):
        reader.verify()


def test_rows_cut_off_the_end_are_found_by_the_digest_on_a_record(
    path: Path, clock: ManualClock
) -> None:
    write(path, clock, 5)
    with LogReader(path) as reader:
        digest = reader.verify().digest
    tamper(path, "DELETE FROM entries WHERE seq = 6;")
    with LogReader(path) as reader:
        assert reader.verify().rows == 5
        with pytest.raises(LogDamaged, match="cut off its end"):
            reader.verify(digest=digest)


def test_rows_cannot_be_changed_by_accident(path: Path, clock: ManualClock) -> None:
    write(path, clock, 2)
    connection = sqlite3.connect(path)
    for statement in ("UPDATE entries SET run = 9", "DELETE FROM entries"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            connection.execute(statement)
    connection.close()


def test_a_second_writer_is_refused_and_told_who_holds_the_log(
    path: Path, clock: ManualClock
) -> None:
    with LogWriter(path, clock), pytest.raises(LogBusy, match=r"process \d+"):
        LogWriter(path, clock)
    LogWriter(path, clock).close()


def fill(writer: LogWriter) -> int:
    """Write until the disk is full; return how many rows were acknowledged."""
    for acknowledged in range(10_000):
        try:
            writer.append(1, Kind.EVENT, "k", {"text": "x" * 200})
        except LogFull:
            return acknowledged
    return pytest.fail("the disk never filled up")


def test_a_full_disk_stops_loudly_and_keeps_every_acknowledged_row(
    path: Path, clock: ManualClock
) -> None:
    LogWriter(path, clock).close()
    writer = LogWriter(path, clock, max_pages=12)
    acknowledged = fill(writer)
    with pytest.raises(LogFull, match="disk is full"):
        writer.append(1, Kind.EVENT, "k", {})
    writer.close()
    assert acknowledged > 10
    with LogReader(path) as reader:
        assert reader.verify().rows == acknowledged


def test_the_numbers_go_on_after_reopening(path: Path, clock: ManualClock) -> None:
    write(path, clock, 2)
    write(path, clock, 2)
    with LogReader(path) as reader:
        assert [e.seq for e in reader.entries()] == [1, 2, 3, 4, 5, 6]
        assert reader.run_numbers() == [1, 2]
        assert reader.verify().rows == 6


def test_a_killed_writer_loses_no_acknowledged_row(path: Path) -> None:
    """SIGKILL right after an acknowledgement; the parent counts what was acknowledged."""
    script = (
        "import sys\nfrom pathlib import Path\nfrom daq.clock import SystemClock\n"
        "from daq.log.entry import Kind\nfrom daq.log.writer import LogWriter\n"
        "w = LogWriter(Path(sys.argv[1]), SystemClock())\n"
        "while True:\n    print(w.append(1, Kind.EVENT, 'k', {}).seq, flush=True)\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    seen = [int(process.stdout.readline()) for _ in range(50)]
    process.kill()
    seen += [int(line) for line in process.stdout.read().split()]
    process.stdout.close()
    process.wait()
    with LogReader(path) as reader:
        assert reader.verify().rows >= seen[-1]


@pytest.mark.parametrize("content", [b"", b"not a database at all" * 100])
def test_a_file_that_is_no_log_is_said_to_be_none(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(LogDamaged, match="not a"):
        LogReader(path)


def test_a_missing_log_and_a_missing_folder_are_told(tmp_path: Path, clock: ManualClock) -> None:
    with pytest.raises(InputError, match="no log there"):
        LogReader(tmp_path / "none.tblog")
    with pytest.raises(LogError, match="No such file"):
        LogWriter(tmp_path / "none" / "x.tblog", clock)


def test_a_missing_run_lists_those_that_are_there(path: Path, clock: ManualClock) -> None:
    write(path, clock, 1)
    with LogReader(path) as reader, pytest.raises(InputError, match=r"no run 7 .*runs: 1"):
        reader.run(7)


def test_readings_are_a_table_with_documented_columns(path: Path, clock: ManualClock) -> None:
    from daq.journal import Journal
    from daq.reading import Quality, Reading

    with LogWriter(path, clock) as writer:
        journal = Journal(writer, 1)
        for value in (0.102, float("nan")):
            quality = Quality.NO_VALUE if math.isnan(value) else Quality.OK
            journal.reading(
                "w", Reading("ddm", value, 0.0005, "rx", "width", 1_700_000_000, 5, 0, quality)
            )
    table = daq.open_log(path).readings()
    assert table["value"].iloc[0] == 0.102
    assert table["value"].isna().tolist() == [False, True]
    assert table["unit"].tolist() == ["1", "1"]
    assert str(table["time"].dtype) == "datetime64[ns, UTC]"


def test_the_lock_is_seen_while_a_process_writes_and_not_after(
    path: Path, clock: ManualClock
) -> None:
    assert not is_held(path)
    with LogWriter(path, clock):
        assert is_held(path)
    assert not is_held(path)


def test_a_name_that_a_killed_process_left_in_the_lock_holds_nothing(
    path: Path, clock: ManualClock
) -> None:
    write(path, clock, 1)
    lock_of(path).write_text("process 1\n", encoding="utf-8")
    assert not is_held(path)
    write(path, clock, 1)


def test_looking_does_not_get_into_the_way_of_who_begins(path: Path, clock: ManualClock) -> None:
    with LogWriter(path, clock):
        assert is_held(path)
        with pytest.raises(LogBusy, match="another run holds"):
            LogWriter(path, clock)
    write(path, clock, 1)


@pytest.mark.parametrize("number", [2**63, 10**20, -1, 0])
def test_a_run_of_an_impossible_number_is_not_there(
    number: int, path: Path, clock: ManualClock
) -> None:
    write(path, clock, 1)
    with LogReader(path) as reader, pytest.raises(InputError, match=f"no run {number} in"):
        reader.run(number)
