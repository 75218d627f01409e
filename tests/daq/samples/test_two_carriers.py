"""Tones of two carriers in one detector, from waveforms that are summed as carriers are."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from daq.errors import SamplesError
from daq.samples.model import Estimate
from daq.samples.two_carriers import CarrierTones, compare_carriers

RATE_HZ = 40_000.0
N = 20_000
Floats = npt.NDArray[np.float64]


def modulated(phase_90_deg: float, phase_150_deg: float, *, off: float = 0.0) -> Floats:
    """A carrier's envelope; `off` is a part by which its tones are too fast."""
    t = np.arange(N) / RATE_HZ
    # The tones pass the middle of the record with the phases that are asked for.
    middle = t - (N - 1) / 2.0 / RATE_HZ
    s90 = np.sin(2.0 * np.pi * 90.0 * (1.0 + off) * middle + 0.7 + math.radians(phase_90_deg))
    s150 = np.sin(2.0 * np.pi * 150.0 * (1.0 + off) * middle + 2.1 + math.radians(phase_150_deg))
    return np.asarray(1.0 + 0.2 * s90 + 0.2 * s150)


def detected(
    lead: tuple[float, float], *, ratio: float = 0.5, beat_hz: float = 9500.0, off: float = 0.0
) -> Floats:
    """|a + b exp(j w t)|: what a linear detector makes of both."""
    turn = np.exp(1j * (2.0 * np.pi * beat_hz * np.arange(N) / RATE_HZ + 0.3))
    return np.asarray(np.abs(modulated(0.0, 0.0) + ratio * turn * modulated(*lead, off=off)))


@pytest.mark.parametrize("lead", [(0.0, 0.0), (12.0, -17.0), (-35.0, 28.0), (50.0, 50.0)])
@pytest.mark.parametrize("beat_hz", [3600.0, 5003.7, 9500.0, 13_991.2])
def test_both_phases_come_out_as_they_were_put_in(
    lead: tuple[float, float], beat_hz: float
) -> None:
    found = compare_carriers(detected(lead, beat_hz=beat_hz), RATE_HZ)
    assert found.phase_90_deg.value == pytest.approx(lead[0], abs=0.01)
    assert found.phase_150_deg.value == pytest.approx(lead[1], abs=0.01)
    assert found.ratio == pytest.approx(0.5, abs=1e-3)
    assert found.beat_hz == pytest.approx(beat_hz, abs=2.0)
    assert found.locked


def test_for_a_weak_second_carrier_it_agrees_with_plain_demodulation_of_the_beat() -> None:
    """b << a: the envelope's beat is b(t) cos(w t); scipy's analytic signal gives its envelope."""
    v = detected((25.0, -14.0), ratio=0.02)
    band = signal.butter(4, (8000.0, 11_000.0), "bandpass", fs=RATE_HZ, output="sos")
    beat = np.abs(signal.hilbert(signal.sosfiltfilt(band, v)))[2000:-2000]
    t = (np.arange(N) - (N - 1) / 2.0)[2000:-2000] / RATE_HZ
    turn = {hz: np.exp(-2j * np.pi * hz * t) for hz in (90.0, 150.0)}
    plain = [
        math.degrees(np.angle((beat @ turn[hz]) / (modulated(0, 0)[2000:-2000] @ turn[hz])))
        for hz in (90.0, 150.0)
    ]
    found = compare_carriers(v, RATE_HZ)
    assert found.phase_90_deg.value == pytest.approx(plain[0], abs=0.5)
    assert found.phase_150_deg.value == pytest.approx(plain[1], abs=0.5)


@pytest.mark.parametrize("lead", [(20.0, 20.0), (-20.0, 10.0)])
def test_a_detector_that_is_slow_at_the_beat_stays_within_the_uncertainty(
    lead: tuple[float, float],
) -> None:
    """One RC pole at 40 kHz: 0.97 of the amplitude at 9.5 kHz, and 4 us of delay there."""
    spectrum = np.fft.rfft(detected(lead))
    pole = 1.0 / (1.0 + 1j * np.fft.rfftfreq(N, 1.0 / RATE_HZ) / 40_000.0)
    found = compare_carriers(np.fft.irfft(spectrum * pole, N), RATE_HZ)
    for one, true in zip((found.phase_90_deg, found.phase_150_deg), lead, strict=True):
        assert abs(one.value) < abs(true)
        assert abs(one.value - true) < 2.0 * one.u


def test_noise_is_in_the_uncertainty() -> None:
    """What it adds to that of a record without any is what the phases scatter.

    With the carriers 3 dB apart much of the noise in both is the same noise, and turns the one
    against the other.
    """
    rng, clean = np.random.default_rng(11), detected((3.0, -2.0), ratio=0.7)
    without = compare_carriers(clean, RATE_HZ)
    noise_v = 0.008 * rng.standard_normal((160, N))
    found = [compare_carriers(clean + each, RATE_HZ) for each in noise_v]
    for name in ("phase_90_deg", "phase_150_deg"):
        each = [getattr(one, name) for one in found]
        added = np.mean([one.u**2 for one in each]) - getattr(without, name).u ** 2
        scatter = np.std([one.value for one in each], ddof=1)
        assert scatter == pytest.approx(np.sqrt(added), rel=0.17)
        assert abs(np.mean([one.value for one in each]) - getattr(without, name).value) < scatter


def test_modulators_that_are_not_locked_are_seen_to_slip() -> None:
    """A thousandth too fast is 0.09 Hz of 90 Hz."""
    found = compare_carriers(detected((0.0, 0.0), off=1e-3), RATE_HZ)
    assert not found.locked
    assert found.slip_hz[0].value == pytest.approx(0.09, abs=0.01)


@pytest.mark.parametrize(
    ("samples", "rate_hz", "says"),
    [
        (detected((0.0, 0.0))[::4], 10_000.0, "do not carry the beat"),
        (modulated(0.0, 0.0), RATE_HZ, "No beat of two carriers"),
        (detected((0.0, 0.0), ratio=1.0), RATE_HZ, "too alike"),
    ],
)
def test_what_cannot_be_told_is_refused(samples: Floats, rate_hz: float, says: str) -> None:
    noise = 1e-4 * np.random.default_rng(2).standard_normal(len(samples))
    with pytest.raises(SamplesError, match=says):
        compare_carriers(samples + noise, rate_hz)


def test_clipping_is_refused() -> None:
    v = detected((0.0, 0.0))
    with pytest.raises(SamplesError, match=r"[Cc]lipped"):
        compare_carriers(np.minimum(v, 1.6), RATE_HZ)


def test_carrier_tones_that_only_shake_are_locked() -> None:
    still, slips = Estimate(0.001, 0.0005), Estimate(0.01, 0.001)
    one = Estimate(0.0, 0.1)
    assert CarrierTones(one, one, 9500.0, 0.5, (still, still)).locked
    assert not CarrierTones(one, one, 9500.0, 0.5, (still, slips)).locked
