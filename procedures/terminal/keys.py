"""Keys and lines from a terminal or a pipe, read from its descriptor.

While a value is watched each key counts by itself; that mode is undone on every way out: on
leaving the watch, an exception, the end of the interpreter, a signal that ends the program, and
while the program is stopped by the shell's suspend key. Ctrl-C stays a `KeyboardInterrupt`.
"""

from __future__ import annotations

import atexit
import os
import re
import select
import signal
import termios
import threading
import tty
from types import FrameType
from typing import Any, Final, Protocol

_ESCAPE_SEQUENCE: Final = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O.|.)?", re.DOTALL)
"""Arrow and function keys send several characters, which must not count as letters."""

_STEP_ASIDE_FOR: Final = (signal.SIGTSTP, signal.SIGTERM, signal.SIGHUP)

MAX_LINE_BYTES: Final = 4096
"""Longest line taken from a pipe in one go; more than a terminal gives."""


class Keys(Protocol):
    """Where answers and key presses come from."""

    @property
    def ended(self) -> bool:
        """Whether nothing can be typed any more."""

    def pressed(self) -> str:
        """Return the keys pressed since the last call, without waiting; Enter is a line end."""

    def line(self) -> str:
        """Wait for a line and return it without its end; raises EOFError when there is none."""

    def discard(self) -> None:
        """Forget what a person typed ahead, so that it does not answer a later question."""

    def release(self) -> None:
        """Give the terminal back in the mode in which it was; harmless when repeated."""


class Keyboard:
    """`Keys` from a descriptor: single keys on a terminal, else the first character of a line.

    Parameters
    ----------
    descriptor
        Open for reading; 0 is the standard input. Nothing else may read from it.
    """

    def __init__(self, descriptor: int = 0) -> None:
        self._descriptor = descriptor
        self._terminal = os.isatty(descriptor)
        self._pending = b""
        self._ended = False
        self._saved_mode: list[Any] | None = None
        self._saved_handlers: dict[signal.Signals, Any] = {}

    @property
    def ended(self) -> bool:
        """See `Keys`."""
        return self._ended and not self._pending

    @property
    def single_keys(self) -> bool:
        """Whether each key counts by itself; else Enter is needed after it."""
        return self._terminal

    def pressed(self) -> str:
        """See `Keys`; on a pipe one line is taken at a time."""
        if self._terminal:
            self._take_single_keys()
        while self._ready():
            self._receive()
        if not self._terminal:
            line = self._pop_line()
            return "" if line is None else (line.strip()[:1] or "\n")
        text = self._pending.decode("utf-8", "replace")
        self._pending = b""
        return _ESCAPE_SEQUENCE.sub("", text).replace("\r", "\n")

    def line(self) -> str:
        """See `Keys`."""
        self.release()
        while (line := self._pop_line()) is None:
            if self._ended:
                self._ended = not self._terminal  # a terminal's end-of-file key ends one line only
                raise EOFError
            self._receive()
        return line

    def discard(self) -> None:
        """See `Keys`; what comes from a pipe is an answer prepared on purpose and stays."""
        if self._terminal:
            self._pending = b""
            termios.tcflush(self._descriptor, termios.TCIFLUSH)

    def release(self) -> None:
        """See `Keys`."""
        if self._saved_mode is None:
            return
        self._restore_mode()
        self._saved_mode = None
        for number, handler in self._saved_handlers.items():
            signal.signal(number, handler)
        self._saved_handlers.clear()
        atexit.unregister(self.release)

    def _take_single_keys(self) -> None:
        if self._saved_mode is not None:
            return
        self._saved_mode = termios.tcgetattr(self._descriptor)
        atexit.register(self.release)
        if threading.current_thread() is threading.main_thread():
            for number in _STEP_ASIDE_FOR:
                self._saved_handlers[number] = signal.signal(number, self._step_aside)
        tty.setcbreak(self._descriptor, termios.TCSADRAIN)

    def _step_aside(self, number: int, _frame: FrameType | None) -> None:
        """Let the signal do what it would have done, with the terminal as it was."""
        self.release()
        os.kill(os.getpid(), number)
        # Still here: the program was stopped and goes on. The next look at the keys takes the
        # single-key mode again, from whatever mode the shell left.

    def _restore_mode(self) -> None:
        if self._saved_mode is None:
            return
        try:
            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._saved_mode)
        except termios.error:
            self._ended = True  # the terminal is gone, and its mode with it

    def _ready(self) -> bool:
        if self._ended or len(self._pending) >= MAX_LINE_BYTES:
            return False
        readable, _, _ = select.select([self._descriptor], [], [], 0.0)
        return bool(readable)

    def _receive(self) -> None:
        try:
            data = os.read(self._descriptor, MAX_LINE_BYTES)
        except OSError:  # a terminal whose far end hung up
            data = b""
        self._ended = not data
        self._pending += data

    def _pop_line(self) -> str | None:
        head, end, rest = self._pending.partition(b"\n")
        if not end and not (head and self._ended):
            return None
        self._pending = rest
        return head.rstrip(b"\r").decode("utf-8", "replace")
