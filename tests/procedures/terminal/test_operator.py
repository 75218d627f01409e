"""The technician's answers and keys, through a pipe and a pseudo-terminal."""

from __future__ import annotations

import os
import termios
from collections.abc import Iterator
from dataclasses import replace

import pytest
from rich.console import Console

from daq.errors import Aborted
from daq.reading import Quality
from daq.roles import Answer, Operator, Prompt
from procedures.terminal.keys import Keyboard
from procedures.terminal.operator import NOTE_NS, STOP_QUESTION_NS, TerminalOperator

CAUTION = Prompt("k", "acknowledge", "Stand clear.", caution="High voltage.")


def answer(console: Console, prompt: Prompt, typed: str) -> Answer:
    """Return the answer to a prompt when `typed` comes through a pipe that then ends."""
    reading, writing = os.pipe()
    with os.fdopen(reading, "rb"):
        with os.fdopen(writing, "wb") as far:
            far.write(typed.encode())
        operator: Operator = TerminalOperator(console, Keyboard(reading))
        return operator.answer(prompt)


@pytest.fixture
def at_terminal(terminal, screen_console) -> Iterator[TerminalOperator]:
    """Return an operator on a pseudo-terminal."""
    with TerminalOperator(screen_console, Keyboard(terminal.slave)) as operator:
        yield operator


# Prompts ------------------------------------------------------------------------------------


def test_a_caution_is_acknowledged_by_the_whole_word_only(plain_console):
    """Enter, y and a key pressed twice are not enough."""
    assert answer(plain_console, CAUTION, "\ny\nyy\nYES\n") is True
    assert plain_console.file.getvalue().count("needs the whole word yes") == 3


def test_a_caution_can_be_refused(plain_console):
    assert answer(plain_console, CAUTION, "no\n") is False


def test_enter_acknowledges_what_is_no_caution(plain_console):
    assert answer(plain_console, Prompt("k", "acknowledge", "Noted?"), "\n") is True


@pytest.mark.parametrize(("typed", "said"), [("y\n", True), ("N\n", False), ("\nok\nyes\n", True)])
def test_a_confirmation_is_y_or_n_and_never_an_empty_line(plain_console, typed, said):
    assert answer(plain_console, Prompt("k", "confirm", "Done?"), typed) is said


def test_a_number_is_asked_again_with_what_was_wrong(plain_console):
    prompt = Prompt("k", "number", "Length cut?", unit="m", suggestion=0.9703)
    assert answer(plain_console, prompt, "long\n38.2 V\n38.2 in\n") == pytest.approx(0.97028)
    shown = plain_console.file.getvalue()
    assert "no number with a unit" in shown
    assert "is a voltage; a length was expected" in shown
    assert "Taken as" not in shown


def test_a_bare_number_is_taken_in_the_unit_of_the_prompt_and_repeated(plain_console):
    prompt = Prompt("k", "number", "Length cut?", unit="m", suggestion=0.9703)
    assert answer(plain_console, prompt, "0.94\n") == 0.94
    assert "Taken as 0.940 m (37.0 in)." in plain_console.file.getvalue()


def test_enter_takes_the_suggestion_unrounded(plain_console):
    prompt = Prompt("k", "number", "Length cut?", unit="m", suggestion=0.97031)
    assert answer(plain_console, prompt, "\n") == 0.97031
    assert "0.970 m (38.2 in)" in plain_console.file.getvalue()


def test_without_a_suggestion_an_empty_line_is_no_number(plain_console):
    prompt = Prompt("k", "number", "Length cut?", unit="m")
    assert answer(plain_console, prompt, "\n1 m\n") == 1.0


def test_a_text_is_not_empty(plain_console):
    assert answer(plain_console, Prompt("k", "text", "Why?"), "\n  late  \n") == "late"


@pytest.mark.parametrize("kind", ["acknowledge", "confirm", "number", "text"])
def test_q_at_any_prompt_asks_once_more_and_then_aborts(plain_console, kind):
    prompt = Prompt("k", kind, "Well?", unit="m")
    with pytest.raises(Aborted, match="Stopped by the technician"):
        answer(plain_console, prompt, "q\nwhat\ny\n")
    assert plain_console.file.getvalue().count("Stop the run?") == 2


def test_a_stop_that_was_not_meant_returns_to_the_question(plain_console):
    assert answer(plain_console, Prompt("k", "confirm", "Done?"), "q\nn\ny\n") is True


def test_an_input_that_ends_stops_the_run_instead_of_answering(plain_console):
    with pytest.raises(Aborted, match="input has ended"):
        answer(plain_console, CAUTION, "")


class TypedAhead:
    """Keys on which somebody typed a line before the question was shown."""

    ended = False

    def __init__(self, ahead: list[str], after: list[str]) -> None:
        self.lines = ahead
        self.after = after

    def pressed(self) -> str:
        return ""

    def discard(self) -> None:
        self.lines = []

    def line(self) -> str:
        return (self.lines or self.after).pop(0)

    def release(self) -> None:
        """There is no terminal."""


def test_what_was_typed_before_the_question_does_not_answer_it(plain_console):
    operator = TerminalOperator(plain_console, TypedAhead(["yes"], ["no"]))
    assert operator.answer(CAUTION) is False


# Watching -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "command"),
    [("c", "capture"), (" ", "capture"), ("\r", "capture"), ("C", "capture"), ("r", "redo")],
)
def test_a_key_is_a_command(at_terminal, terminal, make_view, key, command):
    assert at_terminal.watching(make_view(at_s=0.0)) == "go on"
    terminal.type(key)
    assert at_terminal.watching(make_view(at_s=0.1)) == command


