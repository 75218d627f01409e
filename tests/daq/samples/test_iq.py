import numpy as np
import pytest
from scipy import special

from daq.errors import SamplesError
from daq.samples.analyze import analyze_samples
from daq.samples.iq import find_carriers

RATE_HZ = 64_000.0
T = np.arange(64_000) / RATE_HZ


def side(m90: float, m150: float) -> np.ndarray:
    return 1.0 + m90 * np.sin(2.0 * np.pi * 90.0 * T) + m150 * np.sin(2.0 * np.pi * 150.0 * T)


def carrier(offset_hz: float) -> np.ndarray:
    return np.asarray(np.exp(2j * np.pi * offset_hz * T + 0.3j))


def noise(sigma: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return sigma * (rng.standard_normal(len(T)) + 1j * rng.standard_normal(len(T)))


def test_one_carrier_gives_offset_and_ddm() -> None:
    z = side(0.17, 0.22) * carrier(-317.4) + noise(0.002, 1)
    a = analyze_samples(z, RATE_HZ)
    assert a.ddm.value == pytest.approx(0.05, abs=4.0 * a.ddm.u)
    assert a.carrier_offset_hz is not None
    assert a.carrier_offset_hz.value == pytest.approx(-317.4, abs=4.0 * a.carrier_offset_hz.u)
    assert a.second_carrier_hz is None


def test_the_offset_scatters_as_its_uncertainty_says() -> None:
    errors = []
    for seed in range(100):
        z = side(0.2, 0.2)[:12_800] * carrier(1234.56)[:12_800] + noise(0.05, seed)[:12_800]
        offset_hz = find_carriers(z, RATE_HZ).offset_hz
        errors.append((offset_hz.value - 1234.56) / offset_hz.u)
    # 100 records tell a standard deviation to 7 per cent.
    assert np.std(errors) == pytest.approx(1.0, abs=0.25)
    assert abs(np.mean(errors)) < 0.3


def test_the_second_carrier_is_reported() -> None:
    z = side(0.2, 0.2) * carrier(4000.0) + 0.3 * side(0.1, 0.3) * carrier(-4000.0)
    carriers = find_carriers(z + noise(0.003, 2), RATE_HZ)
    assert carriers.offset_hz.value == pytest.approx(4000.0, abs=0.01)
    assert carriers.second_hz is not None
    assert carriers.ratio is not None
    assert carriers.second_hz.value == pytest.approx(-4000.0, abs=0.01)
    assert carriers.ratio.value == pytest.approx(0.3, abs=5.0 * carriers.ratio.u)


@pytest.mark.parametrize("ratio", [0.1, 0.4, 0.8])
def test_capture_follows_the_elliptic_integral(ratio: float) -> None:
    """Mean envelope of two carriers over their beat: (2/pi)(A + B) E(4AB / (A + B)^2).

    The mean of |A + B exp(i x)| over x is a complete elliptic integral of the second kind
    (textbook; evaluated by scipy). Its Fourier coefficients over whole periods of 30 Hz are the
    depths that a receiver with a low-pass after its detector reads.
    """
    a, b = side(0.2, 0.2), ratio * side(0.05, 0.45)
    mean = 2.0 / np.pi * (a + b) * special.ellipe(4.0 * a * b / (a + b) ** 2)
    spectrum = 2.0 * np.abs(np.fft.rfft(mean)) / len(mean)
    expected = (spectrum[150] - spectrum[90]) / mean.mean()
    z = a * carrier(4000.0) + b * carrier(-4013.0) + noise(0.0003, 3)
    assert analyze_samples(z, RATE_HZ).ddm.value == pytest.approx(expected, abs=2e-5)


def test_noise_alone_is_refused() -> None:
    with pytest.raises(SamplesError, match="No carrier"):
        analyze_samples(noise(1.0, 4), RATE_HZ)


def test_a_carrier_at_the_centre_with_an_empty_q_is_no_dead_input() -> None:
    z = side(0.2, 0.25) * (1.0 + 0.0j)
    assert analyze_samples(z, RATE_HZ).ddm.value == pytest.approx(0.05, abs=1e-6)


@pytest.mark.parametrize(("offset_hz", "said"), [(0.0, True), (40.0, False)])
def test_a_carrier_that_stands_still_may_be_two_detectors(offset_hz: float, said: bool) -> None:
    """Real channels beside each other look like a carrier exactly in the middle."""
    a = analyze_samples(side(0.2, 0.25) * carrier(offset_hz) + noise(0.002, 7), RATE_HZ)
    assert any("are the two channels I and Q?" in w for w in a.warnings) is said


def test_noise_across_the_carrier_does_not_lift_the_mean() -> None:
    """Noise of 5 per cent lifts the bare envelope by sigma^2 / 2, over five uncertainties."""
    lifts, u = [], []
    for seed in range(20):
        z = side(0.2, 0.2) * carrier(500.0) + noise(0.05, 10 + seed)
        mean = analyze_samples(z, RATE_HZ).carrier_v
        lifts.append((mean.value - 1.0) / mean.u)
        u.append(mean.u)
    # 20 records tell a mean to 0.22 of one.
    assert abs(np.mean(lifts)) < 0.9
    assert 5.0 * max(u) < 0.05**2 / 2.0


def test_the_noise_is_that_of_either_component() -> None:
    z = side(0.2, 0.2) * carrier(500.0) + noise(0.02, 6)
    assert find_carriers(z, RATE_HZ).noise_v == pytest.approx(0.02, rel=0.03)


def test_noise_that_lifts_the_envelope_is_said() -> None:
    z = side(0.2, 0.2) * carrier(0.0) + noise(0.3, 5)
    assert any("depths read low" in warning for warning in analyze_samples(z, RATE_HZ).warnings)
