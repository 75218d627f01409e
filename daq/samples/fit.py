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

from daq.errors import SamplesError
from daq.samples.lines import Lines, Weights
from daq.samples.lowpass import BAND_HZ, Baseband, Floats
from daq.samples.search import Spectrum
from daq.samples.terms import IDENT, Term, mixes

_MOST_ROUNDS: Final = 8
_ENOUGH: Final = 0.02
"""Stop when the next step would be this small in units of the frequencies' standard deviation."""


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
    spectrum
        Of the residual.
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
    spectrum: Spectrum
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


def fit(
    band: Baseband,
    terms: tuple[Term, ...],
    free_hz: Floats,
    weights: Weights | None = None,
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
        Rows left out and the ident's gate; everything counts when None. An ident that is never on
        must not be among the terms.

    Raises
    ------
    SamplesError
        If two of the terms cannot be told apart on this record.
    """
    mix = mixes(terms)
    used = tuple(int(k) for k in np.flatnonzero(mix.any(axis=0)))
    free = np.array(free_hz, dtype=np.float64)
    duration_s = len(band.v) / band.rate_hz
    derived = mix[:, used]
    rounds = 0
    while True:
        rounds += 1
        lines = Lines(band, mix @ free, weights, mix[:, IDENT] != 0)
        try:
            solution, inverse = _step(lines, derived)
        except np.linalg.LinAlgError as error:
            raise _inseparable(terms, mix @ free) from error
        step_hz = solution[-len(used) :]
        free[list(used)] += step_hz
        residual = lines.residual(solution[: -len(used)], derived @ step_hz)
        if rounds == _MOST_ROUNDS or _close(step_hz, inverse, residual, duration_s):
            break
    spectrum = Spectrum(residual, band.rate_hz)
    sigma_v = _noise(spectrum, weights, len(solution))
    j = len(terms)
    # Divide the low-pass's gain out of amplitudes and covariance.
    undo = np.ones(len(solution))
    undo[1 : 1 + j] = undo[1 + j : 1 + 2 * j] = 1.0 / band.gain(mix @ free)
    solution = solution * undo
    return Fit(
        terms=terms,
        free_hz=free,
        c0=float(solution[0]),
        a=solution[1 : 1 + j],
        b=solution[1 + j : 1 + 2 * j],
        cov=inverse * np.multiply.outer(undo * sigma_v, undo * sigma_v),
        used=used,
        residual=residual,
        spectrum=spectrum,
        sigma_v=sigma_v,
    )


def _inseparable(terms: tuple[Term, ...], frequency_hz: Floats) -> SamplesError:
    fitted = ", ".join(
        f"{term.name} at {hz:.5g} Hz" for term, hz in zip(terms, frequency_hz, strict=True)
    )
    return SamplesError(
        f"The record cannot be taken apart into its mean and {fitted}.",
        hint="look at it on the screen: is it a detected envelope at all? If so, record longer.",
    )


def _close(step_hz: Floats, inverse: Floats, residual: Floats, duration_s: float) -> bool:
    """Return whether another step would be far smaller than the frequencies' uncertainty.

    It would be smaller than the last one by the phase, at the record's ends, of the last one.
    """
    next_hz = np.abs(step_hz) * np.minimum(1.0, np.pi * duration_s * np.abs(step_hz))
    # The plain scatter of the residual is near enough to tell.
    scatter = np.sqrt(np.dot(residual, residual) / len(residual))
    deviation_hz = scatter * np.sqrt(np.diagonal(inverse)[-len(step_hz) :])
    return bool(np.all(next_hz <= _ENOUGH * deviation_hz))


def _step(lines: Lines, mix: Floats) -> tuple[Floats, Floats]:
    """Return a Gauss-Newton step and the inverse of its normal matrix.

    Unknowns are the amplitudes themselves and what is to be added to the frequencies of which
    the sinusoids are `mix`.

    Raises
    ------
    LinAlgError
        If they depend on each other, exactly or but for rounding.
    """
    gram, known = lines.gram(), lines.project()
    amplitude = np.linalg.solve(gram[0], known[0])
    j = len(mix)
    a, b = amplitude[1 : 1 + j], amplitude[1 + j :]
    # d/df of a cos(2 pi f t) + b sin(2 pi f t), shared by all terms that contain f.
    turn = np.zeros((mix.shape[1], 1 + 2 * j))
    turn[:, 1 : 1 + j] = 2.0 * np.pi * mix.T * b
    turn[:, 1 + j :] = -2.0 * np.pi * mix.T * a
    linear = 1 + 2 * j
    full = np.empty((linear + len(turn), linear + len(turn)))
    full[:linear, :linear] = gram[0]
    full[linear:, :linear] = turn @ gram[1]
    full[:linear, linear:] = full[linear:, :linear].T
    full[linear:, linear:] = turn @ gram[2] @ turn.T
    size = np.diagonal(full)
    if not size.min() > 0.0:
        raise np.linalg.LinAlgError("an unknown that changes nothing")
    scale = 1.0 / np.sqrt(size)
    inverse = np.asarray(np.linalg.inv(full * np.multiply.outer(scale, scale)), dtype=np.float64)
    # Of a matrix that is singular but for rounding the inverse is found, and is nonsense.
    if not np.diagonal(inverse).min() > 0.0:
        raise np.linalg.LinAlgError("not positive definite")
    inverse *= np.multiply.outer(scale, scale)
    return inverse @ np.concatenate([known[0], turn @ known[1]]), inverse


def _noise(spectrum: Spectrum, weights: Weights | None, parameters: int) -> float:
    """Return the standard deviation of white noise with the in-band density of a residual.

    The fit took `parameters` of the band's 2 B T degrees of freedom away (B bandwidth, T time).
    """
    kept = 1.0 if weights is None else float(weights.keep.mean())
    freedom = 2.0 * BAND_HZ * spectrum.duration_s * kept
    left = max(freedom - parameters, 1.0) / freedom
    return float(np.sqrt(spectrum.variance_below(BAND_HZ) / kept / left))
