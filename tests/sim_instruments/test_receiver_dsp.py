"""The receiver against AM theory, published-form tables, and scipy's envelope."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from sim_instruments.receiver_dsp import RATE_HZ, demodulate
from sim_instruments.signals import Modulation, Timebase


def received(sbo: complex, *, t0_s: float = 0.0, modulation: Modulation | None = None):
    """Return what the receiver says of one carrier of amplitude 1."""
    time_base = Timebase(t0_s, RATE_HZ, 4800)
    return demodulate((modulation or Modulation()).carrier(time_base, 1, sbo))


def test_csb_alone_has_sdm_040_and_no_ddm():
    """m90 = m150 = 0.20: SDM is twice m (definition, 14 CFR 171 in the standards file)."""
    seen = received(0)
    assert seen.sdm == pytest.approx(0.40, abs=1e-9)
    assert seen.ddm == pytest.approx(0.0, abs=1e-9)
    assert (seen.tone_90_hz, seen.tone_150_hz) == pytest.approx((90.0, 150.0))


@pytest.mark.parametrize(
    ("phase_deg", "ddm"),
    [(0, 0.15500), (20, 0.14548), (45, 0.10906), (60, 0.07693), (90, 0.0), (85, 0.01338)],
)
def test_rf_phase_error_gives_the_exact_envelope_values(phase_deg, ddm):
    """Exact envelope DDM at s = 0.0775: tables D4 and D5 of the standards file (derived there)."""
    seen = received(cmath.rect(0.0775, math.radians(phase_deg)))
    assert seen.ddm == pytest.approx(ddm, abs=1.1e-5)


def test_sdm_dips_in_quadrature():
    """SDM 0.3985 at s = 0.0775 and 90 degrees: standards file F4 (numerical there)."""
    assert received(0.0775j).sdm == pytest.approx(0.3985, abs=5e-5)


def test_reversed_sense_and_over_modulation():
    """Magnitudes fold: for s > m the raw DDM saturates at 2 m and SDM is 2 s (standards, F4)."""
    assert received(-0.0775).ddm == pytest.approx(-0.155, abs=1e-9)
    folded = received(0.3)
    assert folded.ddm == pytest.approx(0.40, abs=1e-6)
    assert folded.sdm == pytest.approx(0.60, abs=1e-6)


@pytest.mark.parametrize("t0_s", [0.0, 0.0123, 17.77, 86_400.001])
def test_reading_does_not_depend_on_when_it_begins(t0_s):
    """Whole windows of 1/30 s: a time shift changes nothing."""
    assert received(0.05 + 0.02j, t0_s=t0_s).ddm == pytest.approx(
        received(0.05 + 0.02j).ddm, abs=1e-7
    )


def test_tone_frequencies_are_measured():
    """A 90 Hz tone that is really 90.6 Hz reads 90.6 Hz, within the leakage of the other tone."""
    seen = received(0, modulation=Modulation(tone_90_hz=90.6, tone_150_hz=149.4))
    assert seen.tone_90_hz == pytest.approx(90.6, abs=0.08)
    assert seen.tone_150_hz == pytest.approx(149.4, abs=0.08)


@pytest.mark.parametrize(
    ("down_db", "weight"),
    [(1, 0.3787), (3, 0.2393), (5, 0.1529), (6, 0.1222), (10, 0.0494), (16, 0.0125), (20, 0.0050)],
)
def test_capture_effect(down_db, weight):
    """Weight of the weaker carrier's DDM: elliptic-integral values, table D7 of the standards."""
    ratio = 10 ** (-down_db / 20)
    time_base = Timebase(0.0, RATE_HZ, 4800)
    small = Modulation(depth_90=0.004, depth_150=0.004)
    strong = small.carrier(time_base, 1, 0) * time_base.rotor(4750)
    weak = small.carrier(time_base, ratio, 0.002 * ratio) * time_base.rotor(-4750)
    assert demodulate(strong + weak).ddm / 0.004 == pytest.approx(weight, abs=1.5e-4)


def test_equal_carriers_weigh_alike():
    """At equal levels each carrier has half the say (standards, D7), which needs a fine grid."""
    time_base = Timebase(0.0, 480_000.0, 48_000)
    small = Modulation(depth_90=0.004, depth_150=0.004)
    both = small.carrier(time_base, 1, 0) * time_base.rotor(4750)
    both += small.carrier(time_base, 1, 0.002) * time_base.rotor(-4750)
    assert demodulate(both, 480_000.0).ddm / 0.004 == pytest.approx(0.5, abs=0.005)


def test_envelope_agrees_with_scipy_hilbert():
    """The real signal on a 12 kHz carrier: scipy.signal.hilbert's envelope, tones by FFT."""
    from scipy.signal import hilbert

    time_base = Timebase(0.0, RATE_HZ, 4800)
    baseband = Modulation().carrier(time_base, 1, cmath.rect(0.09, 0.6))
    envelope = np.abs(hilbert((baseband * time_base.rotor(12_000)).real))
    lines = np.abs(np.fft.rfft(envelope)) / len(envelope)
    seen = demodulate(baseband)
    assert seen.depth_90 == pytest.approx(2 * lines[9] / lines[0], abs=1e-6)
    assert seen.depth_150 == pytest.approx(2 * lines[15] / lines[0], abs=1e-6)


def test_records_that_cannot_be_measured_are_refused():
    """Less than one window, or a rate that does not fit."""
    with pytest.raises(ValueError, match="less than one window"):
        demodulate(np.ones(100, dtype=complex))
    with pytest.raises(ValueError, match="no whole number"):
        demodulate(np.ones(4800, dtype=complex), 44_101.0)
