import numpy as np
import pytest

from daq.samples.search import Spectrum, WindowedSpectrum

RATE_HZ = 3000.0


def tone(frequency_hz: float, duration_s: float = 1.0, amplitude: float = 0.7) -> np.ndarray:
    t = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    return amplitude * np.cos(2.0 * np.pi * frequency_hz * t + 1.0)


@pytest.mark.parametrize("duration_s", [0.2, 1.0, 3.0])
@pytest.mark.parametrize("off", [-0.025, 0.0, 0.013, 0.025])
def test_a_line_is_found_within_a_twentieth_of_the_inverse_duration(
    duration_s: float, off: float
) -> None:
    true_hz = 150.0 * (1.0 + off)
    peak = Spectrum(tone(true_hz, duration_s), RATE_HZ).strongest_near(150.0, 4.5)
    assert abs(peak.frequency_hz - true_hz) < 0.05 / duration_s
    assert peak.amplitude == pytest.approx(0.7, rel=0.15)


@pytest.mark.parametrize("duration_s", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("true_hz", [146.0, 149.5, 150.0, 153.2])
def test_through_the_window_within_a_thousandth_beside_another_tone(
    duration_s: float, true_hz: float
) -> None:
    v = tone(true_hz, duration_s) + tone(90.7, duration_s)
    peak = WindowedSpectrum(v, RATE_HZ).strongest_near(150.0, 4.5)
    assert abs(peak.frequency_hz - true_hz) < 0.001 / duration_s
    assert 0.84 * 0.7 < peak.amplitude < 1.01 * 0.7


def test_a_skirt_is_the_most_that_a_tone_adds_elsewhere() -> None:
    spectrum = WindowedSpectrum(tone(90.3), RATE_HZ)
    peak = spectrum.strongest_near(90.0, 2.7)
    for hz in np.arange(96.0, 140.0, 3.3):
        assert spectrum.strongest_near(hz, 0.6).amplitude < 1.3 * spectrum.skirt(peak, hz - 1.6)


def test_amplitudes_read_at_most_nine_tenths_of_a_decibel_low() -> None:
    """Half the window's lobe to the next line: sin(pi/4) / (pi/4) = 0.900."""
    for hz in np.arange(181.0, 182.0, 0.03):
        (seen,) = Spectrum(tone(hz), RATE_HZ).amplitude_at(np.array([hz]))
        assert 0.895 < seen / 0.7 < 1.005


def test_white_noise_has_its_variance_in_any_part_of_the_band() -> None:
    v = 0.3 * np.random.default_rng(1).standard_normal(30_000)
    assert Spectrum(v, RATE_HZ).variance_below(1200.0) == pytest.approx(0.09, rel=0.04)


def test_no_sample_is_overlooked() -> None:
    """By Parseval's theorem all of a click's energy is seen, wherever it is."""
    for place in (0, 500, 1008):
        v = np.zeros(1009)
        v[place] = 1.0
        assert Spectrum(v, RATE_HZ).variance_below(1200.0) == pytest.approx(1.0 / 1009.0)
