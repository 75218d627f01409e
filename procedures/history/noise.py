"""Least squares with autocorrelated noise: what a fit may claim of readings that are related.

Readings taken months apart share what changes slowly: temperature, moisture in the ground, snow,
the same instrument between two calibrations. Ordinary least squares then claims too much. Here
the noise is white plus an Ornstein-Uhlenbeck process, whose correlation falls as exp(-|dt|/tau);
sampled evenly that is the AR(1) process. Neither tau nor the share of the two is known, so the
fit is made for a grid of both and the results are weighted by their restricted likelihood (REML:
H. D. Patterson and R. Thompson, Biometrika 58, 1971; generalised least squares: A. C. Aitken,
1935; both from memory). The weighting carries the doubt about the noise into the uncertainty of
the fit, which plugging in one best value does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

_SHARES: Final = (0.3, 0.6, 0.9)
"""Shares of the slow process in the variance, besides none."""

_TAUS: Final = 5
_LONGEST_TAU: Final = 0.5
"""Of the span. A slower wander cannot be told from a drift by anybody: over two years, a wander
of half a year's memory leaves the stated 95 per cent interval only about 77 (by simulation)."""

_JITTER: Final = 1e-6
"""Added to the diagonal: two readings of one moment would else make the matrix singular."""

_ROUNDING: Final = 1e-9
"""Share of the largest value below which nothing counts as noise."""


@dataclass(frozen=True, slots=True)
class Whitening:
    """One noise model, ready to be applied.

    Attributes
    ----------
    factor
        Lower Cholesky factor of the correlation matrix, shape (n, n).
    log_det
        Logarithm of that matrix's determinant.
    prior
        Weight of this model before the values are seen.
    """

    factor: Array
    log_det: float
    prior: float

    def apply(self, array: Array) -> Array:
        """Return `array`, shape (n,) or (n, m), with the correlation taken out."""
        from scipy.linalg import solve_triangular

        whitened: Array = solve_triangular(self.factor, array, lower=True, check_finite=False)
        return whitened


@dataclass(frozen=True, slots=True)
class Fit:
    """A fit of p coefficients, weighted over the noise models.

    Attributes
    ----------
    beta
        Shape (p,).
    cov
        Shape (p, p); scale matrix of a t distribution with `dof` degrees of freedom.
    dof
        n - p.
    sigma
        Standard deviation of one value about the fit.
    """

    beta: Array
    cov: Array
    dof: int
    sigma: float

    def quantile(self, coverage: float = 0.95) -> float:
        """Return how many standard deviations an interval of that coverage reaches each way."""
        from scipy.stats import t

        return float(t.ppf(0.5 + 0.5 * coverage, self.dof))


def whitenings(t_yr: Array) -> tuple[Whitening, ...]:
    """Return the noise models for values taken at `t_yr`, shape (n,), ascending."""
    import numpy as np

    apart = np.abs(t_yr[:, None] - t_yr[None, :])
    span = float(apart.max()) if t_yr.size else 0.0
    steps = np.diff(np.unique(t_yr))
    shortest = 0.5 * float(np.median(steps)) if steps.size else 1.0
    longest = max(span * _LONGEST_TAU, 2.0 * shortest)
    per_share = 1.0 / (len(_SHARES) + 1)
    models = [Whitening(np.eye(t_yr.size), 0.0, per_share)]
    for tau in np.geomspace(shortest, longest, _TAUS):
        slow = np.exp(-apart / tau)
        models.extend(_whitening(share * slow, share, per_share / _TAUS) for share in _SHARES)
    return tuple(models)


def _whitening(slow: Array, share: float, prior: float) -> Whitening:
    import numpy as np

    correlation = slow + (1.0 - share + _JITTER) * np.eye(len(slow))
    factor = np.asarray(np.linalg.cholesky(correlation), dtype=np.float64)
    return Whitening(factor, 2.0 * float(np.log(np.diag(factor)).sum()), prior)


def fit(design: Array, values: Array, models: Sequence[Whitening]) -> Fit:
    """Fit `values`, shape (n,), by the columns of `design`, shape (n, p), p < n, of full rank."""
    import numpy as np

    n, p = design.shape
    single = [_fit_one(design, values, model) for model in models]
    log_weights = np.array([one[3] for one in single])
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    beta = np.einsum("g,gp->p", weights, np.array([one[0] for one in single]))
    cov = np.zeros((p, p))
    variance = 0.0
    for weight, (beta_one, cov_one, variance_one, _) in zip(weights, single, strict=True):
        off = beta_one - beta
        cov += weight * (cov_one + np.outer(off, off))
        variance += weight * variance_one
    return Fit(beta=beta, cov=cov, dof=n - p, sigma=math.sqrt(variance))


def _fit_one(design: Array, values: Array, model: Whitening) -> tuple[Array, Array, float, float]:
    import numpy as np

    n, p = design.shape
    q, r = np.linalg.qr(model.apply(design))
    whitened = model.apply(values)
    beta = np.linalg.solve(r, q.T @ whitened)
    left_over = whitened - q @ (q.T @ whitened)
    # What is left of a perfect fit is rounding, and must not make rounding significant.
    floor = n * (_ROUNDING * float(np.abs(values).max())) ** 2
    rss = max(float(left_over @ left_over), floor, 1e-300)
    inverse = np.linalg.inv(r)
    variance = rss / (n - p)
    log_restricted = -0.5 * (
        (n - p) * math.log(rss) + model.log_det + 2.0 * float(np.log(np.abs(np.diag(r))).sum())
    )
    return beta, variance * inverse @ inverse.T, variance, log_restricted + math.log(model.prior)
