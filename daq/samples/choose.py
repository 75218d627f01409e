"""Choose which sinusoids a record holds, then fit them together.

Starts from the two tones and what cannot be overlooked beside them. What the residual shows beyond
noise is added (mains, ident, harmonics, products), the fit repeated, and what does not stand up in
the joint fit is dropped again. A term that is not there costs precision; one that is there and left
out costs truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.samples.fit import Fit, fit
from daq.samples.lines import Weights
from daq.samples.lowpass import BAND_HZ, Baseband, Floats
from daq.samples.search import WindowedSpectrum
from daq.samples.terms import (
    F90,
    F150,
    HUM,
    HUM_2,
    IDENT,
    IDENT_TONE,
    MAINS,
    TIED,
    TONE_90,
    TONE_150,
    Term,
    mixes,
)

NOMINAL_HZ: Final = np.array([90.0, 150.0, 1020.0, 50.0])

_TONE_REACH: Final = 0.03
_MAINS_REACH_HZ: Final = 1.0
_LOOSE: Final = (
    (IDENT_TONE, IDENT, 1020.0, 50.0),
    (HUM, MAINS, 50.0, _MAINS_REACH_HZ),
    (HUM, MAINS, 60.0, _MAINS_REACH_HZ),
    (HUM_2, MAINS, 100.0, 2.0 * _MAINS_REACH_HZ),
    (HUM_2, MAINS, 120.0, 2.0 * _MAINS_REACH_HZ),
)
"""Terms with a frequency of their own: its place, and where it is looked for."""
_REACHES: Final = tuple((nominal_hz, reach_hz) for _, _, nominal_hz, reach_hz in _LOOSE)

_QUIET_HZ: Final = (620.0, 950.0)
"""Between the highest harmonic that is looked for and the ident."""
_OBVIOUS: Final = 5.0
"""A line so many times above noise, and above the skirts of the tones, needs no second look."""
_SIGNIFICANT: Final = 7.0
"""Least squared amplitude over twice its variance: noise alone passes once in 1,100."""
_APART: Final = 1.2
"""Two terms are told apart only if this many inverse durations lie between them."""
_ROUNDS: Final = 4


@dataclass(frozen=True, slots=True)
class _Found:
    term: Term
    free_hz: float
    strength: float


def first_fit(band: Baseband) -> Fit:
    """Fit the two tones, each found within 3 per cent of its nominal frequency.

    An ident and a mains line that cannot be overlooked are fitted with them.
    """
    free_hz = NOMINAL_HZ.copy()
    # The mean is far larger than the tones, and would move a weak line.
    spectrum = WindowedSpectrum(band.v - band.v.sum() / len(band.v), band.rate_hz)
    tones = [
        spectrum.strongest_near(NOMINAL_HZ[place], _TONE_REACH * NOMINAL_HZ[place])
        for place in (F90, F150)
    ]
    free_hz[F90], free_hz[F150] = (tone.frequency_hz for tone in tones)
    terms = [TONE_90, TONE_150]
    floor = spectrum.level(*_QUIET_HZ)
    seen = {IDENT: floor, MAINS: floor}
    obvious = spectrum.loudest(_REACHES) > _OBVIOUS * floor
    for term, place, nominal_hz, reach_hz in _LOOSE if obvious else ():
        line = spectrum.strongest_near(nominal_hz, reach_hz)
        if line.amplitude < max(_OBVIOUS * floor, seen[place]):
            continue
        skirts = sum(spectrum.skirt(tone, line.frequency_hz) for tone in tones)
        if line.amplitude > _OBVIOUS * skirts:
            seen[place] = line.amplitude
            free_hz[place] = line.frequency_hz / term.mix[place]
            terms = [one for one in terms if not one.mix[place]] + [term]
    return fit(band, tuple(terms), free_hz)


def grow(band: Baseband, start: Fit, weights: Weights | None = None) -> Fit:
    """Add what the residual shows, drop what does not stand up, until nothing changes."""
    now = _without_weak(band, start, weights)
    for _ in range(_ROUNDS):
        added, free_hz = _additions(band, now, weights)
        if not added:
            break
        before = now
        now = _without_weak(band, fit(band, now.terms + added, free_hz, weights), weights)
        if set(now.terms) == set(before.terms):
            break
    return now


def _additions(
    band: Baseband, now: Fit, weights: Weights | None
) -> tuple[tuple[Term, ...], Floats]:
    """Return the terms that the residual shows and that can be told apart from the others."""
    duration_s = len(band.v) / band.rate_hz
    tied, loose = _tied(band, now), _loose(band, now, duration_s)
    if weights is not None and not weights.ever_on:
        loose = [one for one in loose if not one.term.mix[IDENT]]
    if not tied and not loose:
        return (), now.free_hz
    # Where both explain a line, such as one at 60 Hz, the one with its own frequency fits it.
    found = sorted([*loose, *tied], key=lambda one: -one.strength / (1.0 + (one in tied)))
    taken = [0.0, *now.frequency_hz]
    free_hz = now.free_hz.copy()
    chosen: list[Term] = []
    mains_known = any(term.mix[MAINS] for term in now.terms)
    for one in found:
        trial = free_hz.copy()
        if one.term.mix[IDENT]:
            trial[IDENT] = one.free_hz
        elif one.term.mix[MAINS] and not mains_known:
            trial[MAINS] = one.free_hz
        elif one.term.mix[MAINS] and abs(one.free_hz - trial[MAINS]) > _MAINS_REACH_HZ:
            continue
        frequency = float(np.dot(one.term.mix, trial))
        if min(abs(frequency - other) for other in taken) * duration_s < _APART:
            continue
        free_hz = trial
        mains_known |= one.term.mix[MAINS] != 0
        taken.append(frequency)
        chosen.append(one.term)
    return tuple(chosen), free_hz


def _loose(band: Baseband, now: Fit, duration_s: float) -> list[_Found]:
    """Look for ident and mains, whose frequencies are their own."""
    per_square = _per_square(band, now)
    if now.spectrum.loudest(_REACHES) ** 2 * per_square < _SIGNIFICANT:
        return []
    found: list[_Found] = []
    for term, place, nominal_hz, reach_hz in _LOOSE:
        if term in now.terms:
            continue
        peak = now.spectrum.strongest_near(nominal_hz, reach_hz)
        strength = peak.amplitude**2 * per_square
        # Several independent places were searched; each has its own chance to be large.
        if strength > _SIGNIFICANT + math.log1p(2.0 * reach_hz * duration_s):
            found.append(_Found(term, peak.frequency_hz / term.mix[place], strength))
    return found


def _tied(band: Baseband, now: Fit) -> list[_Found]:
    """Look for harmonics and products of the tones."""
    # A tone that is not there may have been sought anywhere, its harmonics beyond the band.
    frequency_hz = np.minimum(np.maximum(mixes(TIED).mix @ now.free_hz, 0.0), BAND_HZ)
    strength = now.spectrum.amplitude_at(frequency_hz) ** 2 * _per_square(band, now)
    return [
        _Found(TIED[k], 0.0, float(strength[k]))
        for k in np.flatnonzero(strength > _SIGNIFICANT)
        if TIED[k] not in now.terms and 0.0 < frequency_hz[k] < BAND_HZ
    ]


def _per_square(band: Baseband, now: Fit) -> float:
    """Return what makes a squared amplitude a strength: 1 / twice the variance of a quadrature."""
    return len(band.v) / (4.0 * now.sigma_v**2)


def _without_weak(band: Baseband, now: Fit, weights: Weights | None) -> Fit:
    """Fit again without the terms that do not stand up; the tones always stay."""
    if len(now.terms) == 2:
        return now
    weak = [
        term
        for term, strength in zip(now.terms, now.strength.tolist(), strict=True)
        if strength < _SIGNIFICANT and term not in (TONE_90, TONE_150)
    ]
    if not weak:
        return now
    kept = tuple(term for term in now.terms if term not in weak)
    return fit(band, kept, now.free_hz, weights)
