"""A serial line hands over the bytes that came; every fault is one of ours, in time."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import threading
import time
from pathlib import Path

import pytest
import serial

from daq.errors import LinkLost, LinkRefused, LinkTimeout
from drivers.links.serial_link import SerialLink, serial_port
from drivers.links.settings import LinkSettings
from tests.drivers.tiny_server import TinyPty
from tests.support.clocks import within


@pytest.fixture
def link(line, clock):
    opened = SerialLink(line.resource, line.path, settings=LinkSettings(), clock=clock)
    yield opened
    opened.close()


def test_bytes_go_both_ways(line, link):
    link.write(b"ID\r", 1.0)
    assert os.read(line.master, 100) == b"ID\r"
    line.send(bytes(range(256)))
    assert link.read(1.0).data == bytes(range(256))


def test_silence_ends_at_the_deadline(link):
    began = time.perf_counter()
    with pytest.raises(LinkTimeout, match=r"Nothing arrived within 0\.1 s"):
        link.read(0.1)
    assert time.perf_counter() - began > 0.09


def test_a_long_line_is_read_in_blocks(line, link):
    """Byte by byte, 200 kB take about a second (measured, bench notes)."""
    sender = threading.Thread(target=line.send, args=(b"x" * 200_000,))
    sender.start()
    reads = received = 0
    while received < 200_000:
        received += len(link.read(1.0).data)
        reads += 1
    sender.join()
    assert reads < 2_000


def test_an_unplugged_adapter_is_lost_on_read_write_clear_and_close(line, link):
    line.unplug()
    with pytest.raises(LinkLost, match="serial line is gone"):
        link.read(1.0)
    with pytest.raises(LinkLost, match="serial line is gone"):
        link.write(b"ID\r", 1.0)
    with pytest.raises(LinkLost):
        link.clear(1.0)
    link.close()
    link.close()


def test_an_adapter_unplugged_while_waiting_is_lost_before_the_deadline(line, link):
    timer = threading.Timer(0.05, line.unplug)
    timer.start()
    with within(0.05), pytest.raises(LinkLost):
        link.read(5.0)
    timer.join()


class Dead:
    """A port of which every use fails in the same way."""

    timeout = write_timeout = 0.0

    def __init__(self, error: Exception) -> None:
        self._error = error

    def read(self, size: int) -> bytes:
        raise self._error

    def write(self, data: bytes) -> int:
        raise self._error

    def close(self) -> None:
        raise self._error


@pytest.mark.parametrize(
    "error",
    [
        serial.SerialException("device disconnected or multiple access on port?"),
        OSError(5, "Input/output error"),
        termios.error(5, "Input/output error"),
    ],
)
def test_every_error_that_pyserial_lets_through_is_a_lost_link(link, error):
    port, link._port = link._port, Dead(error)
    for use in (lambda: link.read(0.1), lambda: link.write(b"x", 0.1), lambda: link.clear(0.1)):
        with pytest.raises(LinkLost):
            use()
    link.close()
    port.close()


def test_a_line_that_takes_nothing_breaks_the_write_at_its_deadline(link):
    with within(0.1), pytest.raises(LinkTimeout, match=r"did not take 1000000 bytes within 0\.1 s"):
        link.write(bytes(1_000_000), 0.1)


def test_a_second_opening_is_refused_and_says_why(line, link, clock):
    with pytest.raises(LinkRefused, match="Another program holds the serial port"):
        SerialLink(line.resource, line.path, settings=LinkSettings(), clock=clock)


def test_a_port_that_another_process_holds_is_refused(line, clock):
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import serial, sys; p = serial.Serial(sys.argv[1], exclusive=True); "
            "print('held', flush=True); sys.stdin.read()",
            line.path,
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    with holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(LinkRefused, match="Another program"):
            SerialLink(line.resource, line.path, settings=LinkSettings(), clock=clock)
        holder.communicate()


def test_a_port_that_does_not_exist_is_refused(clock, tmp_path):
    with pytest.raises(LinkRefused, match="no serial port"):
        SerialLink("ASRL", str(tmp_path / "none"), settings=LinkSettings(), clock=clock)


def test_a_file_is_no_port(clock, tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(LinkRefused, match="cannot be opened"):
        SerialLink("ASRL", str(tmp_path / "file"), settings=LinkSettings(), clock=clock)


def test_the_name_is_resolved_anew_at_each_opening(clock, tmp_path):
    """An adapter that comes back as another node is found again under its name by id."""
    name = tmp_path / "by-id"
    first = TinyPty(name)
    SerialLink("ASRL", str(name), settings=LinkSettings(), clock=clock).close()
    second = TinyPty(name)
    first.unplug()
    link = SerialLink("ASRL", str(name), settings=LinkSettings(), clock=clock)
    second.send(b"here")
    assert link.read(1.0).data
    link.close()
    second.unplug()


@pytest.mark.parametrize(
    ("name", "port"),
    [
        ("./receiver.tty", "/bench/receiver.tty"),
        ("ports/a", "/bench/ports/a"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
        ("3", "COM3"),
        ("COM7", "COM7"),
    ],
)
def test_relative_paths_begin_at_the_station_file(name, port):
    assert serial_port(name, Path("/bench")) == port
