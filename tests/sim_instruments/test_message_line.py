"""A line on which writing, reading and polling are separate calls."""

from __future__ import annotations

import threading

import pytest

from sim_instruments.message_line import Aborted, MessageLine, Piece
from sim_instruments.scpi import ScpiInstrument, ScpiSession, asks
from sim_instruments.sessions import AskedLine, LinkDropped


@pytest.fixture
def gate():
    """Open while SLOW? may answer."""
    return threading.Event()


@pytest.fixture
def line(gate):
    """A line to an instrument with one slow query."""

    def slow() -> str:
        gate.wait(5)
        return "done"

    instrument = ScpiInstrument("A,B,C,D", {"SLOW?": asks(slow)}, lambda: None)
    made = MessageLine(ScpiSession(instrument))
    made.write(b"*CLS\n", end=True)
    yield made
    gate.set()
    made.close()


def answered(line: MessageLine) -> bytes:
    piece = line.read(100, 2.0)
    assert piece is not None
    return piece.data


def test_pieces_say_why_they_end(line):
    """The count asked for, the termination character, the end of the message, or several."""
    line.write(b"*IDN?", end=True)
    assert line.read(3, 2.0) == Piece(b"A,B", requested=True, terminated=False, end=False)
    assert line.read(9, 2.0, ord(",")) == Piece(b",", requested=False, terminated=True, end=False)
    assert line.read(4, 2.0) == Piece(b"C,D\n", requested=True, terminated=False, end=True)


def test_a_slow_answer_can_be_fetched_later(line, gate):
    """A read that runs out of time takes nothing away, and is no error."""
    line.write(b"SLOW?\n", end=True)
    assert line.read(100, 0.01) is None
    gate.set()
    assert answered(line) == b"done\n"
    line.write(b"SYST:ERR?\n", end=True)
    assert answered(line) == b'0,"No error"\n'


def test_reading_where_nothing_was_asked(line):
    """-420 (IEEE 488.2, 6.3.2.2), and the time runs out."""
    assert line.read(100, 0.01) is None
    line.write(b"SYST:ERR?\n", end=True)
    assert answered(line) == b'-420,"Query UNTERMINATED"\n'


@pytest.mark.parametrize("read_first", [0, 3])
def test_a_new_message_interrupts_an_answer(line, read_first):
    """-410 (IEEE 488.2, 6.3.2.3), also when part of the answer was read already."""
    line.write(b"*IDN?\n", end=True)
    if read_first:
        line.read(read_first, 2.0)
    line.write(b"SYST:ERR?\n", end=True)
    assert answered(line) == b'-410,"Query INTERRUPTED"\n'


def test_status_while_it_is_busy_and_while_part_is_unread(line, gate):
    """Polling does not wait for the instrument; message available stands to the last byte."""
    line.write(b"SLOW?\n", end=True)
    assert line.serial_poll() == 0
    gate.set()
    line.read(2, 2.0)
    assert line.serial_poll() == 16
    line.read(100, 2.0)
    assert line.serial_poll() == 0


@pytest.mark.parametrize("end", [MessageLine.abort, MessageLine.clear, MessageLine.close])
def test_a_read_that_waits_can_be_abandoned(line, end):
    """By the abort channel, a device clear, or the end of the link."""
    caught: list[BaseException] = []

    def read() -> None:
        try:
            line.read(100, 30.0)
        except Aborted as error:
            caught.append(error)

    reader = threading.Thread(target=read)
    reader.start()
    while reader.is_alive():
        end(line)
        reader.join(0.005)
    assert len(caught) == 1


def test_after_a_clear_the_old_answer_does_not_come(line, gate):
    """The next question gets its own answer."""
    line.write(b"SLOW?\n", end=True)
    line.clear()
    gate.set()
    line.write(b"*IDN?\n", end=True)
    assert answered(line) == b"A,B,C,D\n"


def test_an_answer_without_its_terminator_never_ends():
    """Its bytes come, the message does not end, and waiting for the rest is no -420."""

    class Half:
        def feed(self, data: bytes) -> bytes:
            return b"1.23"

    line = MessageLine(AskedLine(Half()))
    line.write(b"?", end=True)
    assert line.read(100, 2.0) == Piece(b"1.23", requested=False, terminated=False, end=False)
    assert line.read(100, 0.01) is None
    line.close()


def test_a_dropped_link_is_dropped_for_whoever_calls_next():
    """Reading or writing."""

    class Gone:
        def feed(self, data: bytes) -> bytes:
            raise LinkDropped(3.0)

    line = MessageLine(AskedLine(Gone()))
    line.write(b"?", end=True)
    with pytest.raises(LinkDropped, match="after 3 s"):
        line.read(100, 5.0)
    with pytest.raises(LinkDropped):
        line.write(b"?", end=True)
    line.close()
