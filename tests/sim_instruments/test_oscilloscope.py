"""Fernmark OS-4 against its programming manual."""

from __future__ import annotations

import numpy as np
import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench

CALM = {"phase_drift_deg": 0.0, "level_drift_db": 0.0}


@pytest.fixture
def bench(clock: ManualClock) -> SimulatedBench:
    """A bench whose probes are where the station file has them."""
    return SimulatedBench(CALM, clock)


@pytest.fixture
def ask(bench: SimulatedBench):
    """One client's line, as text."""
    session = bench.device("fernmark-os4").session()
    return lambda text: session.feed(text.encode("ascii") + b"\n").decode("latin-1").rstrip("\n")


def test_identity_and_reset_values(ask):
    """As the manual's table has them."""
    assert ask("*IDN?") == "FERNMARK,OS-4,40117,1.6"
    assert ask("SENS3:VOLT:RANG?;:INP2:COUP?;:SENS:SWE:TIME?;POIN?;:FORM?;FORM:BORD?") == (
        "4.0000E+00;DC;2.0000E-02;4000;REAL,32;NORM"
    )


def test_settings_are_kept_until_reset(ask):
    """Each command has its query form; *RST brings the reset values back."""
    ask("SENS4:VOLT:RANG:UPP 2;:INPUT4:COUPLING AC;:SENS:SWE:TIME 0.1;POIN 500;:FORM REAL,64")
    assert ask("FORM:DATA?;BORD?") == "REAL,64;NORM"
    ask("FORMAT:BORDER SWAPPED")
    assert ask("SENS4:VOLT:RANG?;:INP4:COUP?;:SENS:SWE:TIME?;POIN?;:FORM:BORD?") == (
        "2.0000E+00;AC;1.0000E-01;500;SWAP"
    )
    ask("*RST")
    assert ask("SENS4:VOLT:RANG?") == "4.0000E+00"


def test_peak_to_peak_takes_as_long_as_the_record(bench, ask, clock):
    """A centred IF level reads 1.5 V within converter, gain and sweep; 0.05 s of sweep pass."""
    bench.plant.place("course width IF level", 0.5)
    before = clock.monotonic_ns()
    assert float(ask("SENS:SWE:TIME 0.05;POIN 20000;:MEAS:VOLT:PTP? (@2)")) == pytest.approx(
        1.5, abs=0.04
    )
    assert (clock.monotonic_ns() - before) / 1e9 == pytest.approx(0.05)


def test_nothing_to_measure_and_over_range(bench, ask):
    """9.91E37 where no probe is; 9.9E37 where the record leaves the range."""
    bench.connections.connect_probe(2, "")
    assert float(ask("MEAS:VOLT:PTP? (@2)")) == 9.91e37
    ask("SENS1:VOLT:RANG 0.5")
    assert float(ask("MEAS:VOLT:PTP? (@1)")) == 9.9e37


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("SENS1:VOLT:RANG 0.01", -222),
        ("SENS5:VOLT:RANG 1", -114),
        ("INP1:COUP? 1", -108),
        (f"SENS{'9' * 5000}:VOLT:RANG?", -113),
        ("INP1:COUP GND", -224),
        ("MEAS:VOLT:PTP? (@7)", -222),
        ("MEAS:VOLT:PTP?", -109),
        ("FORM REAL,16", -224),
        ("TRAC? CHAN1", -113),
        ("TRAC:DATA? MEM1", -224),
        ("SENS:SWE:POIN 10", -222),
    ],
)
def test_errors_by_the_manual(ask, message, code):
    """The code that the manual or SCPI-1999 gives, and no answer."""
    assert ask(message) == ""
    assert ask("SYST:ERR?").startswith(str(code))


@pytest.mark.parametrize(
    ("settings", "dtype"),
    [
        ("FORM REAL,32", ">f4"),
        ("FORM REAL,64", ">f8"),
        ("FORM REAL,32;:FORM:BORD SWAP", "<f4"),
    ],
)
def test_waveform_block(bench, settings, dtype):
    """A definite-length block of volts; of the detector, DDM by FFT is the channel's 0.155."""
    bench.connections.connect_probe(1, "course width detector")
    session = bench.device("fernmark-os4").session()
    raw = session.feed(f"{settings};:SENS:SWE:TIME 0.1;POIN 4000;:TRAC:DATA? CHAN1\n".encode())
    digits = int(raw[1:2])
    length = int(raw[2 : 2 + digits])
    assert raw[:1] == b"#"
    assert raw[2 + digits + length :] == b"\n"
    volts = np.frombuffer(raw[2 + digits : -1], dtype)
    lines = np.abs(np.fft.rfft(volts))
    assert len(volts) == 4000
    assert 2 * (lines[15] - lines[9]) / lines[0] == pytest.approx(0.155, abs=1e-3)


def test_ascii_waveform_and_ac_coupling(bench, ask):
    """Comma-separated NR3; AC removes the mean of a detector's output."""
    bench.connections.connect_probe(1, "course line detector")
    ask("FORM ASC;:SENS:SWE:TIME 0.1;POIN 1000")
    assert np.mean([float(v) for v in ask("TRAC:DATA? CHANNEL1").split(",")]) == pytest.approx(
        1, abs=0.01
    )
    ask("INP1:COUP AC")
    assert np.mean([float(v) for v in ask("TRAC:DATA? CHAN1").split(",")]) == pytest.approx(
        0, abs=0.01
    )


def test_converter_has_256_codes(bench, ask):
    """All volts lie on a grid of range/256."""
    ask("FORM ASC;:SENS1:VOLT:RANG 2.56")
    codes = np.array([float(v) for v in ask("TRAC:DATA? CHAN1").split(",")]) / 0.01
    assert np.allclose(codes - 0.5, np.round(codes - 0.5), atol=1e-2)
