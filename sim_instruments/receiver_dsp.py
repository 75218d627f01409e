"""How a navigation receiver gets its numbers: envelope, tone phasors, magnitudes.

The envelope |z| is low-passed by moving means over a period of the 9.5 kHz beat of two carriers,
and then correlated with each tone over windows of 1/30 s, in which 90 and 150 Hz have whole
numbers of cycles and do not see each other or the mean. What is left of two carriers is the
capture effect.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim_instruments.signals import ComplexArray, FloatArray

RATE_HZ = 48_000.0
"""Wide enough for the beat of two carriers 9.5 kHz apart and its first harmonic."""
WINDOWS_PER_S = 30
BEAT_HZ = 9500.0
"""Beat of the two carriers, where the low-pass after the detector has its zero."""


@dataclass(frozen=True, slots=True)
class Demodulated:
    """What the receiver knows after one integration.

    Attributes
    ----------
    carrier
        Mean of the envelope, same unit as the samples.
    depth_90, depth_150
        Magnitude of each tone over the mean, ratio.
    tone_90_hz, tone_150_hz
        Tone frequencies, Hz, from the phase that each tone gains from window to window.
    """

    carrier: float
    depth_90: float
    depth_150: float
    tone_90_hz: float
    tone_150_hz: float

    @property
    def ddm(self) -> float:
        """m150 - m90: positive when 150 Hz predominates."""
        return self.depth_150 - self.depth_90

    @property
    def sdm(self) -> float:
        """m150 + m90."""
        return self.depth_150 + self.depth_90


@lru_cache(maxsize=8)
def _basis(window: int, block: int, rate_hz: float) -> FloatArray:
    """Return cosines and sines of both tones over one window, shape ``(window, 4)``.

    The small droop of two means over `block` samples, the square of sin(b x) / (b sin x) at
    x = pi f / rate, is taken back here.
    """
    t_s = np.arange(window) / rate_hz
    columns = []
    for tone_hz in (90.0, 150.0):
        x = math.pi * tone_hz / rate_hz
        droop = (math.sin(block * x) / (block * math.sin(x))) ** 2
        angle = 2 * math.pi * tone_hz * t_s
        columns += [np.cos(angle) / droop, np.sin(angle) / droop]
    return np.stack(columns, axis=1) * (2 / window)


def _low_passed(envelope: FloatArray, block: int) -> FloatArray:
    """Return the moving mean of the moving mean over `block` samples; the ends meet."""
    mean = np.full(block, 1 / block)
    wrapped = np.concatenate(
        [envelope[len(envelope) - block + 1 :], envelope, envelope[: block - 1]]
    )
    return np.convolve(wrapped, np.convolve(mean, mean), mode="valid")


def demodulate(samples: ComplexArray, rate_hz: float = RATE_HZ) -> Demodulated:
    """Demodulate complex baseband.

    Parameters
    ----------
    samples
        Shape ``(n,)``; what is left over after whole windows of 1/30 s is not used.
    rate_hz
        Samples per second, a multiple of 30.

    Raises
    ------
    ValueError
        Shorter than one window, or a rate that gives no whole window.
    """
    window = round(rate_hz / WINDOWS_PER_S)
    if not math.isclose(window * WINDOWS_PER_S, rate_hz):
        raise ValueError(f"{rate_hz} samples per second give no whole number in 1/30 s")
    windows = len(samples) // window
    if windows < 1:
        raise ValueError(f"{len(samples)} samples are less than one window of {window}")
    block = max(1, round(rate_hz / BEAT_HZ))
    smooth = _low_passed(np.abs(samples[: windows * window]), block)
    parts = smooth.reshape(windows, window) @ _basis(window, block, rate_hz)
    carrier = float(smooth.mean())
    depth_90, tone_90_hz = _tone(parts[:, 0] - 1j * parts[:, 1], 90.0)
    depth_150, tone_150_hz = _tone(parts[:, 2] - 1j * parts[:, 3], 150.0)
    # Without any carrier there is no depth; the level tells the receiver that nothing is there.
    over = max(carrier, np.finfo(float).tiny)
    return Demodulated(carrier, depth_90 / over, depth_150 / over, tone_90_hz, tone_150_hz)


def _tone(phasors: ComplexArray, nominal_hz: float) -> tuple[float, float]:
    """Return amplitude and frequency (Hz) of a tone from its phasor in each window."""
    if len(phasors) < 2:
        return float(abs(phasors[0])), nominal_hz
    step_rad = float(np.angle(np.vdot(phasors[:-1], phasors[1:])))
    turned_back = phasors * np.exp(-1j * step_rad * np.arange(len(phasors)))
    return float(abs(turned_back.mean())), nominal_hz + step_rad * WINDOWS_PER_S / (2 * math.pi)
