"""HiSLIP with pyvisa-py."""

from __future__ import annotations

from typing import cast

import pytest
import pyvisa
from pyvisa.resources import MessageBasedResource

from sim_instruments.link_faults import AnswerHalf, AnswerLate, DropLink, Silence
from sim_instruments.value_faults import Says, WrongSign

IDENTITY = "TORVSTAD,DM-6,5521,2.0"
MODEL = "torvstad-dm6"
RESOURCE = "TCPIP::127.0.0.1::hislip0,0::INSTR"


@pytest.fixture
def served(serve):
    """The multimeter on any port."""
    return serve({MODEL: RESOURCE})


@pytest.fixture
def visa(served):
    """It opened with pyvisa-py."""
    opened = pyvisa.ResourceManager("@py").open_resource(served.resources[RESOURCE], timeout=2000)
    session = cast(MessageBasedResource, opened)
    session.read_termination = session.write_termination = "\n"
    yield session
    session.close()


def test_query_status_and_interruption(visa):
    """An answer that was not read is discarded by its number, and -410 is in the queue."""
    assert visa.query("*CLS;*IDN?") == IDENTITY
    assert visa.read_stb() == 0
    visa.write("*IDN?")
    while not visa.read_stb() & 16:
        pass
    visa.write("SYST:ERR?")
    assert visa.read() == '-410,"Query INTERRUPTED"'


def test_device_clear(visa):
    """With nothing unread; with something unread this client raises (pyvisa-py 0.8.1)."""
    visa.write("*CLS")
    visa.clear()
    assert visa.query("*IDN?;SYST:ERR?") == f'{IDENTITY};0,"No error"'


@pytest.mark.parametrize("length", [1, 20_480, (1 << 20) + 7])
def test_long_answers(served, visa, length):
    """Also longer than one message may be."""
    served.panels[MODEL].arm(Says("x" * (length - 1) + r"\n"))
    assert len(visa.query("*IDN?")) == length - 1


@pytest.mark.parametrize(
    "fault", [AnswerHalf(), Silence(), AnswerLate(2.0)], ids=lambda fault: fault.name
)
def test_no_whole_answer_in_time(served, visa, fault):
    """A timeout; the next question gets its own answer."""
    served.panels[MODEL].arm(fault)
    visa.timeout = 20
    with pytest.raises(pyvisa.VisaIOError, match="Timeout expired"):
        visa.query("SYST:VERS?")
    visa.timeout = 2000
    assert visa.query("*IDN?") == IDENTITY


def test_wrong_sign_and_drop(served, visa):
    """The one comes through as it is, the other is an error."""
    served.panels[MODEL].arm(WrongSign())
    served.panels[MODEL].arm(DropLink(), after=1)
    assert float(visa.query("MEAS:VOLT:AC?")) < 0
    with pytest.raises(RuntimeError, match="dropped by server"):
        visa.query("*IDN?")
