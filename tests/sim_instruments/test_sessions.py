"""Any session as one whose answers wait."""

from __future__ import annotations

from sim_instruments.receivers import LineSession
from sim_instruments.scpi import ScpiInstrument, ScpiSession
from sim_instruments.sessions import AskedLine, LinkDropped, as_messages


def test_only_what_cannot_hold_an_answer_back_is_wrapped():
    """A SCPI session can; a line protocol cannot."""
    scpi = ScpiSession(ScpiInstrument("A,B,C,D", {}, lambda: None))
    assert as_messages(scpi) is scpi
    assert isinstance(as_messages(LineSession(b"\r", bytes)), AskedLine)


def test_a_line_that_is_asked():
    """Its answer waits; a new question, a read or a clear takes it away."""
    line = AskedLine(LineSession(b"\r", lambda asked: asked + b"!\r\n"))
    line.receive(b"A\rB")
    line.end()
    assert line.serial_poll() == 16
    assert line.read() == b"A!\r\n"
    assert line.serial_poll() == 0
    assert line.serial_poll(unread=True) == 16
    line.receive(b"\r")
    line.interrupt()
    line.clear()
    assert line.read() == b""


def test_a_dropped_link_says_when_it_is_back():
    """And what is still sent."""
    drop = LinkDropped(0.5, b"bye")
    assert (drop.back_s, drop.last_words) == (0.5, b"bye")
    assert str(drop) == "the link is dropped, and back after 0.5 s"
