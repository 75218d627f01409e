"""Joint least squares for the mean, all sinusoids and their free frequencies.

v[n] = c0 + sum_j a_j cos(w_j t_n) + b_j sin(w_j t_n), with t = 0 in the middle of the record.
Gauss-Newton on the frequencies; amplitudes are linear. For white noise this is the
maximum-likelihood estimator, so its covariance is the Cramer-Rao bound once it has converged
(S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, ch. 7 and
ch. 8, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.samples.lowpass import BAND_HZ, Baseband, Complexes, Floats
from daq.samples.terms import IDENT, Term, mixes

_MAX_ROUNDS: Final = 8
_ENOUGH: Final = 0.02
"""Stop when the last step was this small in units of the frequencies' standard deviation."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A converged fit.

    Attributes
    ----------
    terms
        The sinusoids, in the order of `a` and `b`.
    free_hz
        The four free frequencies; those that no term uses keep their starting value.
    c0
        The mean.
    a, b
        Cosine and sine amplitudes, shape (j,), the low-pass's gain divided out.
    cov
        Covariance of ``(c0, a..., b..., used free frequencies...)``.
    used
        Places in `free_hz` of the frequencies in `cov`.
    residual
        What is left, shape (m,), after the low-pass; zero where the record was blanked.
    sigma_v
        Standard deviation of the noise per sample after the low-pass, from its density in the
        band around the tones: right for noise that is not white too.
    """

    terms: tuple[Term, ...]
    free_hz: Floats
    c0: float
    a: Floats
    b: Floats
    cov: Floats
    used: tuple[int, ...]
    residual: Floats
    sigma_v: float

    @property
    def amplitude(self) -> Floats:
        """Amplitude of each term, shape (j,)."""
        return np.hypot(self.a, self.b)

    @property
    def frequency_hz(self) -> Floats:
        """Frequency of each term, shape (j,)."""
        return np.asarray(mixes(self.terms) @ self.free_hz)

    def strength(self) -> Floats:
        """Return each term's squared amplitude over the variance of one quadrature, halved.

        Of noise alone it exceeds g with probability exp(-g).
        """
        j = len(self.terms)
        variance = np.diagonal(self.cov)[1 : 1 + 2 * j].reshape(2, j).mean(axis=0)
        return np.asarray(self.amplitude**2 / (2.0 * variance))


@dataclass(frozen=True, slots=True)
class Weights:
    """Which samples count, and where the ident is keyed on; ones unless said otherwise.

    Attributes
    ----------
    keep
        Shape (m,), 0 where a sample is left out.
    gate
        Shape (m,), 1 where the ident is on.
    """

    keep: Floats
    gate: Floats


def time_axis(band: Baseband) -> Floats:
    """Return the time of each sample of `band` from the middle of the record, s, shape (m,)."""
    return np.asarray((np.arange(len(band.v)) - (len(band.v) - 1) / 2.0) / band.rate_hz)


def phasors(frequency_hz: Floats, samples: int, rate_hz: float) -> Complexes:
    """Return exp(i w t), shape (j, samples), t = 0 in the middle.

    An outer product of a coarse and a fine row replaces `samples` complex exponentials.
    """
    fine = max(1, int(np.sqrt(samples)))
    coarse = -(-samples // fine)
    w = 2j * np.pi * np.asarray(frequency_hz)[:, np.newaxis] / rate_hz
    rows = np.exp(w * (np.arange(coarse) * fine - (samples - 1) / 2.0))
    columns = np.exp(w * np.arange(fine))
    table = rows[:, :, np.newaxis] * columns[:, np.newaxis, :]
    return np.asarray(table.reshape(len(rows), coarse * fine)[:, :samples])


def fit(
    band: Baseband, terms: tuple[Term, ...], free_hz: Floats, weights: Weights | None = None
) -> Fit:
    """Fit `terms` to `band`, refining every free frequency that they use.

    Parameters
    ----------
    band
        The record after the low-pass.
    terms
        The sinusoids; at least one.
    free_hz
        Starting values, shape (4,), each within about a third of the inverse of the record's
        duration.
    weights
        Samples left out and the ident's gate; everything counts when None.
    """
    mix = mixes(terms)
    used = tuple(int(k) for k in np.flatnonzero(mix.any(axis=0)))
    free = np.array(free_hz, dtype=np.float64)
    rounds = 0
    while True:
        rounds += 1
        system = _System(band, mix, used, free, weights)
        solution, inverse = system.solve()
        step_hz = solution[-len(used) :]
        free[list(used)] += step_hz
        residual = system.residual(solution)
        # The plain scatter of the residual is near enough to tell when to stop.
        deviation = residual.std() * np.sqrt(np.diagonal(inverse)[-len(used) :])
        if rounds == _MAX_ROUNDS or np.all(np.abs(step_hz) <= _ENOUGH * deviation):
            sigma_v = _noise(residual, band.rate_hz, weights, len(solution))
            cov = inverse * sigma_v**2
            return _finish(band, terms, free, used, solution, cov, residual, sigma_v)


class _System:
    """Normal equations of one Gauss-Newton step; rows are the columns of the design matrix."""

    def __init__(
        self,
        band: Baseband,
        mix: Floats,
        used: tuple[int, ...],
        free_hz: Floats,
        weights: Weights | None,
    ) -> None:
        j, m = len(mix), len(band.v)
        z = phasors(mix @ free_hz, m, band.rate_hz)
        linear = 1 + 2 * j
        design = np.empty((linear + len(used), m))
        design[0] = 1.0
        design[1 : 1 + j] = z.real
        design[1 + j : linear] = z.imag
        if weights is not None:
            ident = np.flatnonzero(mix[:, IDENT])
            design[1 + ident] *= weights.gate
            design[1 + j + ident] *= weights.gate
            design[:linear] *= weights.keep
        y = band.v if weights is None else band.v * weights.keep
        gram = design[:linear] @ design[:linear].T
        beta = np.linalg.solve(gram, design[:linear] @ y)
        a, b = beta[1 : 1 + j], beta[1 + j :]
        # d/df of a cos(2 pi f t) + b sin(2 pi f t), shared by all terms that contain f.
        turn = np.hstack([mix[:, used].T * b, mix[:, used].T * -a])
        np.matmul(turn, design[1:linear], out=design[linear:])
        design[linear:] *= 2.0 * np.pi * time_axis(band)
        self.y, self.design, self.gram, self.linear = y, design, gram, linear

    def solve(self) -> tuple[Floats, Floats]:
        """Return the solution and the inverse of the normal matrix."""
        linear, rows = self.linear, len(self.design)
        full = np.empty((rows, rows))
        full[:linear, :linear] = self.gram
        full[linear:] = self.design[linear:] @ self.design.T
        full[:linear, linear:] = full[linear:, :linear].T
        scale = 1.0 / np.sqrt(np.diagonal(full))
        inverse = np.asarray(
            np.linalg.inv(full * np.multiply.outer(scale, scale)), dtype=np.float64
        )
        inverse *= np.multiply.outer(scale, scale)
        return inverse @ (self.design @ self.y), inverse

    def residual(self, solution: Floats) -> Floats:
        """Return what the solution leaves of the record."""
        return np.asarray(self.y - solution @ self.design)


def _noise(residual: Floats, rate_hz: float, weights: Weights | None, parameters: int) -> float:
    """Return the standard deviation of white noise with the in-band density of `residual`.

    The fit took `parameters` of the band's 2 B T degrees of freedom away (B bandwidth, T time).
    """
    size = 1 << (len(residual) - 1).bit_length()
    spectrum = np.fft.rfft(residual, size)
    inside = spectrum[1 : int(BAND_HZ / rate_hz * size)]
    counted = len(residual) if weights is None else float(weights.keep.sum())
    freedom = 2.0 * BAND_HZ * counted / rate_hz
    left = max(freedom - parameters, 1.0) / freedom
    return float(np.sqrt(np.vdot(inside, inside).real / len(inside) / counted / left))


def _finish(
    band: Baseband,
    terms: tuple[Term, ...],
    free_hz: Floats,
    used: tuple[int, ...],
    solution: Floats,
    cov: Floats,
    residual: Floats,
    sigma_v: float,
) -> Fit:
    """Divide the low-pass's gain out of amplitudes and covariance."""
    j = len(terms)
    gain = band.gain(mixes(terms) @ free_hz)
    undo = np.concatenate([[1.0], 1.0 / gain, 1.0 / gain, np.ones(len(used))])
    linear = solution[: 1 + 2 * j] * undo[: 1 + 2 * j]
    return Fit(
        terms=terms,
        free_hz=free_hz,
        c0=float(linear[0]),
        a=linear[1 : 1 + j],
        b=linear[1 + j :],
        cov=cov * np.multiply.outer(undo, undo),
        used=used,
        residual=residual,
        sigma_v=sigma_v,
    )
