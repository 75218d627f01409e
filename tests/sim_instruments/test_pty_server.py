"""The bench on a pseudo-terminal, with pyserial and bare system calls as independent clients."""

from __future__ import annotations

import os
import threading
from collections import deque
from pathlib import Path

import pytest
import serial

from sim_instruments.pty_server import PtyServer
from sim_instruments.sessions import LinkDropped


def descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


class Reverse:
    """Answers backwards, with bytes that a cooked terminal would change."""

    def feed(self, data: bytes) -> bytes:
        return data[::-1]


@pytest.fixture
def line(tmp_path):
    """A served line."""
    running = PtyServer(Reverse(), tmp_path / "receiver.tty")
    yield running
    running.close()


def test_pyserial_gets_every_byte_unchanged_and_no_echo(line):
    """Raw mode: CR, LF, NUL, Ctrl-C and 0xFF pass; nothing comes back but the answer."""
    data = bytes([13, 10, 0, 3, 4, 17, 19, 26, 127, 255])
    with serial.Serial(str(line.path), 9600, timeout=2) as port:
        port.write(data)
        assert port.read(len(data)) == data[::-1]
        port.timeout = 0.02
        assert port.read(1) == b""


def test_line_survives_closing_and_opening_again(line):
    """A client may leave and another may come."""
    for _ in range(3):
        with serial.Serial(str(line.path), 9600, timeout=2) as port:
            port.write(b"ab")
            assert port.read(2) == b"ba"


def test_bare_system_calls(line):
    """What a shell or any other program would do."""
    descriptor = os.open(line.path, os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(descriptor, b"xyz")
        assert os.read(descriptor, 10) == b"zyx"
    finally:
        os.close(descriptor)


class Adapter:
    """Says a word now and then, and is pulled out by a question."""

    def feed(self, data: bytes) -> bytes:
        raise LinkDropped(0.05, b"bye")

    def speak(self, gone: threading.Event) -> bytes:
        gone.wait(0.005)
        return b"tick "


def test_a_speaker_is_heard_and_a_dropped_line_comes_back_as_another(tmp_path):
    """Who has it open gets an error, as with a USB adapter; the name then leads elsewhere."""
    before = descriptors(), threading.active_count()
    running = PtyServer(Adapter(), tmp_path / "receiver.tty")
    first = running.path.readlink()
    with serial.Serial(str(running.path), 9600, timeout=2) as port:
        assert port.read(5) in (b"tick ", b"ick t", b"ck ti", b"k tic", b" tick")
        port.write(b"?")
        with pytest.raises(serial.SerialException):
            deque(iter(lambda: port.read(100), None), maxlen=0)
        assert not running.path.exists()
    while not running.path.exists():
        threading.Event().wait(0.005)
    assert running.path.readlink() != first
    with serial.Serial(str(running.path), 9600, timeout=2) as port:
        assert len(port.read(5)) == 5
    running.close()
    assert (descriptors(), threading.active_count()) == before


def test_stale_link_is_replaced_and_own_link_removed(tmp_path):
    """A bench that was killed leaves its link; the next one takes the name over."""
    path = tmp_path / "receiver.tty"
    path.symlink_to("/nowhere/at/all")
    running = PtyServer(Reverse(), path)
    assert path.exists()
    running.close()
    running.close()
    assert not path.is_symlink()


def test_a_file_at_the_path_is_left_alone(tmp_path):
    """Something that is no link is somebody's; no thread or descriptor stays behind."""
    path = tmp_path / "receiver.tty"
    path.write_text("mine")
    before = descriptors(), threading.active_count()
    with pytest.raises(FileExistsError):
        PtyServer(Reverse(), path)
    assert path.read_text() == "mine"
    assert (descriptors(), threading.active_count()) == before


def test_another_benches_link_is_not_removed(tmp_path):
    """The name may have been taken over in the meantime."""
    first = PtyServer(Reverse(), tmp_path / "receiver.tty")
    second = PtyServer(Reverse(), tmp_path / "receiver.tty")
    first.close()
    assert (tmp_path / "receiver.tty").exists()
    second.close()
    assert not (tmp_path / "receiver.tty").is_symlink()
