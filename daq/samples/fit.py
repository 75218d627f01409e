"""Joint least squares for the mean, all sinusoids and their free frequencies.

v[n] = c0 + sum_j a_j cos(w_j t_n) + b_j sin(w_j t_n), with t = 0 in the middle of the record.
Gauss-Newton on the frequencies; amplitudes are linear. For white noise this is the
maximum-likelihood estimator, so its covariance is the Cramer-Rao bound once it has converged
(S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, ch. 7 and
ch. 8, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.lines import Lines, Weights
from daq.samples.lowpass import BAND_HZ, Baseband, Floats
from daq.samples.search import Spectrum
from daq.samples.terms import Term, mixes

_MOST_ROUNDS: Final = 8
_ENOUGH: Final = 0.05
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
    amplitude
        Of each term, shape (j,).
    strength
        Each term's squared amplitude over its variance, halved; shape (j,). Of noise alone it
        exceeds g with probability exp(-g). The variance is that of the amplitude, not of a
        quadrature: of an ident that is on at an end only the phase in the middle is not known.
    gain
        The low-pass's at each term, shape (j,).
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
    amplitude: Floats
    strength: Floats
    gain: Floats
    cov: Floats
    used: tuple[int, ...]
    residual: Floats
    spectrum: Spectrum
    sigma_v: float

    @property
    def frequency_hz(self) -> Floats:
        """Frequency of each term, shape (j,)."""
        return np.asarray(mixes(self.terms).mix @ self.free_hz)


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
    free = np.array(free_hz, dtype=np.float64)
    solution, inverse, residual = _solve(band, terms, free, weights)
    how = mixes(terms)
    used = len(how.used)
    spectrum = Spectrum(residual, band.rate_hz)
    sigma_v = _noise(spectrum, weights, len(solution))
    # Divide the low-pass's gain out of amplitudes and covariance.
    gain = band.gain(how.mix @ free)
    undo = np.ones(len(solution))
    undo[1:-used].reshape(2, -1)[:] = 1.0 / gain
    solution *= undo
    undo *= sigma_v
    cov = inverse * (undo * undo[:, np.newaxis])
    (a, b), variances = solution[1:-used].reshape(2, -1), cov.diagonal()[1:-used].reshape(2, -1)
    squared = a * a + b * b
    across = cov.diagonal(len(terms))[1 : 1 + len(terms)]
    spread = a * a * variances[0] + b * b * variances[1] + 2.0 * a * b * across
    return Fit(
        terms=terms,
        free_hz=free,
        c0=float(solution[0]),
        a=a,
        b=b,
        amplitude=np.sqrt(squared),
        strength=squared * squared / (2.0 * spread),
        gain=gain,
        cov=cov,
        used=how.used,
        residual=residual,
        spectrum=spectrum,
        sigma_v=sigma_v,
    )


def _solve(
    band: Baseband, terms: tuple[Term, ...], free_hz: Floats, weights: Weights | None
) -> tuple[Floats, Floats, Floats]:
    """Return the unknowns, the inverse of their normal matrix and what is left of the record.

    The free frequencies are refined in place; their last steps are among the unknowns.
    """
    how = mixes(terms)
    used, places = len(how.used), list(how.used)
    duration_s = len(band.v) / band.rate_hz
    rounds = 0
    while True:
        rounds += 1
        lines = Lines(band, how.mix @ free_hz, weights, how.keyed)
        try:
            solution, inverse = _step(lines, how.derived)
        except np.linalg.LinAlgError as error:
            raise _inseparable(terms, how.mix @ free_hz) from error
        step_hz = solution[-used:]
        free_hz[places] += step_hz
        residual = lines.residual(solution[:-used], how.derived @ step_hz)
        if rounds == _MOST_ROUNDS or _close(step_hz, inverse, residual, duration_s):
            return solution, inverse, residual


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
    # The plain scatter of the residual is near enough to tell.
    # (Not a dot product: of so many numbers the linear algebra library starts threads for it.)
    bound = _ENOUGH**2 * float((residual * residual).sum()) / len(residual)
    for step, variance in zip(
        np.abs(step_hz).tolist(), inverse.diagonal()[-len(step_hz) :].tolist(), strict=True
    ):
        if (step * min(1.0, math.pi * duration_s * step)) ** 2 > bound * variance:
            return False
    return True


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
    way = 2.0 * np.pi * mix.T
    turn = np.zeros((len(way), 1 + 2 * j))
    np.multiply(way, b, out=turn[:, 1 : 1 + j])
    np.multiply(way, -a, out=turn[:, 1 + j :])
    linear = 1 + 2 * j
    full = np.empty((linear + len(turn), linear + len(turn)))
    full[:linear, :linear] = gram[0]
    full[linear:, :linear] = turn @ gram[1]
    full[:linear, linear:] = full[linear:, :linear].T
    full[linear:, linear:] = turn @ gram[2] @ turn.T
    size = full.diagonal()
    if not size.min() > 0.0:
        raise np.linalg.LinAlgError("an unknown that changes nothing")
    scale = 1.0 / np.sqrt(size)
    scales = scale * scale[:, np.newaxis]
    inverse = np.asarray(np.linalg.inv(full * scales), dtype=np.float64)
    # Of a matrix that is singular but for rounding the inverse is found, and is nonsense.
    if not inverse.diagonal().min() > 0.0:
        raise np.linalg.LinAlgError("not positive definite")
    inverse *= scales
    return inverse @ np.concatenate([known[0], turn @ known[1]]), inverse


def _noise(spectrum: Spectrum, weights: Weights | None, parameters: int) -> float:
    """Return the standard deviation of white noise with the in-band density of a residual.

    The fit took `parameters` of the band's 2 B T degrees of freedom away (B bandwidth, T time).
    """
    kept = 1.0 if weights is None else float(weights.keep.mean())
    freedom = 2.0 * BAND_HZ * spectrum.duration_s * kept
    left = max(freedom - parameters, 1.0) / freedom
    return math.sqrt(spectrum.variance_below(BAND_HZ) / kept / left)
