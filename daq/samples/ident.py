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
from daq.samples.lines import Weights, grid
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
_LOUD: Final = 6.0
"""Energy of a row over the median; in twelve samples or more noise alone hardly comes to four
times (chi-square distribution)."""
_SPOILT: Final = 100.0
"""What is so many times weaker than the loudest row may come from what that does to the fit."""
_FEW: Final = 0.1
"""Of more rows than this, or more than an ident needs to be found, it is no burst that is loud."""
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
    between, within = grid(len(rest), band.piece, band.rate_hz).phasors(hz)
    sums = (rest @ within.conj().view(np.float64)).view(np.complex128)
    rows = (sums * between.conj())[:, 0] * (2.0 / band.piece)
    place = now.terms.index(IDENT_TONE)
    own = now.gain[place] * (now.a[place] - 1j * now.b[place])
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


def without_bursts(band: Baseband, now: Fit, weights: Weights | None) -> Weights | None:
    """Return weights that leave out rows which hold far more than noise, or None if there are none.

    A few milliseconds of ident at an end of a record are no line that could be found and keyed,
    and yet they click into everything; so does a spike.

    Parameters
    ----------
    band
        The record after the low-pass.
    now
        A fit to it, with these weights.
    weights
        What is left out already, and the ident's gate.
    """
    rest = now.residual.reshape(-1, band.piece)
    energy = np.einsum("ij,ij->i", rest, rest)
    # A burst spoils the fit, and with it rows far from its own; those stand far below it.
    loud = energy > max(_LOUD * np.sort(energy)[len(energy) // 2], energy.max() / _SPOILT)
    if not loud.any() or np.count_nonzero(loud) > min(_FEWEST_ROWS, _FEW * len(loud)):
        return None
    keep = np.ones(len(loud)) if weights is None else weights.keep.copy()
    # What is left of a switching in the rows beside it may be below the threshold.
    loud[1:] |= loud[:-1]
    loud[:-1] |= loud[1:]
    keep[loud] = 0.0
    return Weights(keep=keep, gate=np.ones(len(loud)) if weights is None else weights.gate)


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
    loud = np.sort(size[size > _OFF * size.max()])
    level = size / loud[len(loud) // 2]
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
