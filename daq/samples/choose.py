"""Choose which sinusoids a record holds, then fit them together.

Starts from the two tones. What the residual shows beyond noise is added (mains, ident, harmonics,
products), the fit repeated, and what does not stand up in the joint fit is dropped again. A
term that is not there costs precision; one that is there and left out costs truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.samples.fit import Fit, Weights, fit
from daq.samples.lowpass import Baseband, Floats
from daq.samples.search import Peak, amplitudes_at, strongest_near
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
_IDENT_REACH_HZ: Final = 50.0
_MAINS_REACH_HZ: Final = 1.0
_MAINS_HZ: Final = (50.0, 60.0)
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
    """Fit the two tones alone, each found within 3 per cent of its nominal frequency."""
    free_hz = NOMINAL_HZ.copy()
    # The mean is far larger than the tones, and its skirts would move a weak line.
    v = band.v - band.v.mean()
    for place in (F90, F150):
        reach_hz = _TONE_REACH * NOMINAL_HZ[place]
        free_hz[place] = strongest_near(v, band.rate_hz, NOMINAL_HZ[place], reach_hz).frequency_hz
    return fit(band, (TONE_90, TONE_150), free_hz)


def grow(band: Baseband, start: Fit, weights: Weights | None = None) -> Fit:
    """Add what the residual shows, drop what does not stand up, until nothing changes."""
    now = start
    for _ in range(_ROUNDS):
        added, free_hz = _additions(band, now)
        if not added:
            break
        now = fit(band, now.terms + added, free_hz, weights)
        now = _prune(band, now, weights)
        if set(now.terms) == set(start.terms):
            break
        start = now
    return now


def _additions(band: Baseband, now: Fit) -> tuple[tuple[Term, ...], Floats]:
    """Return the terms that the residual shows and that can be told apart from the others."""
    duration_s = len(band.v) / band.rate_hz
    tied, loose = _tied(band, now), _loose(band, now, duration_s)
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
    found: list[_Found] = []
    searches = [(IDENT_TONE, NOMINAL_HZ[IDENT], _IDENT_REACH_HZ, 1)]
    for base_hz in _MAINS_HZ:
        searches.append((HUM, base_hz, _MAINS_REACH_HZ, 1))
        searches.append((HUM_2, 2.0 * base_hz, 2.0 * _MAINS_REACH_HZ, 2))
    for term, nominal_hz, reach_hz, multiple in searches:
        if term in now.terms:
            continue
        peak = strongest_near(now.residual, band.rate_hz, nominal_hz, reach_hz)
        strength = _strength(band, now, peak)
        # Several independent places were searched; each has its own chance to be large.
        if strength > _SIGNIFICANT + np.log(1.0 + 2.0 * reach_hz * duration_s):
            found.append(_Found(term, peak.frequency_hz / multiple, strength))
    return found


def _tied(band: Baseband, now: Fit) -> list[_Found]:
    """Look for harmonics and products of the tones."""
    candidates = [term for term in TIED if term not in now.terms]
    if not candidates:
        return []
    frequency_hz = mixes(tuple(candidates)) @ now.free_hz
    amplitude = amplitudes_at(now.residual, band.rate_hz, frequency_hz)
    peaks = [Peak(float(f), float(a)) for f, a in zip(frequency_hz, amplitude, strict=True)]
    strengths = [_strength(band, now, peak) for peak in peaks]
    return [
        _Found(term, 0.0, strength)
        for term, strength in zip(candidates, strengths, strict=True)
        if strength > _SIGNIFICANT
    ]


def _strength(band: Baseband, now: Fit, peak: Peak) -> float:
    """Squared amplitude over twice the variance of a quadrature, 2 sigma^2 / m."""
    return float(peak.amplitude**2 * len(band.v) / (4.0 * now.sigma_v**2))


def _prune(band: Baseband, now: Fit, weights: Weights | None) -> Fit:
    """Drop terms that the joint fit does not confirm; the tones always stay."""
    weak = [
        term
        for term, strength in zip(now.terms, now.strength(), strict=True)
        if strength < _SIGNIFICANT and term not in (TONE_90, TONE_150)
    ]
    if not weak:
        return now
    kept = tuple(term for term in now.terms if term not in weak)
    return fit(band, kept, now.free_hz, weights)
