"""What a technician should know before trusting the numbers of an analysis."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from daq.reading import IMPOSSIBLE_DDM
from daq.samples.model import Analysis, Estimate

TONE_TOLERANCE: Final = 0.025
"""Widest tone frequency tolerance (ICAO Annex 10, volume I, 3.1.3.5.3, from memory)."""

_PRESENT: Final = 5.0
"""A depth of fewer standard uncertainties than this is not told from noise."""

_WEAK: Final = 0.02
"""No localizer's tone where the other is absent, and the most that hum is likely to be."""

_MAINS_HZ: Final = 0.6
"""How far the third harmonic of 50 Hz mains may be from 150 Hz, the mains within 0.2 Hz (common
practice, no source)."""

_LOCKED_HZ: Final = 0.01
_FULL_MODULATION: Final = 0.95
_NOISY: Final = 0.1


def cautions(analysis: Analysis) -> tuple[str, ...]:
    """Return a sentence for each thing that limits what the numbers mean."""
    return (*_about_tones(analysis), *_about_carrier(analysis), *_about_others(analysis))


def may_be_mains(analysis: Analysis) -> bool:
    """Return whether the 150 Hz tone may be the third harmonic of 50 Hz mains.

    The two are the same line, and a record cannot tell them apart but by what goes with it: hum
    that was found tells to a few millihertz where its third harmonic is, and a tone stands well
    above any hum. 90 Hz is no multiple of any mains.
    """
    depth, f150 = analysis.depth_150, analysis.tone_150_hz
    hum, hum_hz = analysis.hum_depth, analysis.hum_hz
    if hum is None or hum_hz is None:
        return depth.value < _WEAK and abs(f150.value - 150.0) < _MAINS_HZ
    times = 3.0 / max(1, round(hum_hz.value / 50.0))
    away_hz = abs(f150.value - times * hum_hz.value)
    within_hz = max(_LOCKED_HZ, 4.0 * float(np.hypot(f150.u, times * hum_hz.u)))
    return depth.value < max(_WEAK, hum.value) and away_hz < within_hz


def stands_out(depth: Estimate) -> bool:
    """Return whether a tone of that depth is seen at all; if not, its frequency says nothing."""
    return depth.value >= _PRESENT * depth.u


def _about_tones(analysis: Analysis) -> Iterator[str]:
    tones = (
        ("90 Hz", 90.0, analysis.depth_90, analysis.tone_90_hz),
        ("150 Hz", 150.0, analysis.depth_150, analysis.tone_150_hz),
    )
    for name, nominal_hz, depth, frequency in tones:
        if not stands_out(depth):
            yield f"The {name} tone does not stand out of the noise: its depth is an upper bound."
        elif abs(frequency.value / nominal_hz - 1.0) > TONE_TOLERANCE:
            yield (
                f"The {name} tone is at {frequency.value:.3f} Hz, more than"
                f" {100 * TONE_TOLERANCE:g} per cent off."
            )
    if stands_out(analysis.depth_150) and may_be_mains(analysis):
        yield (
            "What is listed as the 150 Hz tone may be the third harmonic of 50 Hz mains, which is"
            f" the same line: it is {100 * analysis.depth_150.value:.2g} per cent deep."
        )
    if not (stands_out(analysis.depth_90) and stands_out(analysis.depth_150)):
        return
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
    offset = analysis.carrier_offset_hz
    if offset is not None and abs(offset.value) < max(_LOCKED_HZ, 4.0 * offset.u):
        yield (
            "The carrier stands still in the middle of the band: are the two channels I and Q? Of"
            " two detectors, give one."
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
