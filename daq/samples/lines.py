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

from daq.samples.lowpass import Baseband, Complexes, Floats


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


def phasors(frequency_hz: Floats, samples: int, rate_hz: float) -> Complexes:
    """Return exp(i w t), shape (j, samples), t = 0 in the middle.

    An outer product of a coarse and a fine row replaces most of the complex exponentials.
    """
    coarse, place = _places(samples)
    both = np.exp(np.multiply.outer(2j * np.pi / rate_hz * frequency_hz, place))
    table = both[:, :coarse, np.newaxis] * both[:, np.newaxis, coarse:]
    return np.asarray(table.reshape(len(both), -1)[:, :samples])


@lru_cache(maxsize=16)
def _places(samples: int) -> tuple[int, Floats]:
    """Return how many coarse places there are, and those, then the fine ones beyond each."""
    fine = max(1, int(np.sqrt(samples)))
    coarse = -(-samples // fine)
    place = np.concatenate([np.arange(coarse) * fine - (samples - 1) / 2.0, np.arange(fine)])
    place.flags.writeable = False
    return coarse, place


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
        row_s = _middle_axis(rows) * (band.piece / band.rate_hz)
        outer = _columns(phasors(hz, rows, band.rate_hz / band.piece))
        self._y = band.v.reshape(rows, band.piece)
        if weights is not None:
            outer *= weights.keep[:, np.newaxis]
            self._y = self._y * weights.keep[:, np.newaxis]
            if gated is not None:
                outer[:, 1:][:, gated] *= weights.gate[:, np.newaxis]
        # Each with a second set of columns, times the time.
        self._outer = np.concatenate([outer, outer * row_s], axis=1)
        inner = _columns(phasors(hz, band.piece, band.rate_hz))
        place_s = _middle_axis(band.piece) / band.rate_hz
        self._inner = np.concatenate([inner, inner * place_s], axis=1)

    def gram(self) -> Floats:
        """Return sums over the record of t^p x y^T for p = 0, 1, 2; shape (3, 1 + 2 j, 1 + 2 j)."""
        count = self._count
        o0, o1, o2 = _moments(self._outer, count)
        i0, i1, i2 = _moments(self._inner, count)
        # (row + place)^p multiplied out.
        sums = np.empty((3, count, 2 * count), dtype=np.complex128)
        sums[0] = o0 * i0
        sums[1] = o1 * i0 + o0 * i1
        sums[2] = o2 * i0 + 2.0 * o1 * i1 + o0 * i2
        sums *= 0.5
        return _real_products(sums[:, :, :count], sums[:, :, count:])

    def project(self) -> Floats:
        """Return sums over the record of t^p x v for p = 0, 1; shape (2, 1 + 2 j)."""
        count = self._count
        parts = (self._y @ self._inner.view(np.float64)).view(np.complex128)
        once = self._outer[:, :count].T @ parts
        timed = self._outer[:, count:].T @ parts[:, :count]
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
        outer = self._outer * np.concatenate([size, drift])
        outer[:, :count] += outer[:, count:]
        np.multiply(self._outer[:, :count], drift, out=outer[:, count:])
        # The real part of a product is the sum of products of real and of imaginary parts, the
        # latter with their sign turned.
        model = outer.view(np.float64) @ self._inner.conj().view(np.float64).T
        return np.asarray(self._y - model).ravel()


def _middle_axis(count: int) -> Floats:
    """Return places from the middle of `count`, shape (count, 1)."""
    return np.asarray(np.arange(count) - (count - 1) / 2.0)[:, np.newaxis]


def _columns(rows: Complexes) -> Complexes:
    return np.ascontiguousarray(rows.T)


def _moments(table: Complexes, count: int) -> tuple[Complexes, Complexes, Complexes]:
    """Return sums of t^p x y^T for p = 0, 1, 2, y being the `count` columns and their conjugates.

    The other half of the products are the conjugates of these. Copies take part in them, because
    the linear algebra library starts threads for a matrix times its own transpose, which stalls
    on a busy machine.
    """
    plain, timed = table[:, :count], table[:, count:]
    across = np.concatenate([plain, plain.conj()], axis=1)
    across_t = np.concatenate([timed, timed.conj()], axis=1)
    return plain.T @ across, timed.T @ across, timed.T @ across_t


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
