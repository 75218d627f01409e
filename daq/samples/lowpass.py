"""Bring a record down to the band that holds the modulation, without losing information there.

The tones, their harmonics and the ident lie below 1.2 kHz; a record at 48 kHz is mostly noise
above that. A finite low-pass and decimation keep the estimator's arithmetic small. Its gain is
known exactly at every frequency and is divided out; what it does to white noise inside the band
is the same as what it does to the tones, so no precision is lost except at the ends, where the
filter is not yet full (3 ms a record).

The band above it may hold the beat of two carriers (5 to 14 kHz) and whatever a detector lets
through: 70 dB of rejection keeps that from folding onto the tones.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Complexes: TypeAlias = npt.NDArray[np.complex128]

BAND_HZ: Final = 1200.0
"""Upper end of the band in which the modulation, and the noise beside it, is looked at."""

MIN_BASEBAND_HZ: Final = 3000.0
"""Lowest rate after decimation."""

ROW_S: Final = 0.005
"""About the length of a row; the shortest Morse dot in use is some ten times that."""

_LEFT_OUT: Final = 0.005
_TAPS_PER_STEP: Final = 10
PRODUCTS_AT_ONCE: Final = 1 << 18
"""The linear algebra library spreads larger matrix products over threads, which stalls on a busy
machine; a product of complex numbers counts as four."""

_CUTOFF_OF_RATE: Final = 0.55
_KAISER_BETA: Final = 7.0


@dataclass(frozen=True, slots=True)
class LowPass:
    """A symmetric finite filter.

    Attributes
    ----------
    taps
        Shape (t,), sum 1.
    place
        Of the taps of the second half, from the middle, times 2 pi; shape (t // 2,).
    twice
        Those taps, each with its twin of the first half.
    middle
        The tap without a twin; 0 where t is even.
    """

    taps: Floats
    place: Floats
    twice: Floats
    middle: float

    def gain(self, cycles_per_sample: Floats) -> Floats:
        """Return the zero-phase response at each frequency, shape (j,)."""
        turn = cycles_per_sample[:, np.newaxis] * self.place
        return np.asarray(self.middle + np.cos(turn) @ self.twice)


@dataclass(frozen=True, slots=True)
class Baseband:
    """A record after the low-pass.

    Attributes
    ----------
    v
        Shape (m,), unit of the record.
    rate_hz
        Samples per second of `v`.
    start_s
        Time of ``v[0]`` from the first sample of the record.
    low_pass
        What it went through.
    step
        Samples of the record per sample of `v`.
    piece
        Samples of `v` in a row of some 5 ms; m is a multiple of it.
    """

    v: Floats
    rate_hz: float
    start_s: float
    low_pass: LowPass
    step: int
    piece: int

    def gain(self, frequency_hz: Floats) -> Floats:
        """Return the low-pass's gain (real: the filter is symmetric) at each frequency."""
        return self.low_pass.gain(frequency_hz / (self.rate_hz * self.step))


def to_baseband(v: Floats, rate_hz: float) -> Baseband:
    """Low-pass and decimate `v` to at least `MIN_BASEBAND_HZ`.

    Parameters
    ----------
    v
        Shape (n,); n at least a few milliseconds.
    rate_hz
        Samples per second of `v`.
    """
    step = max(1, int(rate_hz // MIN_BASEBAND_HZ))
    if step == 1:
        return _in_rows(v, rate_hz, 0.0, _NONE, 1)
    low_pass = _design(step)
    rows = len(v) // step
    out = _filtered(v[: rows * step].reshape(rows, step), low_pass.taps)
    start_s = (len(low_pass.taps) - 1) / 2.0 / rate_hz
    return _in_rows(out, rate_hz / step, start_s, low_pass, step)


def _in_rows(v: Floats, rate_hz: float, start_s: float, low_pass: LowPass, step: int) -> Baseband:
    """Leave out the last samples, half a per cent at most, that fill no row."""
    piece = _piece(len(v), rate_hz)
    return Baseband(v[: len(v) - len(v) % piece], rate_hz, start_s, low_pass, step, piece)


@lru_cache(maxsize=64)
def _piece(samples: int, rate_hz: float) -> int:
    """Return the length of a row.

    A record of a second or more has rows of the usual length; a short one takes a length near it
    that leaves out less.
    """
    usual = round(rate_hz * ROW_S)
    near = range(usual - usual // 5, usual + usual // 5 + 1)
    bearable = samples * _LEFT_OUT
    return min(near, key=lambda size: (max(samples % size, bearable), abs(size - usual)))


def _filtered(v: Floats, taps: Floats) -> Floats:
    """Return the sums of ten partial filters' outputs, each a row later than the one before it.

    One matrix product, cut into pieces, does all ten; `v` has shape (rows, step).
    """
    rows, step = v.shape
    table = taps.reshape(_TAPS_PER_STEP, step)
    space = np.empty(_TAPS_PER_STEP * (rows + 1))
    out = space[: _TAPS_PER_STEP * rows].reshape(_TAPS_PER_STEP, rows)
    at_once = max(1, PRODUCTS_AT_ONCE // table.size)
    for start in range(0, rows, at_once):
        some = slice(start, start + at_once)
        np.matmul(table, v[some].T, out=out[:, some])
    # Read as rows that are longer by one, each begins one later.
    late = space.reshape(_TAPS_PER_STEP, rows + 1)[:, : rows - _TAPS_PER_STEP + 1]
    return np.asarray(late.sum(axis=0))


@lru_cache(maxsize=8)
def _design(step: int) -> LowPass:
    """Kaiser-windowed sinc: flat to 0.33, down 70 dB from 0.8 of the decimated rate."""
    length = _TAPS_PER_STEP * step
    place = (np.arange(length) - (length - 1) / 2.0) / step
    taps = np.sinc(2.0 * _CUTOFF_OF_RATE * place) * np.kaiser(length, _KAISER_BETA)
    return _symmetric(np.asarray(taps / taps.sum(), dtype=np.float64))


def _symmetric(taps: Floats) -> LowPass:
    """Return symmetric `taps` with what their gain needs."""
    half = len(taps) // 2
    place = np.arange(len(taps) - half, len(taps)) - (len(taps) - 1) / 2.0
    middle = float(taps[half]) if len(taps) % 2 else 0.0
    twice = np.asarray(2.0 * taps[len(taps) - half :])
    made = LowPass(taps, np.asarray(2.0 * np.pi * place), twice, middle)
    for table in (made.taps, made.place, made.twice):
        table.flags.writeable = False
    return made


_NONE: Final = _symmetric(np.ones(1))
"""For records that need no low-pass."""