@pytest.mark.parametrize(
    ("shown", "target", "said"),
    [
        (1.816, 1.5, "Captured. It showed 1.816 V, which is out of the band."),
        (1.51, 1.5, "Captured. It showed 1.510 V."),
        (1.816, None, "Captured. It showed 1.816 V."),
    ],
)
def test_a_capture_says_what_was_seen_and_whether_it_is_out(
    at_terminal, terminal, make_view, screen_console, shown, target, said
):
    band = None if target is None else 0.02
    at_terminal.watching(make_view(shown, quantity="vpp", target=target, band=band, at_s=0.0))
    terminal.type("c")
    view = make_view(shown, quantity="vpp", target=target, band=band, at_s=0.1)
    assert at_terminal.watching(view) == "capture"
    assert said in screen_console.file.getvalue()


def test_a_caution_that_still_stands_needs_no_block_and_loses_no_word(plain_console):
    """A block for the first question, words for the next, a block when it is to be read."""
    reading, writing = os.pipe()
    caution = f"Reminder: the quarter-wave line is in the SBO path; {'guidance is false ' * 5}"
    with os.fdopen(reading, "rb"), os.fdopen(writing, "wb", buffering=0) as far:
        operator = TerminalOperator(plain_console, Keyboard(reading))
        asked = Prompt("k", "confirm", "Done?", caution=caution)
        for prompt in (asked, asked, replace(asked, kind="acknowledge")):
            far.write(b"yes\n")
            operator.answer(prompt)
    shown = plain_console.file.getvalue()
    blocks = [line for line in shown.splitlines() if "CAUTION" in line]
    assert len(blocks) == 3
    assert blocks[1].startswith("CAUTION still: the quarter-wave line is in the SBO path")
    assert [line.startswith(("+", "┏")) for line in blocks] == [True, False, True]
    assert " ".join(shown.split()).count("guidance is false") == 15


def test_the_second_q_stops(at_terminal, terminal, make_view, screen_console):
    at_terminal.watching(make_view(at_s=0.0))
    terminal.type("q")
    assert at_terminal.watching(make_view(at_s=0.1)) == "go on"
    assert "Stop the run?" in screen_console.file.getvalue()
    terminal.type("q")
    assert at_terminal.watching(make_view(at_s=0.2)) == "abort"


@pytest.mark.parametrize("key", ["c", "r", "x"])
def test_any_other_key_answers_the_stop_question_and_does_nothing_else(
    at_terminal, terminal, make_view, key
):
    at_terminal.watching(make_view(at_s=0.0))
    for pressed in ("q", key, "q"):
        terminal.type(pressed)
        assert at_terminal.watching(make_view(at_s=0.1)) == "go on"


def test_the_stop_question_lapses(at_terminal, terminal, make_view):
    at_terminal.watching(make_view(at_s=0.0))
    terminal.type("q")
    at_terminal.watching(make_view(at_s=0.1))
    terminal.type("q")
    assert at_terminal.watching(make_view(at_s=0.2 + STOP_QUESTION_NS / 1e9)) == "go on"


def test_nothing_is_captured_without_a_value_and_it_is_said(
    at_terminal, terminal, make_view, screen_console
):
    at_terminal.watching(make_view(at_s=0.0))
    terminal.type("c")
    gone = make_view(at_s=0.1, quality=Quality.OVER)
    assert at_terminal.watching(gone) == "go on"
    assert "Nothing to capture: over range." in screen_console.file.getvalue()
    screen_console.file.truncate(0)
    at_terminal.watching(make_view(at_s=0.2 + NOTE_NS / 1e9, quality=Quality.OVER))
    assert "Nothing to capture" not in screen_console.file.getvalue()


def test_a_key_pressed_before_the_watch_began_captures_nothing(at_terminal, terminal, make_view):
    terminal.type("c\n")
    assert at_terminal.watching(make_view()) == "go on"


@pytest.mark.parametrize("leave", ["capture", "tell", "close", "error"])
def test_the_terminal_is_given_back_on_every_way_out(terminal, screen_console, make_view, leave):
    before = termios.tcgetattr(terminal.slave)

    def watched() -> None:
        with TerminalOperator(screen_console, Keyboard(terminal.slave)) as operator:
            operator.watching(make_view(at_s=0.0))
            assert termios.tcgetattr(terminal.slave) != before
            if leave == "error":
                raise KeyboardInterrupt
            if leave == "capture":
                terminal.type("c")
                operator.watching(make_view(at_s=0.1))
            if leave == "tell":
                operator.tell("The line is out.")
            if leave == "close":
                operator.close()
            assert termios.tcgetattr(terminal.slave) == before

    if leave == "error":
        with pytest.raises(KeyboardInterrupt):
            watched()
    else:
        watched()
    assert termios.tcgetattr(terminal.slave) == before


@pytest.mark.parametrize(("needs_keys", "command"), [(True, "abort"), (False, "go on")])
def test_a_watch_that_nobody_can_capture_is_stopped_unless_it_ends_by_itself(
    plain_console, make_view, needs_keys, command
):
    with open(os.devnull, "rb") as nothing:  # noqa: PTH123 - a device, not a file
        operator = TerminalOperator(
            plain_console, Keyboard(nothing.fileno()), needs_keys=needs_keys
        )
        assert operator.watching(make_view()) == command


def test_lines_from_a_pipe_are_keys(plain_console, make_view):
    reading, writing = os.pipe()
    with os.fdopen(reading, "rb"), os.fdopen(writing, "wb", buffering=0) as far:
        operator = TerminalOperator(plain_console, Keyboard(reading))
        assert operator.watching(make_view(at_s=0.0)) == "go on"
        far.write(b"redo\ncapture\n")
        assert operator.watching(make_view(at_s=0.1)) == "redo"
        assert operator.watching(make_view(at_s=0.2)) == "capture"
