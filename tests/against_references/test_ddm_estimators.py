"""DDM from samples against estimators of scipy that were written for other purposes."""

import numpy as np
import pytest
from scipy import optimize, signal

from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Floats, Truth, clean, record

TRUTH = Truth(duration_s=1.0, m90=0.17, m150=0.22, p90=0.4, p150=2.0)


def test_hilbert_envelopes_of_a_clean_record_of_whole_periods() -> None:
    """scipy.signal.hilbert of each tone, split in the spectrum at 120 Hz, no noise."""
    v = clean(TRUTH)
    spectrum = np.fft.rfft(v)
    depths = []
    for low, high in ((60, 120), (120, 180)):
        part = np.zeros_like(spectrum)
        part[low:high] = spectrum[low:high]
        envelope = np.abs(signal.hilbert(np.fft.irfft(part, len(v))))
        depths.append(envelope.mean() / v.mean())
    a = analyze_samples(v, TRUTH.rate_hz)
    assert a.depth_90.value == pytest.approx(depths[0], abs=1e-7)
    assert a.depth_150.value == pytest.approx(depths[1], abs=1e-7)


def test_curve_fit_gives_the_same_values_and_uncertainties() -> None:
    """scipy.optimize.curve_fit on the raw samples, value and covariance."""
    truth = Truth(rate_hz=8_000.0, duration_s=0.7, f90=91.2, f150=147.0, m150=0.26, snr_db=30.0)
    v = record(truth, np.random.default_rng(1))

    def model(
        t: Floats, c0: float, m90: float, m150: float, f90: float, f150: float, p: float, q: float
    ) -> Floats:
        tones = m90 * np.sin(2.0 * np.pi * f90 * t + p) + m150 * np.sin(2.0 * np.pi * f150 * t + q)
        return np.asarray(c0 * (1.0 + tones))

    start = (2.0, 0.2, 0.2, 91.2, 147.0, truth.p90, truth.p150)
    best, covariance = optimize.curve_fit(model, truth.t, v, start)
    a = analyze_samples(v, truth.rate_hz)
    u_ddm = np.sqrt(covariance[1, 1] + covariance[2, 2] - 2.0 * covariance[1, 2])
    assert a.ddm.u == pytest.approx(u_ddm, rel=0.05)
    # Both see the same noise, but the low-pass leaves out 3 ms of it.
    assert a.ddm.value == pytest.approx(best[2] - best[1], abs=0.3 * u_ddm)
    assert a.tone_90_hz.value == pytest.approx(best[3], abs=0.3 * a.tone_90_hz.u)
    assert a.tone_90_hz.u == pytest.approx(np.sqrt(covariance[3, 3]), rel=0.05)
    assert a.carrier_v.u == pytest.approx(np.sqrt(covariance[0, 0]), rel=0.05)


def test_lomb_scargle_peaks_at_the_tone_frequencies() -> None:
    """scipy.signal.lombscargle, a least-squares spectrum, on a grid of 2 mHz."""
    truth = Truth(rate_hz=8_000.0, duration_s=1.0, f90=88.3, f150=152.4, snr_db=45.0)
    v = record(truth, np.random.default_rng(2))
    a = analyze_samples(v, truth.rate_hz)
    for estimate, true_hz in ((a.tone_90_hz, 88.3), (a.tone_150_hz, 152.4)):
        grid_hz = true_hz + np.arange(-0.1, 0.1, 0.002)
        power = signal.lombscargle(truth.t, v - v.mean(), 2.0 * np.pi * grid_hz)
        # The other tone's skirts pull the periodogram's peak by some millihertz; not the fit.
        assert estimate.value == pytest.approx(grid_hz[np.argmax(power)], abs=0.05)
        assert estimate.value == pytest.approx(true_hz, abs=4.0 * estimate.u)
