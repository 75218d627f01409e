"""What a technician should know before trusting the numbers of an analysis."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from daq.reading import IMPOSSIBLE_DDM
from daq.samples.model import Analysis

TONE_TOLERANCE: Final = 0.025
"""Widest tone frequency tolerance (ICAO Annex 10, volume I, 3.1.3.5.3, from memory)."""

_PRESENT: Final = 5.0
"""A depth of fewer standard uncertainties than this is not told from noise."""

_LOCKED_HZ: Final = 0.01
_FULL_MODULATION: Final = 0.95
_NOISY: Final = 0.1


def cautions(analysis: Analysis) -> tuple[str, ...]:
    """Return a sentence for each thing that limits what the numbers mean."""
    return (*_about_tones(analysis), *_about_carrier(analysis), *_about_others(analysis))


def _about_tones(analysis: Analysis) -> Iterator[str]:
    tones = (
        ("90 Hz", 90.0, analysis.depth_90, analysis.tone_90_hz),
        ("150 Hz", 150.0, analysis.depth_150, analysis.tone_150_hz),
    )
    for name, nominal_hz, depth, frequency in tones:
        if depth.value < _PRESENT * depth.u:
            yield f"The {name} tone does not stand out of the noise: its depth is an upper bound."
        elif abs(frequency.value / nominal_hz - 1.0) > TONE_TOLERANCE:
            yield (
                f"The {name} tone is at {frequency.value:.3f} Hz, more than"
                f" {100 * TONE_TOLERANCE:g} per cent off."
            )
    f90, f150 = analysis.tone_90_hz, analysis.tone_150_hz
    slip_hz = f150.value - 5.0 / 3.0 * f90.value
    if abs(slip_hz) > max(_LOCKED_HZ, 4.0 * float(np.hypot(f150.u, 5.0 / 3.0 * f90.u))):
        yield (
            f"The tones are not locked: 150 Hz slips {slip_hz:+.3g} Hz against 90 Hz, so their"
            " phase holds for the middle of the record only."
        )


def _about_carrier(analysis: Analysis) -> Iterator[str]:
    if abs(analysis.ddm.value) > IMPOSSIBLE_DDM:
        yield (
            f"|DDM| is above {IMPOSSIBLE_DDM:g}: a tone's depth has folded, and the figure says"
            " nothing about position."
        )
    if analysis.sdm.value > _FULL_MODULATION:
        yield (
            f"The depths add up to {analysis.sdm.value:.3f}: over-modulated, or the input has lost"
            " part of its DC component."
        )
    if analysis.noise_v.value > _NOISY * analysis.carrier_v.value and (
        analysis.carrier_offset_hz is not None
    ):
        yield "The noise lifts the envelope of complex input: depths read low."


def _about_others(analysis: Analysis) -> Iterator[str]:
    if analysis.hum_hz is None:
        return
    product_hz = analysis.tone_150_hz.value - analysis.tone_90_hz.value
    if abs(analysis.hum_hz.value - product_hz) < max(0.05, 4.0 * analysis.hum_hz.u):
        yield "What is listed as hum may be the product of the tones at 60 Hz."
