import numpy as np
import pytest
from scipy import signal

from daq.samples.lowpass import MIN_BASEBAND_HZ, to_baseband


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 48_000.0, 250_000.0])
def test_a_sinusoid_keeps_its_amplitude_once_the_gain_is_divided_out(rate_hz: float) -> None:
    t = np.arange(round(0.5 * rate_hz)) / rate_hz
    band = to_baseband(np.cos(2.0 * np.pi * 1020.0 * t + 0.4), rate_hz)
    place = band.start_s + np.arange(len(band.v)) / band.rate_hz
    expected = np.cos(2.0 * np.pi * 1020.0 * place + 0.4) * band.gain(np.array([1020.0]))
    np.testing.assert_allclose(band.v, expected, atol=1e-9)


def test_gain_agrees_with_scipy_freqz() -> None:
    band = to_baseband(np.zeros(4800), 48_000.0)
    frequency_hz = np.array([0.0, 90.0, 600.0, 1020.0, 2900.0])
    _, response = signal.freqz(band.low_pass.taps, worN=frequency_hz, fs=48_000.0)
    np.testing.assert_allclose(np.abs(band.gain(frequency_hz)), np.abs(response), atol=1e-12)


def test_what_would_fold_onto_the_tones_is_rejected_by_70_db() -> None:
    band = to_baseband(np.zeros(4800), 48_000.0)
    folding_hz = np.concatenate(
        [k * band.rate_hz + np.linspace(-620.0, 620.0, 50) for k in (1, 2, 3)]
    )
    assert np.abs(band.gain(folding_hz)).max() < 10.0 ** (-70.0 / 20.0)


def test_the_rate_stays_above_what_the_ident_needs() -> None:
    for rate_hz in (2_500.0, 8_000.0, 11_025.0, 96_000.0):
        band = to_baseband(np.zeros(round(rate_hz)), rate_hz)
        assert band.rate_hz >= min(rate_hz, MIN_BASEBAND_HZ)


def test_the_mean_passes_unchanged() -> None:
    assert to_baseband(np.zeros(999), 48_000.0).gain(np.array([0.0])) == (pytest.approx(1.0))
