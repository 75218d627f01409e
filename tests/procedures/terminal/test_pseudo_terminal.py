"""Another process on a real pseudo-terminal, as over a remote shell."""

from __future__ import annotations

import os
import pty
import re
import select
import shlex
import signal
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

SCRIPT = Path(__file__).with_name("technician.py")
ROOT = Path(__file__).parents[3]
PATIENCE_S = 20.0
WORK = (sys.executable, str(SCRIPT), "work")
FAIL = (sys.executable, str(SCRIPT), "error")


class Desk:
    """A command on a controlling terminal of its own, and the far end of that terminal."""

    def __init__(self, command: list[str], environment: dict[str, str]) -> None:
        self.master, self.slave = pty.openpty()
        termios.tcsetwinsize(self.slave, (24, 60))
        self.mode_before = self.mode
        self.seen = ""
        self.process = subprocess.Popen(
            ["setsid", "--ctty", *command],
            stdin=self.slave,
            stdout=self.slave,
            stderr=self.slave,
            env={
                "PATH": os.environ["PATH"],
                "PYTHONPATH": str(ROOT),
                "PYTHONUTF8": "1",
                "TERM": "xterm",
                **environment,
            },
        )

    @property
    def mode(self) -> list[Any]:
        """The terminal's mode now."""
        return termios.tcgetattr(self.slave)

    @property
    def single_keys(self) -> bool:
        """Whether keys count by themselves now."""
        return not int(self.mode[3]) & termios.ICANON

    def expect(self, pattern: str) -> str:
        """Read until `pattern` has been shown; return it and forget what came before."""
        while (found := re.search(pattern, self.seen)) is None:
            ready, _, _ = select.select([self.master], [], [], PATIENCE_S)
            assert ready, f"{pattern!r} was not shown, but {self.seen!r}"
            self.seen += os.read(self.master, 65536).decode("utf-8", "replace")
        self.seen = self.seen[found.end() :]
        return found[0]

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self.master, keys.encode())

    def to_the_watch(self) -> None:
        """Answer the number and wait until the value is shown."""
        self.expect("q = stop:")
        self.type("1 m\n")
        self.expect("GOT 1.0")
        self.expect("12.3 .*to go")

    def close(self) -> None:
        """End the process, if it still runs, and let go of the terminal."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(PATIENCE_S)
        os.close(self.master)
        os.close(self.slave)


Begin = Callable[..., Desk]


@pytest.fixture
def begin() -> Iterator[Begin]:
    """Return a starter of desks; they are closed after the test."""
    desks: list[Desk] = []

    def start(*command: str, **environment: str) -> Desk:
        desks.append(Desk(list(command or WORK), environment))
        return desks[-1]

    yield start
    for desk in desks:
        desk.close()


def test_a_number_is_asked_again_and_a_key_captures(begin: Begin):
    desk = begin()
    desk.expect("q = stop:")
    desk.type("38.2 V\n")
    desk.expect("a length was expected")
    desk.expect("q = stop:")
    desk.type("38.2 in\n")
    desk.expect("GOT 0.97028")
    desk.expect("12.3 thousandths to go, more 150 Hz")
    assert desk.single_keys
    desk.type("c")
    desk.expect("Captured")
    desk.expect("COMMAND capture")
    assert desk.process.wait(PATIENCE_S) == 0
    assert desk.mode == desk.mode_before


def test_q_twice_stops_and_once_does_not(begin: Begin):
    desk = begin()
    desk.to_the_watch()
    desk.type("q")
    desk.expect("Stop the run")
    desk.type("q")
    desk.expect("COMMAND abort")
    assert desk.process.wait(PATIENCE_S) == 0
    assert desk.mode == desk.mode_before


def test_q_at_a_prompt_aborts_with_its_exit_code(begin: Begin):
    desk = begin()
    desk.expect("q = stop:")
    desk.type("q\n")
    desk.expect("Stop the run")
    desk.type("y\n")
    desk.expect("ABORTED Stopped by the technician")
    assert desk.process.wait(PATIENCE_S) == 6


def test_the_interrupt_key_still_interrupts_and_the_terminal_is_given_back(begin: Begin):
    desk = begin()
    desk.to_the_watch()
    assert desk.single_keys
    desk.type("\x03")
    desk.expect("INTERRUPTED")
    assert desk.process.wait(PATIENCE_S) == 130
    assert desk.mode == desk.mode_before


def test_an_error_that_nobody_catches_gives_the_terminal_back(begin: Begin):
    desk = begin(*FAIL)
    desk.expect("q = stop:")
    desk.type("1 m\n")
    desk.expect("broken off")
    assert desk.process.wait(PATIENCE_S) == 1
    assert desk.mode == desk.mode_before


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_that_ends_the_program_gives_the_terminal_back(
    begin: Begin, number: signal.Signals
):
    desk = begin()
    desk.to_the_watch()
    assert desk.single_keys
    desk.process.send_signal(number)
    assert desk.process.wait(PATIENCE_S) == -number
    assert desk.mode == desk.mode_before


def test_after_the_suspend_key_the_program_goes_on_with_single_keys(begin: Begin):
    """Under a real shell with job control, which has its own mode while the program stands."""
    desk = begin("bash", "--norc", "--noediting", "-i")
    desk.type(f"{shlex.join(WORK)}\n")
    desk.to_the_watch()
    desk.type("\x1a")
    desk.expect("Stopped")
    desk.type("fg\n")
    for _ in range(2):  # the first drawing may be one that the stop had interrupted
        desk.expect("12.3 .*to go")
    assert desk.single_keys
    desk.type("c")
    desk.expect("COMMAND capture")
    desk.type("exit\n")
    assert desk.process.wait(PATIENCE_S) == 0


def test_a_dumb_terminal_gets_lines_without_escape_sequences(begin: Begin):
    desk = begin(TERM="dumb")
    desk.expect("q = stop:")
    desk.type("1 m\n")
    shown = desk.expect(r"(?s)GOT 1.0.*12\.3 to go, more 150 Hz")
    assert "\x1b" not in shown
    assert max(len(line) for line in shown.splitlines()) <= 60
    desk.type("c")
    desk.expect("COMMAND capture")
