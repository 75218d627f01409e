"""What a record must be before anybody looks for tones in it. Each refusal says what to do."""

from __future__ import annotations

from math import isfinite
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.lowpass import Complexes, Floats

MIN_DURATION_S: Final = 0.1
"""Three periods of the 30 Hz on which both tones repeat."""

MIN_RATE_HZ: Final = 2500.0
"""Twice the upper end of the band, the ident at 1020 Hz with its 50 Hz of reach included."""

_LEVELS: Final = (1e-30, 1e30)
_FROZEN_S: Final = 0.02
_PLATEAU: Final = 8
_PLATEAU_TO_SHOULDER: Final = 4
_ROUNDING: Final = 1e-12


def check_rate(rate_hz: float) -> None:
    """Raise `SamplesError` if `rate_hz` cannot carry the modulation."""
    if not isfinite(rate_hz) or rate_hz <= 0.0:
        raise SamplesError(
            f"The sample rate is given as {rate_hz:g} Hz.", hint="give the rate in hertz."
        )
    if rate_hz < MIN_RATE_HZ:
        raise SamplesError(
            f"Sample rate too low: {rate_hz:g} Hz; the ident at 1020 Hz needs at least"
            f" {MIN_RATE_HZ:g} Hz.",
            hint="sample faster: 8 kHz or more for detector output.",
        )


def check_length(samples: int, rate_hz: float) -> None:
    """Raise `SamplesError` if the record is empty or too short to tell the tones apart."""
    if samples == 0:
        raise SamplesError("The record is empty: no samples.", hint="record again.")
    if samples < MIN_DURATION_S * rate_hz:
        raise SamplesError(
            f"Record too short: {samples / rate_hz * 1e3:.4g} ms ({samples} samples at"
            f" {rate_hz:g} Hz); the tones need at least {MIN_DURATION_S * 1e3:g} ms.",
            hint="record 0.2 s or more; on an oscilloscope, 20 ms a division or slower.",
        )


def check_finite(v: Floats | Complexes) -> None:
    """Raise `SamplesError` if a sample is NaN or infinite."""
    # One sum is much faster than looking at each; only a bad record is looked at again.
    if np.isfinite(v.sum()):
        return
    bad = np.flatnonzero(~np.isfinite(v))
    if len(bad) == 0:
        raise SamplesError("Sample values are too large to add up.", hint="check the file's scale.")
    raise SamplesError(
        f"{len(bad)} of {len(v)} samples are not numbers (NaN or infinite), the first at sample"
        f" {bad[0]}.",
        hint="export the record again, or cut that part out.",
    )


def extremes(v: Floats) -> tuple[float, float]:
    """Return the lowest and the highest value; both NaN where a sample is."""
    return float(v.min()), float(v.max())


def check_alive(v: Floats, rate_hz: float, ends: tuple[float, float]) -> None:
    """Raise `SamplesError` if the input is dead, or stood still for 20 ms or more.

    Parameters
    ----------
    v
        Shape (n,), finite.
    rate_hz
        Samples per second.
    ends
        The `extremes` of `v`.
    """
    low, high = ends
    if low == high:
        raise SamplesError(
            f"Dead input: every sample is {low:g}.",
            hint="check probe, cable, channel and detector; then record again.",
        )
    if not _LEVELS[0] < max(-low, high) < _LEVELS[1]:
        raise SamplesError(
            f"The values reach from {low:.3g} to {high:.3g}, which no detector gives.",
            hint="check the file's scale and format.",
        )
    stride = max(1, int(_FROZEN_S * rate_hz / 4.0))
    probe = v[::stride]
    same = probe[1:] == probe[:-1]
    if not same.any():
        return
    for start in np.flatnonzero(same[2:] & same[1:-1] & same[:-2]) * stride:
        stretch = v[start : start + 3 * stride + 1]
        if np.all(stretch == stretch[0]):
            raise SamplesError(
                f"Frozen input: from {start / rate_hz:.4g} s the value stays at {stretch[0]:g}"
                f" for {3 * stride / rate_hz * 1e3:.3g} ms or more.",
                hint="look for a loose cable or dropped samples; then record again.",
            )


def check_clipping(v: Floats, ends: tuple[float, float]) -> None:
    """Raise `SamplesError` if samples pile up at the record's highest or lowest value.

    A smooth peak of a quantised signal holds a few samples at its top level and as many on the
    levels just below; a clipped one holds many more at the top.

    Parameters
    ----------
    v
        Shape (n,), finite.
    ends
        The `extremes` of `v`.
    """
    low, high = ends
    _check_top(v, high, "highest")
    # Computed records repeat their peaks but for rounding.
    if np.count_nonzero(v <= low + _ROUNDING * abs(low)) >= _PLATEAU:
        _check_top(-v, -low, "lowest")


def _check_top(values: Floats, top: float, word: str) -> None:
    nearly = top - _ROUNDING * abs(top)
    at_top = int(np.count_nonzero(values >= nearly))
    if at_top < _PLATEAU:
        return
    lower = values[values < nearly]
    if len(lower) == 0:
        return
    below = float(lower.max())
    shoulder = int(np.count_nonzero(values >= top - 3.5 * (top - below))) - at_top
    if at_top > _PLATEAU_TO_SHOULDER * shoulder:
        level = top if word == "highest" else -top
        raise SamplesError(
            f"Clipped: {at_top} samples lie at the {word} value, {level:g}; the peaks are"
            " cut off and every depth would be wrong.",
            hint="more volts a division, less gain or less level; then record again.",
        )


def check_samples(v: Floats, rate_hz: float) -> None:
    """Run every check that real samples must pass.

    Raises
    ------
    SamplesError
        With what was found and what to do.
    """
    check_rate(rate_hz)
    check_length(len(v), rate_hz)
    ends = extremes(v)
    if not (isfinite(ends[0]) and isfinite(ends[1])):
        check_finite(v)
    check_alive(v, rate_hz, ends)
    check_clipping(v, ends)
