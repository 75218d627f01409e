"""Faults carried out on a session, as each kind of link calls it."""

from __future__ import annotations

import threading

import pytest

from daq.clock import ManualClock, elapsed_s
from sim_instruments.fault_desk import panel_for
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.faulty_session import FaultySession
from sim_instruments.link_faults import Dribble, DropLink, Echo, PowerCycle, Silence
from sim_instruments.receivers import LineSession
from sim_instruments.scpi import ScpiInstrument, ScpiSession, asks, register
from sim_instruments.sessions import LinkDropped
from sim_instruments.value_faults import ErrorInQueue, FrozenValue, Says, WrongSign


class Meter:
    """Counts up with every reading; one setting."""

    def __init__(self) -> None:
        self.count = 0
        self.setting = 0
        commands = {
            "READ?": asks(self._read),
            "SET": register(self._set),
            "SET?": asks(lambda: str(self.setting)),
        }
        self.scpi = ScpiInstrument("A,B,C,D", commands, lambda: self._set(0))

    def _read(self) -> str:
        self.count += 1
        return f"{self.count:.4E}"

    def _set(self, value: int) -> None:
        self.setting = value


@pytest.fixture
def meter() -> Meter:
    return Meter()


@pytest.fixture
def panel(meter, clock) -> FaultPanel:
    return panel_for(meter, clock)


@pytest.fixture
def session(meter, panel) -> FaultySession:
    return FaultySession(ScpiSession(meter.scpi), panel)


def test_without_a_fault_it_is_not_noticed(session):
    """Fed, or asked message by message."""
    assert session.feed(b"READ?;*IDN?\n") == b"1.0000E+00;A,B,C,D\n"
    session.receive(b"READ?")
    assert session.read() == b""
    session.end()
    assert session.serial_poll() & 16


def test_struck_however_it_is_asked(session, panel):
    """The second of three answers, on a link that sends at once and on one that waits."""
    panel.arm(WrongSign(), after=1)
    panel.arm(WrongSign(), after=3)
    assert session.feed(b"READ?\n") == b"1.0000E+00\n"
    assert session.feed(b"READ?\n") == b"-2.0000E+00\n"
    session.receive(b"READ?\n")
    assert session.read() == b"3.0000E+00\n"
    session.receive(b"READ?\n")
    assert session.read() == b"-4.0000E+00\n"


def test_echo_is_the_last_line_asked(session, panel):
    """Also when it came in pieces behind a command."""
    panel.arm(Echo())
    session.feed(b"SET 3\nRE")
    assert session.feed(b"AD?\n") == b"READ?\n1.0000E+00\n"


def test_frozen_outlives_a_reconnection(meter, panel, session):
    """It is the instrument that is frozen, not the link."""
    panel.arm(FrozenValue(), count=0)
    assert session.feed(b"READ?\n") == b"1.0000E+00\n"
    again = FaultySession(ScpiSession(meter.scpi), panel)
    assert again.feed(b"READ?\n") == b"1.0000E+00\n"
    assert meter.count == 2


def test_silence_takes_the_answer_but_not_the_command(meter, session, panel):
    """The instrument did what it was told."""
    panel.arm(Silence())
    assert session.feed(b"SET 9;SET?\n") == b""
    assert meter.setting == 9


def test_an_error_is_in_the_queue_of_the_instrument(session, panel):
    """The answer is good, and SYST:ERR? tells."""
    panel.arm(ErrorInQueue(-221))
    assert session.feed(b"READ?\n") == b"1.0000E+00\n"
    assert session.feed(b"SYST:ERR?\n") == b'-221,"Settings conflict"\n'
    panel.arm(Says(r'-350,"Queue overflow"\n'), count=0, matching="SYST:ERR")
    assert {session.feed(b"SYST:ERR?\n") for _ in range(150)} == {b'-350,"Queue overflow"\n'}


def test_a_power_cycle_loses_settings_and_sets_the_power_on_bit(session, panel, clock):
    """IEEE 488.2, 11.5.1.1.2: bit 7; the banner comes first on the next line."""
    assert session.feed(b"*ESE 1;*ESR?;SET 5\n") == b"128\n"
    panel.arm(PowerCycle(0.5, "HELLO"))
    with pytest.raises(LinkDropped):
        session.feed(b"SET?\n")
    with pytest.raises(LinkDropped):
        session.feed(b"SET?\n")
    clock.sleep(0.5)
    assert session.speak(threading.Event()) == b"HELLO\r\n"
    assert session.feed(b"*ESR?;*ESE?;SET?\n") == b"128;0;0\n"


def test_a_new_client_is_refused_while_it_is_off(meter, session, panel):
    """As a closed door, not as a line that is mute."""
    panel.arm(DropLink(back_s=1.0))
    with pytest.raises(LinkDropped):
        session.feed(b"READ?\n")
    with pytest.raises(LinkDropped):
        FaultySession(ScpiSession(meter.scpi), panel)


def test_a_dribble_is_spoken_byte_by_byte(session, panel, clock):
    """Where the link can; where it cannot, the answer takes as long."""
    panel.arm(Dribble(0.05), count=2)
    start = clock.monotonic_ns()
    assert session.feed(b"READ?\n") == b""
    said = [session.speak(threading.Event()) for _ in range(11)]
    assert b"".join(said) == b"1.0000E+00\n"
    assert {len(piece) for piece in said} == {1}
    assert elapsed_s(clock, start) == pytest.approx(0.55)
    session.receive(b"READ?\n")
    assert session.read() == b"2.0000E+00\n"
    assert elapsed_s(clock, start) == pytest.approx(1.1)


def test_what_speaks_on_its_own_is_struck_too():
    """Its lines are counted as answers to no question."""

    class Talker:
        def feed(self, data: bytes) -> bytes:
            return b""

        def speak(self, gone: threading.Event) -> bytes:
            return b"LOC,+0.1550,0.4000,-47.3\r\n"

    panel = FaultPanel(ManualClock())
    session = FaultySession(Talker(), panel)
    panel.arm(WrongSign(), after=1)
    gone = threading.Event()
    assert [session.speak(gone)[4:11] for _ in range(3)] == [b"+0.1550", b"-0.1550", b"+0.1550"]


def test_a_line_protocol_can_be_asked_message_by_message(clock):
    """Its answer waits, and status is message available alone."""
    session = FaultySession(LineSession(b"\r", lambda line: line + b"!\r\n"), FaultPanel(clock))
    session.receive(b"DDM\r")
    assert session.serial_poll() == 16
    assert session.read() == b"DDM!\r\n"
    assert session.serial_poll() == 0
    assert session.serial_poll(unread=True) == 16
    session.receive(b"DDM\r")
    session.interrupt()
    session.clear()
    assert session.read() == b""
