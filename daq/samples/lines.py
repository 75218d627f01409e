"""The sinusoids of a fit on a record that is laid out in rows of some five milliseconds.

The time of a sample is that of its row plus its place in the row, so exp(i w t) is an outer
product of two short tables. Every sum over the record that least squares needs then costs two
small matrix products: sums of products of sinusoids factor into a sum over rows times one over
places, and the design matrix is never built.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from daq.samples.lowpass import PRODUCTS_AT_ONCE, Baseband, Complexes, Floats


@dataclass(frozen=True, slots=True)
class Weights:
    """Which rows count, and where the ident is keyed on; ones unless said otherwise.

    Attributes
    ----------
    keep
        Shape (rows,), 0 where a row is left out.
    gate
        Shape (rows,), 1 where the ident is on.
    """

    keep: Floats
    gate: Floats

    @property
    def ever_on(self) -> bool:
        """Whether the ident is on in any row that counts; a fit cannot hold it otherwise."""
        return bool((self.gate * self.keep).any())


@dataclass(frozen=True, slots=True)
class Grid:
    """The times of a record that is laid out in rows; t = 0 in the middle.

    Attributes
    ----------
    row_s
        Of the middle of each row, shape (rows, 1).
    place_s
        Of each place, from the middle of its row, shape (piece, 1).
    coarse
        How many coarse steps the rows take.
    turn_s
        Of the coarse steps, then of the rows beyond each, then of the places; shape (k, 1).
    """

    row_s: Floats
    place_s: Floats
    coarse: int
    turn_s: Floats

    def phasors(self, frequency_hz: Floats) -> tuple[Complexes, Complexes]:
        """Return exp(i w t), shapes (rows, j) and (piece, j).

        Outer products of a coarse and a fine table replace most of the complex exponentials.
        """
        rows, places = len(self.row_s), len(self.place_s)
        turns = np.exp(2j * np.pi * frequency_hz * self.turn_s)
        fine = turns[np.newaxis, self.coarse : -places]
        table = turns[: self.coarse, np.newaxis] * fine
        return table.reshape(-1, len(frequency_hz))[:rows], turns[-places:]


@lru_cache(maxsize=16)
def grid(rows: int, piece: int, rate_hz: float) -> Grid:
    """Return the times of `rows` rows of `piece` samples at `rate_hz`."""
    row_s, place_s = _middle_axis(rows) * (piece / rate_hz), _middle_axis(piece) / rate_hz
    fine = max(1, int(np.sqrt(rows)))
    beyond_s = np.arange(fine)[:, np.newaxis] * (piece / rate_hz)
    made = Grid(
        row_s, place_s, -(-rows // fine), np.concatenate([row_s[::fine], beyond_s, place_s])
    )
    for times in (made.row_s, made.place_s, made.turn_s):
        times.flags.writeable = False
    return made


class Lines:
    """The mean and `j` sinusoids on the rows of a record.

    Real vectors of amplitudes are ordered ``(mean, cosines..., sines...)``, 1 + 2 j of them.

    Parameters
    ----------
    band
        The record after the low-pass.
    frequency_hz
        Of each sinusoid, shape (j,).
    weights
        Rows left out, and the gate of the sinusoids that are `gated`.
    gated
        Which sinusoids are keyed, shape (j,).
    """

    def __init__(
        self,
        band: Baseband,
        frequency_hz: Floats,
        weights: Weights | None = None,
        gated: npt.NDArray[np.bool_] | None = None,
    ) -> None:
        rows = len(band.v) // band.piece
        hz = np.concatenate([[0.0], frequency_hz])
        self._count = len(hz)
        times = grid(rows, band.piece, band.rate_hz)
        outer, inner = times.phasors(hz)
        self._y = band.v.reshape(rows, band.piece)
        if weights is not None:
            outer *= weights.keep[:, np.newaxis]
            self._y = self._y * weights.keep[:, np.newaxis]
            if gated is not None:
                outer[:, 1:][:, gated] *= weights.gate[:, np.newaxis]
        # Each with a second set of columns, times the time.
        self._outer = np.concatenate([outer, outer * times.row_s], axis=1)
        self._inner = np.concatenate([inner, inner * times.place_s], axis=1)

    def gram(self) -> Floats:
        """Return sums over the record of t^p x y^T for p = 0, 1, 2; shape (3, 1 + 2 j, 1 + 2 j)."""
        count = self._count
        o0, o1, o2 = _moments(self._outer, count)
        i0, i1, i2 = _moments(self._inner, count)
        # (row + place)^p multiplied out.
        sums = np.empty((3, count, 2, count), dtype=np.complex128)
        sums[0] = o0 * i0
        sums[1] = o1 * i0 + o0 * i1
        sums[2] = o2 * i0 + 2.0 * o1 * i1 + o0 * i2
        sums *= 0.5
        return _real_products(sums[:, :, 0], sums[:, :, 1])

    def project(self) -> Floats:
        """Return sums over the record of t^p x v for p = 0, 1; shape (2, 1 + 2 j)."""
        count = self._count
        parts = _along(self._y, self._inner.view(np.float64)).view(np.complex128)
        once = _across(self._outer[:, :count], parts)
        timed = _across(self._outer[:, count:], parts[:, :count])
        # Only the diagonals are of use, yet two products are faster than sums of columns.
        zeroth, first = once.diagonal(), timed.diagonal() + once[:, count:].diagonal()
        out = np.empty((2, 2 * count - 1))
        out[0, :count], out[0, count:] = zeroth.real, zeroth.imag[1:]
        out[1, :count], out[1, count:] = first.real, first.imag[1:]
        return out

    def residual(self, linear: Floats, shift_hz: Floats) -> Floats:
        """Return what is left of the record, shape (m,).

        Parameters
        ----------
        linear
            Amplitudes, shape (1 + 2 j,).
        shift_hz
            To first order, how much further each sinusoid's frequency is, shape (j,).
        """
        count = self._count
        size = linear[:count].astype(np.complex128)
        size[1:] -= 1j * linear[count:]
        drift = np.zeros(count, dtype=np.complex128)
        drift[1:] = 2j * np.pi * shift_hz * size[1:]
        plain, timed = self._inner[:, :count], self._inner[:, count:]
        # To go with the rows' columns, and with those times the rows' time.
        inner = np.concatenate([plain * size + timed * drift, plain * drift], axis=1)
        # The real part of a product is the sum of products of real and of imaginary parts, the
        # latter with their sign turned.
        model = _along(self._outer.view(np.float64), inner.conj().view(np.float64).T)
        return np.asarray(self._y - model).ravel()


def _middle_axis(count: int) -> Floats:
    """Return places from the middle of `count`, shape (count, 1)."""
    return np.asarray(np.arange(count) - (count - 1) / 2.0)[:, np.newaxis]


def _moments(table: Complexes, count: int) -> tuple[Complexes, Complexes, Complexes]:
    """Return sums of t^p x y^T for p = 0, 1, 2, y being the `count` columns and their conjugates.

    The other half of the products are the conjugates of these.
    """
    both = np.concatenate([table, table.conj()], axis=1)
    products = _across(table, both).reshape(2, count, 2, 2, count)
    return products[0, :, :, 0], products[1, :, :, 0], products[1, :, :, 1]


def _across(x: Complexes, y: Complexes) -> Complexes:
    """Return x^T y, in pieces of `PRODUCTS_AT_ONCE`."""
    at_once = PRODUCTS_AT_ONCE // (4 * x.shape[1] * y.shape[1])
    if len(x) <= at_once:
        return np.asarray(x.T @ y)
    total = np.zeros((x.shape[1], y.shape[1]), dtype=np.complex128)
    for start in range(0, len(x), max(1, at_once)):
        some = slice(start, start + max(1, at_once))
        total += x[some].T @ y[some]
    return total


def _along(x: Floats, y: Floats) -> Floats:
    """Return x y, in pieces of `PRODUCTS_AT_ONCE`."""
    at_once = PRODUCTS_AT_ONCE // y.size
    if len(x) <= at_once:
        return np.asarray(x @ y)
    out = np.empty((len(x), y.shape[1]))
    for start in range(0, len(x), max(1, at_once)):
        some = slice(start, start + max(1, at_once))
        np.matmul(x[some], y, out=out[some])
    return out


def _real_products(plain: Complexes, conjugate: Complexes) -> Floats:
    """Return products of cosines and sines from half those of e^ix and e^iy, and of e^ix and e^-iy.

    Shapes (3, n, n) to (3, 2 n - 1, 2 n - 1): the first is the mean, which has no sine.
    """
    n = plain.shape[1]
    out = np.empty((3, 2 * n - 1, 2 * n - 1))
    out[:, :n, :n] = conjugate.real + plain.real
    out[:, n:, n:] = (conjugate.real - plain.real)[:, 1:, 1:]
    out[:, :n, n:] = (plain.imag - conjugate.imag)[:, :, 1:]
    out[:, n:, :n] = out[:, :n, n:].transpose(0, 2, 1)
    return out
