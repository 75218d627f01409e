"""VXI-11 with pyvisa-py, python-vxi11 and Debian's lxi-tools."""

from __future__ import annotations

import subprocess
import warnings
from typing import cast

import pytest
import pyvisa
from pyvisa.resources import MessageBasedResource

from sim_instruments.fault_model import Fault
from sim_instruments.link_faults import AnswerHalf, AnswerLate, DropLink, GarbageBytes, Silence
from sim_instruments.value_faults import Says, WrongSign

IDENTITY = "TORVSTAD,DM-6,5521,2.0"
MODEL = "torvstad-dm6"
WITH_PORT = "TCPIP::127.0.0.1,0::inst0::INSTR"


@pytest.fixture
def vxi11():
    """The package python-vxi11, or a loud skip."""
    with warnings.catch_warnings():
        # It imports the standard library's xdrlib, which Python 3.11 announces the end of.
        warnings.simplefilter("ignore", DeprecationWarning)
        return pytest.importorskip("vxi11", reason="NOT TESTED: pip install python-vxi11")


@pytest.fixture
def served(serve):
    """The multimeter on any port, without a port mapper: no rights are needed."""
    return serve({MODEL: WITH_PORT})


@pytest.fixture
def core_port(served):
    """Port of the core channel."""
    return int(served.resources[WITH_PORT].split(",")[1].split("::")[0])


@pytest.fixture
def connect(vxi11):
    """Return python-vxi11 instruments; what they leave open is closed."""
    made = []

    def at(host: str, port: int = 0):
        made.append(vxi11.Instrument(host))
        made[-1].client = vxi11.vxi11.CoreClient(host, port)
        return made[-1]

    yield at
    for instrument in made:
        instrument.link = None
        for client in (instrument.client, instrument.abort_client):
            if client is not None:
                client.close()


@pytest.fixture
def visa(served):
    """It opened with pyvisa-py."""
    manager = pyvisa.ResourceManager("@py")
    session = cast(
        MessageBasedResource, manager.open_resource(served.resources[WITH_PORT], timeout=2000)
    )
    session.read_termination = session.write_termination = "\n"
    yield session
    session.close()


def test_pyvisa_py(visa):
    """Query, compound query, status byte, trigger, clear, lock."""
    assert visa.query("*CLS;*IDN?") == IDENTITY
    visa.write("*IDN?")
    while not visa.read_stb() & 16:
        pass
    visa.write("SYST:ERR?")
    assert visa.read() == '-410,"Query INTERRUPTED"'
    visa.write("*IDN?")
    visa.clear()
    assert visa.query("SYST:ERR?") == '0,"No error"'
    visa.assert_trigger()
    assert visa.query("*OPC?;FETC?").startswith("1;")
    visa.lock()
    visa.unlock()


def test_pyvisa_py_reading_where_nothing_was_asked(visa):
    """It times out, and the instrument says -420."""
    visa.write("*CLS")
    visa.timeout = 50
    with pytest.raises(pyvisa.VisaIOError, match="Timeout expired"):
        visa.read()
    visa.timeout = 2000
    assert visa.query("SYST:ERR?") == '-420,"Query UNTERMINATED"'


@pytest.mark.parametrize("length", [1, 2, 16_384, 16_385, 20_479, 50_001])
def test_pyvisa_py_long_answers(served, visa, length):
    """In as many reads as it takes."""
    served.panels[MODEL].arm(Says("x" * (length - 1) + r"\n"))
    assert len(visa.query("*IDN?")) == length - 1


def test_pyvisa_py_loses_an_answer_of_exactly_one_chunk(served, visa):
    """Row 9 of the bench notes: 20480 bytes time out in 0.8.1; a larger chunk cures it."""
    panel = served.panels[MODEL]
    panel.arm(Says("x" * 20_479 + r"\n"), count=2)
    visa.timeout = 100
    with pytest.raises(pyvisa.VisaIOError, match="Timeout expired"):
        visa.query("*IDN?")
    visa.clear()
    visa.chunk_size = 1 << 20
    assert len(visa.query("*IDN?")) == 20_479


@pytest.mark.parametrize("fault", [AnswerHalf(), Silence()], ids=lambda fault: fault.name)
def test_pyvisa_py_with_half_an_answer_or_none(served, visa, fault: Fault):
    """A timeout, and after a device clear all is well."""
    served.panels[MODEL].arm(fault)
    visa.timeout = 50
    with pytest.raises(pyvisa.VisaIOError, match="Timeout expired"):
        visa.query("*IDN?")
    visa.timeout = 2000
    visa.clear()
    assert visa.query("*CLS;*IDN?") == IDENTITY


