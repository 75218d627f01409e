"""Links for a long time: a thousand reconnects, and a day's watch with drops every few minutes.

Both run against an instrument in this process over a real TCP connection. The day is compressed:
as many readings as a day has at ten a second, as fast as they come.
"""

from __future__ import annotations

import gc
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.errors import BenchError
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.steadiness import Watch
from drivers.profiled import Place, ProfiledInstrument
from drivers.session import Gap
from tests.drivers.profiles import tiny_profile
from tests.drivers.tiny_server import TinyServer, lines

DDM = """
[quantity.ddm]
query = "DDM?"
unit = "ratio"
positive_tone = 150
noise = {sigma = 0.0001, resolution = 0.0001}
accuracy = [{floor = 0.001, coverage = "k=2"}]
"""
READINGS_PER_DAY = 864_000
DROP_EVERY = 2_000
"""Readings between two drops: a little over three minutes at ten a second."""
HALTS = 10
"""Errors beyond those that are made on purpose, from a machine that halts now and then."""


class Receiver:
    """Counts in steps of 0.0001, so that every reading can be told from every other nearby."""

    def __init__(self) -> None:
        self.count = 0
        self.sent: list[int] = []

    def __call__(self, connection: socket.socket) -> None:
        for line in lines(connection):
            if line == b"*IDN?":
                connection.sendall(b"TINY\n")
                continue
            self.count += 1
            connection.sendall(b"%.4f\n" % (self.count % 2000 / 10_000))


@pytest.fixture
def receiver() -> Iterator[tuple[Receiver, TinyServer]]:
    device = Receiver()
    server = TinyServer(device)
    yield device, server
    server.close()


def descriptors() -> int:
    return len(os.listdir("/proc/self/fd"))  # noqa: PTH208 - a count, no paths


def waits_for(condition: Callable[[], bool]) -> bool:
    """Return whether the condition came to hold within a second."""
    for _ in range(200):
        if condition():
            return True
        time.sleep(0.005)
    return False


@pytest.mark.study
@pytest.mark.timeout(600)
def test_a_thousand_reconnects_leave_no_thread_and_no_descriptor(receiver, tmp_path):
    _, server = receiver
    gaps: list[Gap] = []
    where = Place("receiver", server.resource, SystemClock(), tmp_path, on_gap=gaps.append)
    instrument = ProfiledInstrument(tiny_profile(tmp_path, DDM), where)
    instrument.measure("ddm")
    before = (threading.active_count(), descriptors())
    lost = 0
    began = time.perf_counter()
    for _ in range(1000):
        server.drop_clients()
        server._connections.clear()
        while True:
            try:
                instrument.measure("ddm")
                break
            except BenchError:
                lost += 1
        server._threads[:] = [thread for thread in server._threads if thread.is_alive()]
    took_s = time.perf_counter() - began
    settled = waits_for(lambda: (threading.active_count(), descriptors()) <= before)
    after = (threading.active_count(), descriptors())
    instrument.close()
    print(
        f"\n1000 reconnects in {took_s:.1f} s: {lost} errors told, {len(gaps)} gaps told, "
        f"threads {before[0]} -> {after[0]}, descriptors {before[1]} -> {after[1]}"
    )
    assert settled
    assert 1000 <= len(gaps) <= 1000 + HALTS
    assert lost >= 1000


@pytest.mark.study
@pytest.mark.timeout(600)
def test_a_thousand_openings_leave_no_thread_and_no_descriptor(receiver, tmp_path):
    _, server = receiver
    before = (threading.active_count(), descriptors())
    for _ in range(1000):
        where = Place("receiver", server.resource, SystemClock(), tmp_path)
        instrument = ProfiledInstrument(tiny_profile(tmp_path, DDM), where)
        instrument.measure("ddm")
        instrument.close()
        server._connections.clear()
    assert waits_for(lambda: (threading.active_count(), descriptors()) <= before)


@pytest.fixture
def dropping() -> Iterator[str]:
    """The address of a receiver in another process, so that only the client's memory is seen."""
    program = Path(__file__).with_name("dropping_receiver.py")
    command = [sys.executable, str(program), str(DROP_EVERY)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        yield f"TCPIP::127.0.0.1::{int(process.stdout.readline())}::SOCKET"
        process.kill()


@pytest.mark.study
@pytest.mark.timeout(3000)
def test_a_days_watch_with_drops_keeps_every_shown_reading_and_memory_flat(
    dropping, fast_folder, tmp_path
):
    gaps: list[Gap] = []
    shown = array("q", [0]) * READINGS_PER_DAY  # made at once, so that it does not grow
    memory: list[int] = []
    clock = SystemClock()
    where = Place("receiver", dropping, clock, tmp_path, on_gap=gaps.append)
    instrument = ProfiledInstrument(tiny_profile(tmp_path, DDM), where)
    watch = Watch(target=0.155, settle=0.001)
    count = errors = 0
    with LogWriter(fast_folder / "day.tblog", clock) as writer:
        journal = Journal(writer, 1)
        while count < READINGS_PER_DAY:
            try:
                reading = instrument.measure("ddm")
            except BenchError as error:
                errors += 1
                journal.event("watch", {"event": "gap", "error": error.details()})
                continue
            shown[count] = journal.reading("watch", reading).seq
            watch.add(reading)
            count += 1
            if count % (READINGS_PER_DAY // 10) == 0:
                gc.collect()
                memory.append(_resident_bytes())
        path = writer.path
    instrument.close()
    with LogReader(path) as reader:
        on_disk = array("q", (entry.seq for entry in reader.entries(kind=Kind.READING)))
        rows = reader.verify().rows
    kilobytes = [round(number / 1024) for number in memory]
    print(
        f"\n{count} readings, {len(gaps)} drops: {errors} errors told, {rows} rows in the log, "
        f"memory by tenths of the day {kilobytes} kB"
    )
    assert on_disk == shown
    drops = READINGS_PER_DAY // DROP_EVERY
    assert drops <= len(gaps) <= errors <= drops + HALTS
    assert memory[-1] - memory[1] < 1_000_000


@pytest.fixture
def fast_folder(tmp_path) -> Iterator[Path]:
    """A folder in memory where there is one: the disk is not what is studied."""
    shared = Path("/dev/shm")
    if not shared.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=shared) as folder:
        yield Path(folder)


def _resident_bytes() -> int:
    """Return what this process holds in memory, which nothing escapes."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")
