import numpy as np
import pytest

from daq.samples.search import amplitudes_at, piece_phasors, strongest_near

RATE_HZ = 3000.0


def tone(frequency_hz: float, duration_s: float = 1.0, amplitude: float = 0.7) -> np.ndarray:
    t = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    return amplitude * np.cos(2.0 * np.pi * frequency_hz * t + 1.0)


@pytest.mark.parametrize("duration_s", [0.2, 1.0, 3.0])
@pytest.mark.parametrize("off", [-0.025, 0.0, 0.013, 0.025])
def test_a_tone_is_found_within_a_tenth_of_the_inverse_duration(
    duration_s: float, off: float
) -> None:
    true_hz = 150.0 * (1.0 + off)
    peak = strongest_near(tone(true_hz, duration_s), RATE_HZ, 150.0, 4.5)
    assert abs(peak.frequency_hz - true_hz) < 0.1 / duration_s
    assert peak.amplitude == pytest.approx(0.7, rel=0.05)


def test_pieces_of_a_tone_at_the_frequency_have_one_phase() -> None:
    parts = piece_phasors(tone(1020.0), RATE_HZ, 1020.0, 50)
    np.testing.assert_allclose(parts, parts.mean(), atol=1e-9)
    assert abs(parts[0]) == pytest.approx(0.7, rel=1e-9)


def test_amplitudes_equal_the_plain_fourier_sum() -> None:
    v = tone(181.3) + tone(301.0, amplitude=0.2)
    frequency_hz = np.array([181.3, 250.0, 301.0])
    used = (len(v) // int(np.sqrt(len(v)))) * int(np.sqrt(len(v)))
    n = np.arange(used)
    plain = [
        2.0 * abs(np.sum(v[:used] * np.exp(-2j * np.pi * f * n / RATE_HZ))) / used
        for f in frequency_hz
    ]
    np.testing.assert_allclose(amplitudes_at(v, RATE_HZ, frequency_hz), plain, rtol=1e-9)
