"""The spectrum analyzer against its programming manual."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.analyzer import RATE_HZ, highest_line
from sim_instruments.bench import SimulatedBench


@pytest.fixture
def bench(clock) -> SimulatedBench:
    return SimulatedBench({}, clock, receiver="course width")


@pytest.fixture
def session(bench):
    return bench.device("solvang-sa2").session()


def test_the_marker_finds_the_stronger_carrier(session):
    """The course carrier stands 4.75 kHz above the channel's middle (the plant's default)."""
    assert float(session.feed(b"CALCulate1:MARKer1:MAXimum;X?\n")) == pytest.approx(
        109.35e6 + 4750, abs=30
    )
    assert float(session.feed(b"CALC:MARK:MAX;Y?\n")) == pytest.approx(-47.3, abs=1.5)


def test_a_single_sweep_stays(session):
    """Without continuous sweeps both markers belong to one sweep until the next."""
    session.feed(b"INIT:CONT OFF;:INIT\n")
    first = session.feed(b"CALC:MARK:Y?\n")
    assert session.feed(b"CALC:MARK:Y?\n") == first
    session.feed(b"INIT\n")
    assert session.feed(b"CALC:MARK:Y?\n") != first
    assert session.feed(b"*RST;INIT:CONT?\n") == b"1\n"


def test_nothing_connected_and_other_markers(bench, session):
    """9.91E37 (SCPI-1999, 7.2.1.4) and -114."""
    bench.connections.connect_receiver("")
    assert session.feed(b"CALC:MARK:Y?\n") == b"9.9100E+37\n"
    session.feed(b"*CLS;:CALC:MARK2:X?\n")
    assert session.feed(b"SYST:ERR?\n") == b'-114,"Header suffix out of range"\n'


@pytest.mark.parametrize("offset_hz", [-12_000.0, 0.0, 4750.0, 4755.0, 4765.0])
def test_a_lines_frequency_and_amplitude(offset_hz):
    """A pure tone (NumPy's exponential): within half a line, and 1.43 dB low at most (Harris)."""
    t_s = np.arange(1600) / RATE_HZ
    frequency_hz, amplitude = highest_line(0.5 * np.exp(2j * np.pi * offset_hz * t_s))
    assert abs(frequency_hz - offset_hz) <= 15.1
    assert -1.45 < 20 * np.log10(amplitude / 0.5) < 0.01
