"""A whole monitor baseline, looked at afterwards by a receiver that is not the project's own.

The reference receiver here is scipy's: the plant's carriers as a real signal, the analytic signal
of it by `scipy.signal.hilbert`, low-passed by `scipy.signal`, and both tones by an FFT over whole
periods.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from scipy import signal

from procedures.trims.cable import half_wave_m
from tests.support.in_process import InProcessBench
from tests.support.plants import demo_station

INCH_M = 0.0254
RATE_HZ = 96_000.0
RECORD_S = 0.5
"""Whole periods of 30 Hz, on which both tones repeat."""
INTERMEDIATE_HZ = 24_000.0


def depths(bench: InProcessBench, point: str) -> tuple[float, float]:
    """Depths of 90 and 150 Hz at a point, by scipy."""
    count = round(RATE_HZ * RECORD_S)
    baseband = bench.sim.plant.baseband(point, bench.sim.plant.now_s(), RATE_HZ, count)
    time_s = np.arange(count) / RATE_HZ
    real = (baseband * np.exp(2j * np.pi * INTERMEDIATE_HZ * time_s)).real
    envelope = np.abs(signal.hilbert(real))
    # The beat of the two carriers is far above the tones: a receiver does not pass it.
    low_pass = signal.butter(4, 2500.0, fs=RATE_HZ, output="sos")
    smooth = signal.sosfiltfilt(low_pass, envelope)
    spectrum = np.abs(np.fft.rfft(smooth)) * 2 / count
    carrier = spectrum[0] / 2
    return (
        float(spectrum[round(90 * RECORD_S)] / carrier),
        float(spectrum[round(150 * RECORD_S)] / carrier),
    )


def ddm(bench: InProcessBench, point: str) -> float:
    m90, m150 = depths(bench, point)
    return m150 - m90


def shown(bench: InProcessBench, point: str) -> float:
    """DDM that the simulated receiver shows, mean of 20 readings."""
    bench.sim.hands.do("connect receiver", {"point": point})
    receiver = bench.instruments["receiver"]
    return math.fsum(receiver.measure("ddm").value for _ in range(20)) / 20


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InProcessBench]:
    """A bench on which the baseline was run; it began reversed and out of phase."""
    log = tmp_path_factory.mktemp("main-job") / "run.tblog"
    with InProcessBench.make(demo_station(), log=log) as bench:
        before = ddm(bench, "course width")
        assert before < -0.05
        assert bench.run("monitor-baseline").result == "finished"
        yield bench


def test_the_width_is_0_155_with_150_hz_predominating(done: InProcessBench) -> None:
    """0.155 DDM at the course sector's edge: 14 CFR 171.107 (as read in the project's table).

    That 150 Hz is wanted at the monitor's width point: common practice, no source.
    """
    assert ddm(done, "course width") == pytest.approx(0.155, abs=0.0025)


def test_the_receiver_shows_what_scipy_finds(done: InProcessBench) -> None:
    """Receiver with an error of its own below 0.001; two different demodulators, one signal."""
    for point in ("course width", "clearance 90", "clearance 150", "course line"):
        assert shown(done, point) == pytest.approx(ddm(done, point), abs=0.0008)


def test_with_the_quarter_wave_line_in_it_is_a_null(done: InProcessBench) -> None:
    """0.001 is accepted as null: common practice, no source."""
    done.sim.hands.do("insert line", {"path": "sbo", "stage": "transmitter"})
    try:
        assert abs(ddm(done, "course width")) <= 0.0015
    finally:
        done.sim.hands.do("remove line", {"path": "sbo", "stage": "transmitter"})


def test_in_phase_the_sum_of_depths_is_twice_the_nominal_depth(done: InProcessBench) -> None:
    """SDM = 2 m for SBO in phase, whatever its level: textbook AM, m = 0.20.

    20 per cent each: ICAO Annex 10 Vol I, 3.1.3.5.1, from memory; 14 CFR 171.111(e)(1).
    """
    for point in ("course width", "clearance 150"):
        assert sum(depths(done, point)) == pytest.approx(0.40, abs=0.003)


def test_the_level_that_is_taken_off_for_the_alarm_is_what_the_envelope_loses(
    done: InProcessBench,
) -> None:
    """-1.62 dB of SBO is 0.83 of the DDM: 20 log10 of a voltage ratio (derived)."""
    before = ddm(done, "course width")
    turned: dict[str, str | float] = {
        "control": "course SBO level",
        "change_db": 20 * math.log10(0.83),
    }
    done.sim.hands.do("turn control", turned)
    after = ddm(done, "course width")
    done.sim.hands.do("restore control", {"control": "course SBO level"})
    # A hand turns within 2 per cent of what it means to turn.
    assert after / before == pytest.approx(0.83, abs=0.02)


@pytest.mark.parametrize("mhz", [108.1, 109.35, 110.1, 111.95])
@pytest.mark.parametrize("factor", [0.82, 0.84])
def test_half_a_wavelength_of_cable_is_43_to_46_inches_over_the_band(
    mhz: float, factor: float
) -> None:
    """Common practice, no source; the band's ends from the channel list (AIM Table 1-1-4)."""
    assert 43.0 <= half_wave_m(mhz * 1e6, factor) / INCH_M <= 46.0


def test_the_single_cut_of_the_run_is_the_phase_it_began_with(done: InProcessBench) -> None:
    """152 degrees late: shortening SBO by 152/360 of a wavelength less the connector's allowance.

    Derived from c, the velocity factor and the frequency; the hand cuts within 3 mm.
    """
    ((cable, length_m),) = done.sim.plant.truth().cuts
    wavelength_m = 299_792_458 * 0.82 / 109.35e6
    assert cable == "sbo monitor"
    assert 152 / 360 * wavelength_m - 0.05 < length_m < 152 / 360 * wavelength_m + 0.02
