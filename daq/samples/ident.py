"""The ident tone: where it is keyed on, and what its keying does to the rest.

A tone that is switched in the middle of a record is no steady sinusoid; fitted as one it would
leave energy everywhere. Its on-times are found from its own envelope and the fit is given a
gate. Where too little of it is left to be measured, as where a block ends just after a letter has
begun, that part is left out instead and the ident counts as off.

An abrupt switch also clicks down into the tones' band (a sinusoid of amplitude A at f,
switched once, reads as A / (pi (f - g) T) at g in a record of length T), so the 10 ms around each
are left out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from daq.samples.fit import Fit
from daq.samples.lines import Weights, phasors
from daq.samples.lowpass import Baseband, Complexes
from daq.samples.terms import IDENT, IDENT_TONE

_OFF: Final = 0.5
_CLEARLY_OFF: Final = 0.25
_MOSTLY_KEPT: Final = 0.6
"""What would leave out more is no keying: even 0.1 s with one switching keeps three quarters."""
_FEWEST_ROWS: Final = 8
"""Of fewer, some 40 ms in all, phase and frequency can hardly be told apart; a dot has more."""
_FEWEST_SHARE: Final = 5
"""In a record so short that those are more than one row in five, that share is enough."""
_PARTLY: Final = (0.1, 0.8)
"""Relative levels between which a step at an end may hold a switching; ripple stays above."""


def ident_rows(band: Baseband, now: Fit, weights: Weights | None = None) -> Complexes:
    """Return the ident's complex amplitude in each row of `band`, shape (rows,).

    In the unit of the record; its phase is relative to the fitted frequency. Everything else that
    was fitted is taken out first. Zero where no ident was found.
    """
    if IDENT_TONE not in now.terms:
        return np.zeros(len(band.v) // band.piece, dtype=np.complex128)
    hz = now.free_hz[[IDENT]]
    rest = now.residual.reshape(-1, band.piece)
    within = phasors(hz, band.piece, band.rate_hz)[0].conj()
    between = phasors(hz, len(rest), band.rate_hz / band.piece)[0].conj()
    sums = (rest @ within.view(np.float64).reshape(-1, 2)).view(np.complex128)[:, 0]
    rows = sums * between * (2.0 / band.piece)
    place = now.terms.index(IDENT_TONE)
    own = band.gain(hz)[0] * (now.a[place] - 1j * now.b[place])
    rows += own if weights is None else own * weights.gate * weights.keep
    return np.asarray(rows)


def shift_hz(rows: Complexes, weights: Weights, row_hz: float) -> float:
    """Return how far the ident lies from the frequency at which its `rows` were taken.

    Keying spreads a tone's spectrum, and one of the side lobes may look like the tone; where the
    gate is known the rows that count add up at the true frequency only. Right within an eighth of
    the inverse of the duration.

    Parameters
    ----------
    rows
        See `ident_rows`.
    weights
        The gate, and what was left out.
    row_hz
        Rows per second.
    """
    size = 4 << (len(rows) - 1).bit_length()
    lines = np.abs(np.fft.fft(rows * weights.gate * weights.keep, size))
    top = int(lines.argmax())
    return (top if top < size // 2 else top - size) * row_hz / size


def keying(rows: Complexes) -> Weights | None:
    """Return the gate of an ident, or None if it is absent, steady, or too weak to tell.

    A gate that is never on says that the ident was keyed too briefly to be measured; where it was
    is left out.

    Parameters
    ----------
    rows
        Its `ident_rows` after a fit of it as a steady tone.
    """
    size = np.abs(rows)
    if not size.any():
        return None
    level = size / np.median(size[size > _OFF * size.max()])
    on = level > _OFF
    # Steps that are low by noise alone lie just below the threshold.
    if on.all() or (np.count_nonzero(~on) > 2 and np.median(level[~on]) > _CLEARLY_OFF):
        return None
    keep = np.ones(len(on))
    for edge in np.flatnonzero(on[1:] != on[:-1]) + 1:
        keep[edge - 1 : edge + 1] = 0.0
    for end in (0, -1):
        if _PARTLY[0] < level[end] < _PARTLY[1]:
            keep[end] = 0.0
    gate = on.astype(np.float64)
    if np.count_nonzero(gate * keep) < min(_FEWEST_ROWS, len(on) // _FEWEST_SHARE):
        keep[on] = 0.0
        gate[:] = 0.0
    weights = Weights(keep=keep, gate=gate)
    return weights if keep.mean() > _MOSTLY_KEPT else None
