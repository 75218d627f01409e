"""The bench on a pseudo-terminal, with pyserial and bare system calls as independent clients."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
import serial

from sim_instruments.pty_server import PtyServer


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
