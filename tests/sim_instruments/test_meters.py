"""Power meter and counter against their manual pages."""

from __future__ import annotations

import math

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench


@pytest.fixture
def bench(clock: ManualClock) -> SimulatedBench:
    bench = SimulatedBench({}, clock)
    bench.hands.do("connect power meter", {"point": "course CSB"})
    bench.hands.do("connect counter", {"point": "course CSB"})
    return bench


def ask(bench: SimulatedBench, model: str, text: str) -> str:
    return bench.device(model).session().feed(text.encode() + b"\n").decode().strip()


def test_power_in_both_units(bench, clock):
    """15.6 W within the 2 per cent of the manual; dBm are 10 log10 of milliwatts."""
    before = clock.mono_ns
    watts = float(ask(bench, "brunnhall-pw2", "MEAS:POW?"))
    assert clock.mono_ns - before == 100_000_000
    assert watts == pytest.approx(15.6, rel=0.02)
    dbm = float(ask(bench, "brunnhall-pw2", "UNIT:POW DBM;:FETC?"))
    assert dbm == pytest.approx(10 * math.log10(watts * 1000), abs=1e-3)
    assert ask(bench, "brunnhall-pw2", "UNIT:POW?;:SENS:AVER:COUN 100;COUN?") == "DBM;100"


def test_frequency_within_the_time_base(bench, clock):
    """0.5 parts per million of 109.35475 MHz and 0.2 Hz s over the aperture."""
    before = clock.mono_ns
    found = ask(bench, "vesterlo-fc6", "SENS:FREQ:APER 1;:MEAS:FREQ?")
    assert clock.mono_ns - before == 1_000_000_000
    assert float(found) == pytest.approx(109_354_750.0, abs=0.5e-6 * 109e6 + 0.2)
    assert ask(bench, "vesterlo-fc6", "FETC?") == found
    assert len(found) == len("1.093547500E+08")


@pytest.mark.parametrize("model", ["brunnhall-pw2", "vesterlo-fc6"])
def test_not_connected_is_not_a_number_and_nothing_read_is_an_error(clock, model):
    """9.91E37 (SCPI-1999), and -230 for a reading that was never taken."""
    bench = SimulatedBench({}, clock)
    assert ask(bench, model, "FETC?") == ""
    assert ask(bench, model, "SYST:ERR?").startswith("-230,")
    assert float(ask(bench, model, "READ?")) == 9.91e37
    assert ask(bench, model, "*IDN?").count(",") == 3


@pytest.mark.parametrize(
    ("model", "text", "code"),
    [
        ("brunnhall-pw2", "UNIT:POW HP", "-224"),
        ("brunnhall-pw2", "SENS:AVER:COUN 0", "-222"),
        ("vesterlo-fc6", "SENS:FREQ:APER 100", "-222"),
        ("vesterlo-fc6", "MEAS:POW?", "-113"),
    ],
)
def test_wrong_commands(bench, model, text, code):
    """Each leaves its standard number in the queue."""
    assert ask(bench, model, text) == ""
    assert ask(bench, model, "SYST:ERR?").startswith(code)


def test_reset_brings_the_manuals_values(bench):
    """After ``*RST``: W, 5 readings, 0.1 s."""
    ask(bench, "brunnhall-pw2", "UNIT:POW DBM;:SENS:AVER:COUN 7;*RST")
    assert ask(bench, "brunnhall-pw2", "UNIT:POW?;:SENS:AVER:COUN?") == "W;5"
    ask(bench, "vesterlo-fc6", "SENS:FREQ:APER 2;*RST")
    assert float(ask(bench, "vesterlo-fc6", "SENS:FREQ:APER?")) == 0.1