def test_pyvisa_py_fetches_a_late_answer_afterwards(served, visa):
    """The read times out; the answer waits for the next read (shifted by one: row 5)."""
    served.panels[MODEL].arm(AnswerLate(2.0))
    visa.timeout = 20
    with pytest.raises(pyvisa.VisaIOError, match="Timeout expired"):
        visa.query("*IDN?")
    visa.timeout = 2000
    assert visa.read() == IDENTITY


def test_pyvisa_py_with_other_faults(served, visa):
    """The wrong sign and garbage come through as they are."""
    panel = served.panels[MODEL]
    panel.arm(WrongSign())
    panel.arm(GarbageBytes(), after=1)
    assert float(visa.query("MEAS:VOLT:AC?")) < 0
    visa.write("*IDN?")
    assert visa.read_raw().startswith(b"\xff\x00\xfeTORVSTAD")


def test_python_vxi11_without_a_port_mapper(core_port, connect, vxi11):
    """Told the port of the core channel; every call that it has, the abort channel too."""
    instrument = connect("127.0.0.1", core_port)
    assert instrument.ask("*CLS;*IDN?") == IDENTITY
    assert instrument.read_stb() == 0
    instrument.trigger()
    assert instrument.ask("*OPC?") == "1"
    instrument.clear()
    instrument.remote()
    instrument.local()
    instrument.lock()
    instrument.unlock()
    with pytest.raises(vxi11.vxi11.Vxi11Exception, match="No lock held"):
        instrument.unlock()
    instrument.abort_client = vxi11.vxi11.AbortClient("127.0.0.1", instrument.abort_port)
    instrument.abort()
    instrument.timeout = 0.05
    with pytest.raises(vxi11.vxi11.Vxi11Exception, match="timeout"):
        instrument.read()
    assert instrument.ask("SYST:ERR?") == '-420,"Query UNTERMINATED"'


def test_two_python_vxi11_clients_and_one_lock(core_port, connect, vxi11):
    """Error 11 for the other one."""
    one, other = connect("127.0.0.1", core_port), connect("127.0.0.1", core_port)
    for instrument in (one, other):
        instrument.lock_timeout = 0.02
        instrument.open()
    one.lock()
    with pytest.raises(vxi11.vxi11.Vxi11Exception, match="locked by another link"):
        other.ask("*IDN?")
    one.close()
    assert other.ask("*IDN?") == IDENTITY


def test_python_vxi11_sees_a_dropped_link(served, core_port, connect):
    """As the end of the connection; pyvisa-py 0.8.1 spins and then blocks 5 s on closing."""
    instrument = connect("127.0.0.1", core_port)
    served.panels[MODEL].arm(DropLink(back_s=0.0))
    with pytest.raises(EOFError):
        instrument.ask("*IDN?")
    assert connect("127.0.0.1", core_port).ask("*IDN?") == IDENTITY


def test_lxi_tools(serve, program):
    """It asks the port mapper on port 111 (of a loopback address of its own)."""
    lxi = program("lxi", "lxi-tools")
    served = serve({MODEL: "TCPIP::127.0.0.111::inst0::INSTR"})
    for question, answer in (("*IDN?", IDENTITY), ("SYST:VERS?", "1999.0")):
        done = subprocess.run(
            [lxi, "scpi", "-a", "127.0.0.111", "-t", "5", question],
            capture_output=True,
            timeout=20,
            check=True,
        )
        assert done.stdout.decode().strip() == answer
    served.panels[MODEL].arm(Says("x" * 60_000 + r"\n"))
    done = subprocess.run(
        [lxi, "scpi", "-a", "127.0.0.111", "READ?"], capture_output=True, timeout=20, check=True
    )
    assert done.stdout.strip() == b"x" * 60_000


def test_lxi_tools_on_the_raw_socket(serve, program):
    """Its ``--raw`` takes a port: no port mapper, no rights."""
    served = serve({MODEL: "TCPIP::127.0.0.1::0::SOCKET"})
    port = served.resources["TCPIP::127.0.0.1::0::SOCKET"].split("::")[2]
    done = subprocess.run(
        [program("lxi", "lxi-tools"), "scpi", "-a", "127.0.0.1", "-p", port, "-r", "*IDN?"],
        capture_output=True,
        timeout=20,
        check=True,
    )
    assert done.stdout.decode().strip() == IDENTITY


def test_pyvisa_py_and_python_vxi11_by_the_port_mapper(serve, connect):
    """An address without a port, as of a real instrument."""
    serve({MODEL: "TCPIP::127.0.0.112::inst0::INSTR"})
    opened = pyvisa.ResourceManager("@py").open_resource("TCPIP::127.0.0.112::inst0::INSTR")
    session = cast(MessageBasedResource, opened)
    assert session.query("*IDN?").strip() == IDENTITY
    session.close()
    instrument = connect("127.0.0.112")
    assert instrument.ask("*IDN?") == IDENTITY
    instrument.abort()
