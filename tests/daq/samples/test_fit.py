import numpy as np
import pytest
from scipy import signal

from daq.errors import SamplesError
from daq.samples.choose import NOMINAL_HZ
from daq.samples.fit import fit
from daq.samples.lines import Weights
from daq.samples.lowpass import to_baseband
from daq.samples.terms import HARMONICS_90, HUM, IDENT_TONE, TONE_90, TONE_150
from tests.daq.samples.synthetic import Truth, clean, record

TONES = (TONE_90, TONE_150)


def test_a_noiseless_record_is_fitted_to_rounding() -> None:
    truth = Truth(f90=90.4, f150=149.1, m90=0.25, duration_s=0.37)
    band = to_baseband(clean(truth), truth.rate_hz)
    fitted = fit(band, TONES, NOMINAL_HZ)
    assert fitted.c0 == pytest.approx(truth.c0, abs=1e-8)
    np.testing.assert_allclose(fitted.amplitude / fitted.c0, [0.25, 0.2], atol=1e-8)
    np.testing.assert_allclose(fitted.free_hz[:2], [90.4, 149.1], atol=1e-6)


def test_a_harmonic_follows_its_tone() -> None:
    truth = Truth(f90=91.0, extra=((0.01, 182.0, 0.2),))
    band = to_baseband(clean(truth), truth.rate_hz)
    fitted = fit(band, (*TONES, HARMONICS_90[0]), NOMINAL_HZ + np.array([0.7, 0.0, 0.0, 0.0]))
    assert fitted.frequency_hz[2] == pytest.approx(182.0, abs=1e-6)
    assert fitted.amplitude[2] == pytest.approx(0.02, abs=1e-8)


def test_sigma_is_the_noise_after_the_low_pass() -> None:
    truth = Truth(snr_db=30.0, duration_s=3.0)
    band = to_baseband(record(truth, np.random.default_rng(2)), truth.rate_hz)
    fitted = fit(band, TONES, NOMINAL_HZ)
    assert fitted.sigma_v * np.sqrt(band.step) == pytest.approx(truth.sigma, rel=0.03)


def test_sigma_is_the_density_beside_the_tones_when_the_noise_is_not_white() -> None:
    """Noise above the band adds nothing to the uncertainty."""
    truth = Truth(snr_db=40.0, duration_s=2.0)
    rng = np.random.default_rng(3)
    v = record(truth, rng)
    beside = signal.firwin(2001, [1300.0, 1480.0], pass_zero=False, fs=truth.rate_hz)
    hiss = signal.oaconvolve(rng.standard_normal(len(v)), beside, mode="same")
    plain = fit(to_baseband(v, truth.rate_hz), TONES, NOMINAL_HZ)
    hissing = fit(to_baseband(v + 3.0 * truth.sigma * hiss, truth.rate_hz), TONES, NOMINAL_HZ)
    assert hissing.residual.std() > 1.2 * plain.residual.std()
    assert hissing.sigma_v == pytest.approx(plain.sigma_v, rel=0.05)


def test_rows_that_do_not_count_change_nothing() -> None:
    truth = Truth(snr_db=50.0)
    v = record(truth, np.random.default_rng(4))
    band = to_baseband(v, truth.rate_hz)
    spoilt = to_baseband(v, truth.rate_hz)
    spoilt.v.reshape(-1, spoilt.piece)[60:67] = 99.0
    keep = np.ones(len(band.v) // band.piece)
    keep[60:67] = 0.0
    weights = Weights(keep=keep, gate=np.ones(len(keep)))
    first = fit(band, TONES, NOMINAL_HZ, weights)
    second = fit(spoilt, TONES, NOMINAL_HZ, weights)
    np.testing.assert_allclose(first.a, second.a, rtol=1e-12)
    assert not first.residual.reshape(-1, band.piece)[60:67].any()


def test_the_iteration_goes_on_until_a_far_start_is_forgotten() -> None:
    """Starts 0.2 of the inverse duration away end where exact starts end."""
    truth = Truth(snr_db=60.0)
    band = to_baseband(record(truth, np.random.default_rng(5)), truth.rate_hz)
    near = fit(band, TONES, NOMINAL_HZ)
    far = fit(band, TONES, NOMINAL_HZ + np.array([0.2, -0.2, 0.0, 0.0]))
    u_hz = np.sqrt(np.diagonal(near.cov)[-2:])
    assert np.all(np.abs(near.free_hz[:2] - far.free_hz[:2]) < 0.05 * u_hz)
    assert np.all(np.abs(near.amplitude - far.amplitude) < 0.05 * np.sqrt(near.cov[1, 1]))


def test_terms_that_cannot_be_told_apart_are_refused_by_name() -> None:
    """Hum that runs onto a tone, and an ident that is never on, are no faults of the algebra."""
    band = to_baseband(clean(Truth()), Truth().rate_hz)
    with pytest.raises(SamplesError, match="hum at 90 Hz"):
        fit(band, (*TONES, HUM), np.array([90.0, 150.0, 1020.0, 90.0]))
    rows = np.ones(len(band.v) // band.piece)
    weights = Weights(keep=rows, gate=np.zeros(len(rows)))
    with pytest.raises(SamplesError, match="ident at 1020 Hz"):
        fit(band, (*TONES, IDENT_TONE), NOMINAL_HZ, weights)
