"""The SCPI core as a client sees it, without any link."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.scpi import INPUT_LIMIT, ScpiInstrument, ScpiSession, asks, register


def make_session() -> ScpiSession:
    kept = [0]

    def put(value: int) -> None:
        kept[0] = value

    commands = {"VALue": register(put), "VALue?": asks(lambda: str(kept[0]))}
    return ScpiSession(ScpiInstrument("A,B,C,D", commands, lambda: put(0)))


def test_compound_queries_answer_in_one_message():
    """Responses of one message are joined by semicolons (IEEE 488.2, 8.4)."""
    assert make_session().feed(b"VAL 7;VAL?;*IDN?\n") == b"7;A,B,C,D\n"


def test_command_error_ends_a_message_and_execution_error_does_not():
    """What was answered before a command error is sent; after an execution error it goes on."""
    session = make_session()
    assert session.feed(b"*CLS;VAL?;NONSENSE;VAL?\n") == b"0\n"
    assert (
        session.feed(b"*ESR?;:SYST:ERR?;:SYST:ERR?\n")
        == b'32;-113,"Undefined header";0,"No error"\n'
    )
    assert session.feed(b"VAL 300;VAL?\n") == b"0\n"
    assert session.feed(b"*ESR?;SYST:ERR:NEXT?\n") == b'16;-222,"Data out of range"\n'


@pytest.mark.parametrize(
    ("message", "code"),
    [(b"VAL", -109), (b"VAL 1,2", -108), (b"*IDN? 3", -108), (b"VAL x", -104), (b"VAL \xff", -101)],
)
def test_parameters_are_checked(message, code):
    """Standard codes for missing, surplus and senseless parameters."""
    session = make_session()
    assert session.feed(message + b"\n") == b""
    assert session.feed(b"SYST:ERR?\n").startswith(str(code).encode())


def test_message_available_stands_while_a_response_waits():
    """IEEE 488.2 11.2.1.2: MAV is set while the output queue holds something."""
    session = make_session()
    session.receive(b"*SRE 16\n")
    assert session.serial_poll() == 0
    session.receive(b"VAL?\n")
    assert session.serial_poll() == 16 + 64
    assert session.read() == b"0\n"
    assert session.serial_poll() == 0
    assert session.feed(b"VAL?;*STB?\n") == b"0;80\n"


def test_a_new_message_before_reading_interrupts():
    """IEEE 488.2 6.3.2.3: the unread response is thrown away, -410, query error bit."""
    session = make_session()
    session.receive(b"*CLS\n*IDN?\n")
    session.receive(b"VAL?\n")
    assert session.read() == b"0\n"
    assert session.feed(b"*ESR?;SYST:ERR?\n") == b'4;-410,"Query INTERRUPTED"\n'


def test_reading_without_a_query_is_unterminated():
    """IEEE 488.2 6.3.2.2: nothing to say, -420, query error bit."""
    session = make_session()
    session.receive(b"*CLS\n")
    assert session.read() == b""
    assert session.feed(b"*ESR?;SYST:ERR?\n") == b'4;-420,"Query UNTERMINATED"\n'


def test_a_links_mark_of_the_end_does_instead_of_a_line_feed():
    """IEEE 488.2, 7.5.2: END alone terminates a program message too."""
    session = make_session()
    session.receive(b"VAL?")
    assert session.serial_poll() & 16 == 0
    session.end()
    session.end()
    assert session.read() == b"0\n"


def test_device_clear_empties_both_buffers_and_nothing_else():
    """IEEE 488.2, 5.8: half a message and a waiting response go, errors stay."""
    session = make_session()
    session.receive(b"*CLS\nBAD\nVAL?\nVAL 9")
    session.clear()
    assert session.serial_poll() == 4
    assert session.feed(b";VAL?\n") == b""
    assert session.feed(b"SYST:ERR?;:VAL?\n") == b'-113,"Undefined header";0\n'


def test_a_response_that_the_link_still_holds_counts_as_available():
    """And interrupting it is the same error as interrupting one that waits here."""
    session = make_session()
    session.receive(b"*CLS\n")
    assert session.serial_poll(unread=True) == 16
    session.interrupt()
    assert session.feed(b"SYST:ERR?\n") == b'-410,"Query INTERRUPTED"\n'


def test_a_power_cycle_leaves_nothing_but_its_own_event():
    """Settings, enables and errors go; the power-on bit is set (IEEE 488.2, 11.5.1.1.2)."""
    session = make_session()
    session.feed(b"*CLS;*ESE 1;*SRE 16;VAL 7;BAD\n")
    session._instrument.power_cycle()
    assert session.feed(b"*ESR?;*ESE?;*SRE?;VAL?;SYST:ERR?\n") == b'128;0;0;0;0,"No error"\n'


def test_enable_registers_and_opc():
    """*SRE ignores bit 6; *OPC sets bit 0; *CLS leaves enables alone; *RST leaves status alone."""
    session = make_session()
    assert session.feed(b"*ESE 33;*SRE 255;*CLS;*ESE?;*SRE?\n") == b"33;191\n"
    assert session.feed(b"*OPC;*STB?;*ESR?;*STB?\n") == b"96;1;80\n"
    assert session.feed(b"VAL 9;BAD\n") == b""
    assert session.feed(b"*RST;VAL?;SYST:ERR?\n") == b'0;-113,"Undefined header"\n'
    assert session.feed(b"*OPC?;*TST?;SYST:VERS?;*WAI\n") == b"1;0;1999.0\n"


def test_two_clients_share_the_instrument_but_not_their_lines():
    """Half a message of one does not run into the other's."""
    one = make_session()
    other = ScpiSession(one._instrument)
    one.feed(b"VAL 1")
    assert other.feed(b"VAL 5;VAL?\n") == b"5\n"
    assert one.feed(b"2;VAL?\n") == b"12\n"


def test_a_message_without_end_is_thrown_away():
    """The input buffer is bounded: -363."""
    session = make_session()
    session.feed(b"*CLS\n" + b"x" * (INPUT_LIMIT + 1))
    assert session.feed(b"\nSYST:ERR?\n") == b'-363,"Input buffer overrun"\n'


@given(st.binary(max_size=200), st.integers(1, 7))
def test_any_bytes_in_any_pieces_are_survived(data, piece):
    """Garbage makes errors in the queue, never an exception; chunks do not matter."""
    whole, pieces = make_session(), make_session()
    answer = whole.feed(data)
    parts = [pieces.feed(data[i : i + piece]) for i in range(0, len(data), piece)]
    assert b"".join(parts) == answer
    assert whole.feed(b"\n*IDN?\n").endswith(b"A,B,C,D\n")
