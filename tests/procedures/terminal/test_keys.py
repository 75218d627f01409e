"""Keys from a real pseudo-terminal, lines from a pipe."""

from __future__ import annotations

import os
import signal
import termios

import pytest

from procedures.terminal.keys import Keyboard


def local_flags(descriptor: int) -> int:
    return int(termios.tcgetattr(descriptor)[3])


@pytest.fixture
def pipe():
    """Return the reading end as a keyboard, and the writing end."""
    reading, writing = os.pipe()
    with os.fdopen(reading, "rb"), os.fdopen(writing, "wb", buffering=0) as far:
        yield Keyboard(reading), far


def test_single_keys_need_no_enter_and_are_not_echoed(terminal):
    keys = Keyboard(terminal.slave)
    assert keys.pressed() == ""
    assert not local_flags(terminal.slave) & (termios.ICANON | termios.ECHO)
    terminal.type("c")
    assert keys.pressed() == "c"
    terminal.type("\r")
    assert keys.pressed() == "\n"
    keys.release()


def test_release_gives_back_the_mode_and_the_signal_handlers(terminal):
    before = termios.tcgetattr(terminal.slave)
    handlers = [signal.getsignal(s) for s in (signal.SIGTSTP, signal.SIGTERM, signal.SIGHUP)]
    keys = Keyboard(terminal.slave)
    keys.pressed()
    assert termios.tcgetattr(terminal.slave) != before
    keys.release()
    keys.release()
    assert termios.tcgetattr(terminal.slave) == before
    after = [signal.getsignal(s) for s in (signal.SIGTSTP, signal.SIGTERM, signal.SIGHUP)]
    assert after == handlers


@pytest.mark.parametrize("sequence", ["\x1b[A", "\x1bOQ", "\x1b[1;5R", "\x1b[15~", "\x1bq"])
def test_an_arrow_or_function_key_is_no_letter(terminal, sequence: str):
    """The F-keys and cursor keys of common terminals (ECMA-48 sequences) hold c, q and r."""
    keys = Keyboard(terminal.slave)
    keys.pressed()
    terminal.type(sequence)
    assert keys.pressed() == ""
    keys.release()


def test_a_line_is_read_in_line_mode(terminal):
    keys = Keyboard(terminal.slave)
    keys.pressed()
    keys.release()
    terminal.type("38.2 in\n")
    assert keys.line() == "38.2 in"
    assert local_flags(terminal.slave) & termios.ICANON


def test_what_was_typed_ahead_on_a_terminal_is_forgotten(terminal):
    keys = Keyboard(terminal.slave)
    terminal.type("yes\n")
    keys.discard()
    terminal.type("no\n")
    assert keys.line() == "no"


def test_the_end_of_file_key_ends_one_line_only(terminal):
    keys = Keyboard(terminal.slave)
    terminal.type("\x04")
    with pytest.raises(EOFError):
        keys.line()
    assert not keys.ended
    terminal.type("y\n")
    assert keys.line() == "y"


def test_a_pipe_gives_one_line_at_a_time_and_keeps_the_rest(pipe):
    keys, far = pipe
    far.write(b"capture\n\r\nyes\n")
    assert (keys.pressed(), keys.pressed()) == ("c", "\n")
    keys.discard()
    assert keys.line() == "yes"
    assert keys.pressed() == ""
    assert not keys.ended


def test_a_pipe_that_ends_gives_its_last_line_then_the_end(pipe):
    keys, far = pipe
    far.write(b"last")
    far.close()
    assert keys.line() == "last"
    with pytest.raises(EOFError):
        keys.line()
    assert keys.ended


def test_bytes_that_are_no_text_are_no_error(pipe):
    keys, far = pipe
    far.write(b"\xff\xfe\n")
    assert keys.line() == "\ufffd\ufffd"
