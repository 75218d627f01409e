"""What a coarse converter adds to the uncertainty when no noise smooths its steps.

Beside noise of half a step or more, rounding acts like white noise of step / sqrt(12) and is
already in the residual (B. Widrow, Quantization Noise, 2008, from memory). Without it the error
repeats with the tones every 1/30 s and falls on the tones themselves, however long the record: it
averages over one such period only.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from daq.samples.lowpass import Floats

_LOOKED_AT: Final = 1024
_DISTINCT: Final = 0.95
_COMMON_HZ: Final = 30.0


def quantisation_step(v: Floats) -> float:
    """Return the converter's step, unit of `v`; 0 if the values do not lie on steps."""
    levels = np.sort(v[:_LOOKED_AT])
    gaps = np.diff(levels)
    apart = gaps > 1e-9 * (levels[-1] - levels[0])
    if not 0 < np.count_nonzero(apart) <= _DISTINCT * len(levels):
        return 0.0
    return float(gaps[apart].min())


def repeated_error_variance(
    step: float, noise_v: float, swing_v: float, slip_hz: float, record: tuple[int, float]
) -> float:
    """Return the variance of the mean that rounding adds because it repeats; V^2.

    Parameters
    ----------
    step
        Of the converter; 0 where there is none.
    noise_v
        Standard deviation of a sample, rounding included.
    swing_v
        Sum of the tones' amplitudes.
    slip_hz
        How fast the tones slip against each other: each step's worth of slip is a new pattern.
    record
        Samples and rate in hertz.
    """
    if step == 0.0:
        return 0.0
    samples, rate_hz = record
    own_variance = max(noise_v**2 - step**2 / 12.0, 0.0)
    kept = np.exp(-4.0 * np.pi**2 * own_variance / step**2)
    patterns = 1.0 + 2.0 * np.pi * abs(slip_hz) * samples / rate_hz * swing_v / step
    # As many independent errors in a period as there are samples, or crossings of a step.
    crossings = 4.0 * 150.0 / _COMMON_HZ * swing_v / step
    independent = patterns * min(rate_hz / _COMMON_HZ, max(crossings, 1.0))
    return float(kept * step**2 / 12.0 / min(independent, samples))
