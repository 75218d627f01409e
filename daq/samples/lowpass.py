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
_ROWS_AT_ONCE: Final = 512
_CUTOFF_OF_RATE: Final = 0.55
_KAISER_BETA: Final = 7.0


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
    taps
        The low-pass, shape (t,), sum 1, symmetric.
    step
        Samples of the record per sample of `v`.
    piece
        Samples of `v` in a row of some 5 ms; m is a multiple of it.
    """

    v: Floats
    rate_hz: float
    start_s: float
    taps: Floats
    step: int
    piece: int

    def gain(self, frequency_hz: Floats) -> Floats:
        """Return the low-pass's gain (real: the filter is symmetric) at each frequency."""
        return filter_gain(self.taps, np.asarray(frequency_hz) / (self.rate_hz * self.step))


def filter_gain(taps: Floats, cycles_per_sample: Floats) -> Floats:
    """Return the zero-phase response of symmetric `taps` at each frequency."""
    half = len(taps) // 2
    place = np.arange(len(taps) - half, len(taps)) - (len(taps) - 1) / 2.0
    turn = np.multiply.outer(2.0 * np.pi * np.asarray(cycles_per_sample), place)
    middle = taps[half] if len(taps) % 2 else 0.0
    return np.asarray(middle + np.cos(turn) @ (2.0 * taps[len(taps) - half :]))


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
        return _in_rows(v, rate_hz, 0.0, np.ones(1), 1)
    taps = _design(step)
    rows = len(v) // step
    partial = _partial_filters(v[: rows * step].reshape(rows, step), taps)
    kept = rows - _TAPS_PER_STEP + 1
    out = partial[0, :kept].copy()
    for j in range(1, _TAPS_PER_STEP):
        out += partial[j, j : j + kept]
    return _in_rows(out, rate_hz / step, (len(taps) - 1) / 2.0 / rate_hz, taps, step)


def _in_rows(v: Floats, rate_hz: float, start_s: float, taps: Floats, step: int) -> Baseband:
    """Leave out the last samples, half a per cent at most, that fill no row.

    A record of a second or more has rows of the usual length; a short one takes a length near it
    that leaves out less.
    """
    usual = round(rate_hz * ROW_S)
    near = range(usual - usual // 5, usual + usual // 5 + 1)
    bearable = len(v) * _LEFT_OUT
    piece = min(near, key=lambda size: (max(len(v) % size, bearable), abs(size - usual)))
    return Baseband(v[: len(v) - len(v) % piece], rate_hz, start_s, taps, step, piece)


def _partial_filters(v: Floats, taps: Floats) -> Floats:
    """Return ten partial filters' outputs, shape (10, rows); shifted sums put them together.

    One matrix product does all ten. It is cut into pieces so small that the linear algebra
    library does not split them over threads, which stalls on a busy machine.
    """
    rows, step = v.shape
    table = taps.reshape(_TAPS_PER_STEP, step)
    out = np.empty((_TAPS_PER_STEP, rows))
    for start in range(0, rows, _ROWS_AT_ONCE):
        some = slice(start, start + _ROWS_AT_ONCE)
        np.matmul(table, v[some].T, out=out[:, some])
    return out


@lru_cache(maxsize=8)
def _design(step: int) -> Floats:
    """Kaiser-windowed sinc: flat to 0.33, down 70 dB from 0.8 of the decimated rate."""
    length = _TAPS_PER_STEP * step
    place = (np.arange(length) - (length - 1) / 2.0) / step
    taps = np.sinc(2.0 * _CUTOFF_OF_RATE * place) * np.kaiser(length, _KAISER_BETA)
    taps /= taps.sum()
    taps.flags.writeable = False
    return np.asarray(taps)
