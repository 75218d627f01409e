"""The ident tone: where it is keyed on, and what its keying does to the rest.

A tone that is switched in the middle of a record is no steady sinusoid; fitted as one it would
leave energy everywhere. Its on-times are found from its own envelope and the fit is given a
gate. An abrupt switch also clicks down into the tones' band (a sinusoid of amplitude A at f,
switched once, reads as A / (pi (f - g) T) at g in a record of length T), so the 10 ms around each
are left out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from daq.samples.fit import Fit, Weights, phasors
from daq.samples.lowpass import Baseband, Floats
from daq.samples.search import piece_phasors
from daq.samples.terms import IDENT, IDENT_TONE

STEP_S: Final = 0.005
"""About the length of one envelope step; the shortest Morse dot in use is some ten times that."""

_OFF: Final = 0.5
_CLEARLY_OFF: Final = 0.25
_MOSTLY_KEPT: Final = 0.6
"""What would leave out more is no keying: even 0.1 s with one switching keeps three quarters."""
_PARTLY: Final = (0.1, 0.8)
"""Relative levels between which a step at an end may hold a switching; ripple stays above."""


def step_samples(rate_hz: float) -> int:
    """Return the samples in one envelope step."""
    return max(1, round(rate_hz * STEP_S))


def envelope(band: Baseband, now: Fit, weights: Weights | None = None) -> Floats:
    """Return the ident's amplitude in consecutive steps, shape (k,), unit of the record.

    Everything else that was fitted is taken out first.
    """
    rest = now.residual
    if IDENT_TONE in now.terms:
        place = now.terms.index(IDENT_TONE)
        tone = phasors(now.free_hz[[IDENT]], len(rest), band.rate_hz)[0]
        gain = band.gain(now.free_hz[[IDENT]])[0]
        own = gain * (now.a[place] * tone.real + now.b[place] * tone.imag)
        rest = rest + (own if weights is None else own * weights.gate * weights.keep)
    piece = step_samples(band.rate_hz)
    return np.abs(piece_phasors(rest, band.rate_hz, float(now.free_hz[IDENT]), piece))


def keying(band: Baseband, now: Fit) -> Weights | None:
    """Return the ident's gate, or None if it is absent, steady, or too weak to tell.

    Parameters
    ----------
    band
        The record after the low-pass.
    now
        A fit of it, the ident as a steady tone.
    """
    if IDENT_TONE not in now.terms:
        return None
    piece = step_samples(band.rate_hz)
    size = envelope(band, now)
    level = size / np.median(size[size > _OFF * size.max()])
    on = level > _OFF
    # Steps that are low by noise alone lie just below the threshold.
    if on.all() or (np.count_nonzero(~on) > 2 and np.median(level[~on]) > _CLEARLY_OFF):
        return None
    gate = np.repeat(on.astype(np.float64), piece)
    gate = np.concatenate([gate, np.full(len(band.v) - len(gate), float(on[-1]))])
    keep = np.ones(len(band.v))
    for edge in np.flatnonzero(on[1:] != on[:-1]) + 1:
        keep[(edge - 1) * piece : (edge + 1) * piece] = 0.0
    # The samples after the last whole step were not looked at.
    keep[len(on) * piece :] = 0.0
    for end in (0, len(on) - 1):
        if _PARTLY[0] < level[end] < _PARTLY[1]:
            keep[end * piece : (end + 1) * piece] = 0.0
    return Weights(keep=keep, gate=gate) if keep.mean() > _MOSTLY_KEPT else None
