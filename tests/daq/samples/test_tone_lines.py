"""Lines at known frequencies, against numpy's Fourier transform and the Cramer-Rao bound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.tone_lines import envelope_lines, fit_lines, second_harmonic_90
from tests.daq.samples.synthetic import Truth, clean, record

WITH_HARMONICS = Truth(
    duration_s=0.5,
    rate_hz=10_000.0,
    # 3 per cent of second and 6 of third harmonic of the 90 Hz tone of 0.20.
    extra=((0.2 * 0.03, 180.0, 0.4), (0.2 * 0.06, 270.0, 1.0)),
)


def test_on_whole_periods_the_lines_are_those_of_the_fourier_transform() -> None:
    """A transform over 1/30 s times whole numbers has 90 and 150 Hz in bins of their own."""
    v = record(Truth(rate_hz=9000.0, duration_s=1.0), np.random.default_rng(3))
    lines = fit_lines(v[:, np.newaxis], 9000.0, np.array([90.0, 150.0]))
    spectrum = np.fft.rfft(v) / 4500.0
    assert np.abs(lines.phasor[:, 0]) == pytest.approx(np.abs(spectrum[[90, 150]]), rel=1e-6)
    # From the first sample's cosine to the middle's sine: half a record later, a quarter turn on.
    late = 2.0 * np.pi * np.array([90.0, 150.0]) * (8999 / 2.0 / 9000.0) + np.pi / 2.0
    turned = np.angle(spectrum[[90, 150]] * np.exp(1j * late) / lines.phasor[:, 0])
    assert turned == pytest.approx(0.0, abs=1e-6)


def test_the_spread_of_an_amplitude_is_that_of_the_bound() -> None:
    """Either quadrature of a line in white noise of sigma has 2 sigma^2 / N (Kay, 1993)."""
    truth, rng = Truth(rate_hz=5000.0, duration_s=0.4, snr_db=20.0), np.random.default_rng(8)
    tones = np.array([90.0, 150.0])
    fits = [fit_lines(record(truth, rng)[:, np.newaxis], 5000.0, tones) for _ in range(300)]
    scatter = np.var([fit.phasor[0, 0].real for fit in fits], ddof=1)
    bound = 2.0 * truth.sigma**2 / truth.samples
    assert np.mean([fit.amplitude_cov[0, 0] for fit in fits]) == pytest.approx(bound, rel=0.03)
    assert scatter == pytest.approx(bound, rel=0.25)


def test_the_second_harmonic_is_told_from_the_third() -> None:
    v = record(replace(WITH_HARMONICS, snr_db=40.0), np.random.default_rng(4))
    analysis = analyze_samples(v, 10_000.0)
    found = second_harmonic_90(v, analysis)
    assert found.value == pytest.approx(0.03, abs=3.0 * found.u)
    # Total content, 3 and 6 per cent together.
    assert analysis.harmonics_90.value == pytest.approx(0.0671, abs=0.002)


def test_its_uncertainty_is_its_scatter() -> None:
    rng, noisy = np.random.default_rng(5), replace(WITH_HARMONICS, snr_db=25.0)
    found = []
    for _ in range(60):
        v = record(noisy, rng)
        found.append(second_harmonic_90(v, analyze_samples(v, 10_000.0)))
    scatter = float(np.std([one.value for one in found], ddof=1))
    assert scatter == pytest.approx(np.mean([one.u for one in found]), rel=0.3)


def test_a_coarse_converter_without_noise_is_in_the_uncertainty() -> None:
    """The rounding of a 6-bit converter repeats with the tones and makes harmonics of its own."""
    rng, step, z = np.random.default_rng(7), 2.0 / 64, []
    for _ in range(20):
        p90, p150 = rng.uniform(0.0, 2.0 * np.pi, 2)
        truth = replace(WITH_HARMONICS, c0=1.0, rate_hz=9000.0, p90=p90, p150=p150)
        v = (np.floor(clean(truth) / step) + 0.5) * step
        found = second_harmonic_90(v, analyze_samples(v, 9000.0))
        z.append((found.value - 0.03) / found.u)
    # Were it taken for noise it would be 4 and more.
    assert np.std(z) < 1.5


def test_no_two_lines_are_nearer_than_the_record_can_tell() -> None:
    """60 Hz of the mains falls on the product of the tones at 150 - 90 Hz."""
    v = record(Truth(rate_hz=10_000.0, duration_s=0.5, hum=0.02, f_hum=60.0, ident=0.1),
               np.random.default_rng(6))  # fmt: skip
    lines = np.sort(envelope_lines(analyze_samples(v, 10_000.0)))
    assert np.diff(lines).min() > 2.0
    assert lines[-1] == pytest.approx(1020.0, abs=0.1)
