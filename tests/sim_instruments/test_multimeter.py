"""The multimeter against its programming manual, and an acquisition that takes its time."""

from __future__ import annotations

import pytest

from daq.clock import elapsed_s
from sim_instruments.bench import SimulatedBench

POINT = "course width detector"


@pytest.fixture
def bench(clock) -> SimulatedBench:
    made = SimulatedBench({}, clock)
    made.hands.do("connect probe", {"channel": 5, "point": POINT})
    return made


@pytest.fixture
def session(bench):
    return bench.device("torvstad-dm6").session()


@pytest.fixture
def hasty(bench):
    return bench.device("torvstad-dm6-firmware-1").session()


def volts(bench, seconds: float = 0.2):
    return bench.plant.volts(POINT, bench.plant.now_s(), 20_000, round(20_000 * seconds))


def test_direct_and_alternating_volts(bench, session):
    """Mean, and effective value without the mean, within 0.1 per cent + 1 mV (the manual)."""
    session.feed(b"SENS:VOLT:NPLC 10\n")
    seen = volts(bench)
    assert float(session.feed(b"MEAS?\n")) == pytest.approx(seen.mean(), rel=1e-3, abs=1e-3)
    assert float(session.feed(b"MEASure:SCALar:VOLTage:DC?\n")) == pytest.approx(
        seen.mean(), rel=1e-3, abs=1e-3
    )
    assert float(session.feed(b"MEAS:VOLT:AC?\n")) == pytest.approx(seen.std(), rel=1e-2)
    assert session.feed(b"CONF?\n") == b'"VOLT:AC"\n'


def test_nothing_connected_and_over_range(bench, session):
    """SCPI-1999, 7.2.1.4: 9.91E37 is no number, 9.9E37 infinity."""
    assert volts(bench).std() > 0.12
    assert session.feed(b"SENS:VOLT:RANG 0.05;:MEAS:VOLT:AC?\n") == b"9.90000E+37\n"
    bench.connections.connect_probe(5, "")
    assert session.feed(b"MEAS?\n") == b"9.91000E+37\n"


def test_the_range_is_the_next_that_is_large_enough(bench, session):
    """0 is automatic."""
    assert session.feed(b"SENS:VOLT:RANG 0.5;RANG?\n") == b"1.0000E+00\n"
    assert session.feed(b"SENS:VOLT:RANG 0;RANG?\n") == b"0.0000E+00\n"
    assert session.feed(b"SENS:VOLT:RANG 100;RANG?\n") == b"1.0000E+02\n"


def test_an_acquisition_is_overlapped_and_fetch_does_not_wait(session, clock):
    """-230 while it goes on and when there is none; the same value however often it is fetched."""
    session.feed(b"*CLS;SENS:VOLT:NPLC 50;:SENS:AVER:COUN 3\n")
    assert session.feed(b"FETC?\n") == b""
    assert session.feed(b"INIT;FETC?\n") == b""
    assert session.feed(b"SYST:ERR?;ERR?;ERR?\n") == (
        b'-230,"Data corrupt or stale";-230,"Data corrupt or stale";0,"No error"\n'
    )
    clock.sleep(3.0)
    first = session.feed(b"FETC?\n")
    clock.sleep(1.0)
    assert session.feed(b"FETC?\n") == first != b""
    assert session.feed(b"ABOR;FETC?\n") == b""


def test_honest_completion(session, clock):
    """IEEE 488.2, 12.5: ``*OPC`` sets bit 0, ``*OPC?`` answers, when the acquisition is over."""
    session.feed(b"*CLS;*ESE 1;SENS:VOLT:NPLC 50\n")
    session.feed(b"INIT;*OPC\n")
    assert session.feed(b"*ESR?\n") == b"0\n"
    assert session.serial_poll() == 0
    clock.sleep(1.0)
    assert session.serial_poll() == 32
    assert session.feed(b"*ESR?\n") == b"1\n"
    start = clock.monotonic_ns()
    assert session.feed(b"*TRG;*OPC?\n") == b"1\n"
    assert elapsed_s(clock, start) == pytest.approx(1.0)
    assert session.feed(b"FETC?;*OPC?\n").endswith(b";1\n")


@pytest.mark.parametrize("forget", [b"*CLS\n", b"*RST\n"])
def test_completion_is_forgotten(session, clock, forget):
    """IEEE 488.2, 10.3 and 10.32: ``*CLS`` and ``*RST`` cancel a pending ``*OPC``."""
    session.feed(b"*CLS;:SENS:VOLT:NPLC 50;:INIT;*OPC\n")
    session.feed(forget)
    clock.sleep(2.0)
    assert session.feed(b"*ESR?\n") == b"0\n"


def test_the_older_firmware_lies(hasty, clock):
    """It says at once that it is done, and has nothing to fetch."""
    hasty.feed(b"*CLS;SENS:VOLT:NPLC 50\n")
    assert hasty.feed(b"*IDN?\n") == b"TORVSTAD,DM-6,5521,1.0\n"
    start = clock.monotonic_ns()
    assert hasty.feed(b"INIT;*OPC;*ESR?;*OPC?;FETC?\n") == b"1;1\n"
    assert elapsed_s(clock, start) == 0
    assert hasty.feed(b"SYST:ERR?\n").startswith(b"-230")


def test_headers_on_and_off(session):
    """``VOLT:DC 1.23456E+00 V`` or the bare number; off after ``*RST``."""
    assert session.feed(b"SYST:HEAD ON;HEAD?\n") == b"1\n"
    header, number, unit = session.feed(b"READ?\n").split()
    assert (header, unit) == (b"VOLT:DC", b"V")
    float(number)
    session.feed(b"*RST\n")
    float(session.feed(b"READ?;:SYST:HEAD?\n").split(b";")[0])


@pytest.mark.parametrize(
    ("message", "code"),
    [
        (b"SENS:VOLT:NPLC 0.01", -222),
        (b"SENS:AVER:COUN 0", -222),
        (b"SENS:VOLT:RANG x", -104),
        (b"SYST:HEAD MAYBE", -104),
        (b"MEAS:CURR?", -113),
    ],
)
def test_errors(session, message, code):
    """Standard numbers."""
    session.feed(b"*CLS\n" + message + b"\n")
    assert session.feed(b"SYST:ERR?\n").startswith(str(code).encode())
