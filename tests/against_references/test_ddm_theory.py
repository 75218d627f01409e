"""DDM from samples against the theory of amplitude modulation, and laws that must hold.

Envelopes are made from carriers and sidebands here, as phasors; no formula for DDM is used.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Floats, Truth, clean, record

RATE_HZ = 24_000.0
T = np.arange(12_000) / RATE_HZ
S90, S150 = np.sin(2.0 * np.pi * 90.0 * T), np.sin(2.0 * np.pi * 150.0 * T)

depths = st.floats(0.05, 0.35)
phases = st.floats(0.0, 2.0 * np.pi)


def envelope(sbo: float, phi_deg: float) -> Floats:
    """Envelope of CSB with m = 0.20 and SBO of relative amplitude `sbo` at `phi_deg`."""
    csb = 1.0 + 0.2 * S90 + 0.2 * S150
    return np.asarray(np.abs(csb + sbo * np.exp(1j * np.radians(phi_deg)) * (S150 - S90)))


@pytest.mark.parametrize("phi_deg", [0.0, 30.0, 60.0, 90.0, 150.0, 180.0])
def test_small_sideband_only_signal_gives_two_s_over_c_cos_phi(phi_deg: float) -> None:
    """Textbook amplitude modulation, to first order in S/C."""
    ddm = analyze_samples(envelope(0.005, phi_deg), RATE_HZ).ddm.value
    assert ddm == pytest.approx(2.0 * 0.005 * np.cos(np.radians(phi_deg)), abs=2e-5)


def test_in_phase_ddm_is_exact_and_sdm_does_not_move() -> None:
    """In phase the envelope is linear: depths 0.20 - S and 0.20 + S."""
    a = analyze_samples(envelope(0.0775, 0.0), RATE_HZ)
    assert a.ddm.value == pytest.approx(0.155, abs=1e-6)
    assert a.sdm.value == pytest.approx(0.40, abs=1e-6)


def test_in_quadrature_the_second_order_products_appear() -> None:
    """sqrt(1 + q^2) = 1 + q^2 / 2: 180, 300, 240 and 60 Hz; from (S/C)^2 (s150 - s90)^2 / 2.

    (s150 - s90)^2 / 2 = 1/2 - cos(300)/4 - cos(180)/4 - (cos(60) - cos(240))/2, to second order.
    """
    v = np.abs(1.0 + 0.05 * S90 + 0.05 * S150 + 0.1j * (S150 - S90))
    spectrum = 2.0 * np.abs(np.fft.rfft(v)) / len(v)
    a = analyze_samples(v, RATE_HZ)
    second = 0.1**2 / 4.0
    assert spectrum[round(180.0 * 0.5)] == pytest.approx(second, rel=0.1)
    assert a.harmonics_90.value * a.depth_90.value == pytest.approx(second, rel=0.1)
    assert a.harmonics_150.value * a.depth_150.value == pytest.approx(second, rel=0.1)


@settings(deadline=None, max_examples=25)
@given(depths, depths, phases, phases)
def test_exchanging_the_depths_changes_the_sign_only(
    m90: float, m150: float, p90: float, p150: float
) -> None:
    truth = Truth(rate_hz=RATE_HZ, duration_s=0.4, m90=m90, m150=m150, p90=p90, p150=p150)
    one = analyze_samples(clean(truth), RATE_HZ)
    other = analyze_samples(clean(replace(truth, m90=m150, m150=m90)), RATE_HZ)
    assert one.ddm.value == pytest.approx(-other.ddm.value, abs=1e-7)
    assert one.sdm.value == pytest.approx(other.sdm.value, abs=1e-7)


@settings(deadline=None, max_examples=25)
@given(st.floats(1e-3, 1e3), st.integers(0, 2**16))
def test_gain_changes_nothing_but_the_carrier(gain: float, seed: int) -> None:
    truth = Truth(rate_hz=RATE_HZ, duration_s=0.4, m150=0.23, snr_db=35.0)
    v = record(truth, np.random.default_rng(seed))
    one, other = analyze_samples(v, RATE_HZ), analyze_samples(gain * v, RATE_HZ)
    assert other.ddm.value == pytest.approx(one.ddm.value, abs=1e-9)
    assert other.ddm.u == pytest.approx(one.ddm.u, rel=1e-6)
    assert other.carrier_v.value == pytest.approx(gain * one.carrier_v.value, rel=1e-9)


@settings(deadline=None, max_examples=25)
@given(st.floats(-10.0, 10.0), st.floats(-0.025, 0.025))
def test_a_time_shift_changes_nothing(shift_s: float, off: float) -> None:
    truth = Truth(
        rate_hz=RATE_HZ,
        duration_s=0.4,
        m150=0.24,
        f90=90.0 * (1.0 + off),
        f150=150.0 * (1.0 + off),
        p90=0.0,
        p150=0.3,
    )
    one = analyze_samples(clean(truth), RATE_HZ)
    other = analyze_samples(clean(truth, truth.t + shift_s), RATE_HZ)
    assert other.ddm.value == pytest.approx(one.ddm.value, abs=1e-7)
    turn_deg = (other.tone_phase_deg.value - one.tone_phase_deg.value + 60.0) % 120.0 - 60.0
    assert turn_deg == pytest.approx(0.0, abs=1e-3)
