"""The log keeps what it acknowledged, chains its rows, and says what is wrong with it."""

from __future__ import annotations

import fcntl
import hashlib
import json
import math
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

import daq
from daq.clock import ManualClock
from daq.errors import InputError, LogBusy, LogDamaged, LogError, LogFull
from daq.journal import RESUMED
from daq.log.entry import ANCHOR, Kind
from daq.log.lock import Holder, holder, lock_of
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
    assert holder(path) is None
    with LogWriter(path, clock):
        assert holder(path) == Holder(os.getpid(), None)
    assert holder(path) is None


def test_the_lock_says_which_run_is_written(path: Path, clock: ManualClock) -> None:
    """From its first row on, and not the run before it; also one that is gone on with later."""
    write(path, clock, 1)
    with LogWriter(path, clock) as writer:
        assert holder(path) == Holder(os.getpid(), None)
        for run in (12, 3, 3):
            writer.append(run, Kind.EVENT, "k", {})
            assert holder(path) == Holder(os.getpid(), run)


def test_who_only_looks_does_not_turn_away_a_run_that_begins(path: Path) -> None:
    """A killed run leaves its name, so the lock is tried; the look is over while the run waits."""
    looking = os.open(lock_of(path), os.O_RDWR | os.O_CREAT)
    fcntl.flock(looking, fcntl.LOCK_SH)

    class LooksShortly(ManualClock):
        def sleep(self, seconds: float) -> None:
            fcntl.flock(looking, fcntl.LOCK_UN)

    LogWriter(path, LooksShortly()).close()
    os.close(looking)


def test_a_name_that_a_killed_process_left_in_the_lock_holds_nothing(
    path: Path, clock: ManualClock
) -> None:
    write(path, clock, 1)
    lock_of(path).write_text("process 1\n", encoding="utf-8")
    assert holder(path) is None
    write(path, clock, 1)


def test_looking_does_not_get_into_the_way_of_who_begins(path: Path, clock: ManualClock) -> None:
    with LogWriter(path, clock):
        assert holder(path) is not None
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


END = {"result": "finished", "message": "", "open_hazards": []}
LATE = (
    {"event": "instrument was away", "seconds": 3.0},
    {"event": "another screen paired", "reason": "at 192.0.2.9"},
)


@pytest.mark.parametrize("late", LATE)
def test_what_is_written_late_does_not_undo_the_end_of_a_run(
    late: dict[str, object], path: Path, clock: ManualClock
) -> None:
    with LogWriter(path, clock) as writer:
        writer.append(1, Kind.RUN_STARTED, "k", {})
        writer.append(1, Kind.RUN_ENDED, "finished", END)
        last = writer.append(1, Kind.EVENT, "k", late)
    with LogReader(path) as reader:
        run = reader.run(1)
    assert run.ended == END
    assert run.digest == last.digest.hex()


def test_a_run_that_was_taken_up_has_no_end_until_it_ends_again(
    path: Path, clock: ManualClock
) -> None:
    with LogWriter(path, clock) as writer, LogReader(path) as reader:
        writer.append(1, Kind.RUN_STARTED, "k", {})
        writer.append(1, Kind.RUN_ENDED, "aborted", {**END, "result": "aborted"})
        writer.append(1, Kind.EVENT, "k", LATE[0])
        writer.append(1, Kind.EVENT, RESUMED, {"event": RESUMED, "outcomes": 0})
        assert reader.run(1).ended is None
        writer.append(1, Kind.RUN_ENDED, "finished", END)
        assert reader.run(1).ended == END


def test_a_row_of_a_run_that_never_began_makes_no_run(path: Path, clock: ManualClock) -> None:
    """Such a row would end every list of runs; its number is not given away again either."""
    with LogWriter(path, clock) as writer:
        writer.append(1, Kind.EVENT, "page", LATE[1])
        assert writer.next_run() == 2
        writer.append(2, Kind.RUN_STARTED, "k", {})
    with LogReader(path) as reader:
        assert [run.run for run in reader.runs()] == [2]
        assert reader.verify().rows == 2
