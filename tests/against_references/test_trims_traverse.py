"""The traverse fit against scipy's and NumPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

from procedures.trims.line_fit import Floats
from procedures.trims.traverse import Traverse, fit_traverse

RNG_SEED = 17


def noisy(u: Floats, position: Floats) -> Floats:
    rng = np.random.default_rng(RNG_SEED)
    return np.asarray(0.00145 * (position - 3.0) + rng.normal(0, u))


def test_slope_crossing_and_uncertainties_agree_with_scipy() -> None:
    """scipy.optimize.curve_fit, absolute sigma; the crossing is a parameter of its model."""
    position = np.linspace(-90.0, 110.0, 31)
    u = np.where(np.abs(position) < 40, 0.0003, 0.0009)
    ddm = noisy(u, position)
    ours = fit_traverse(Traverse("offset_m", position, ddm, u))
    best, covariance = curve_fit(
        lambda x, slope, zero: slope * (x - zero), position, ddm, p0=(0.001, 0.0), sigma=u,
        absolute_sigma=True,
    )  # fmt: skip
    assert ours.sensitivity == pytest.approx(best[0], rel=1e-6)
    assert ours.alignment == pytest.approx(best[1], rel=1e-5)
    assert ours.sensitivity_u == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-4)
    assert ours.alignment_u == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-3)


def test_half_widths_agree_with_scipy() -> None:
    """curve_fit of a line with a bend at its crossing."""
    position = np.linspace(-90.0, 110.0, 31)
    u = np.full_like(position, 0.0006)
    ddm = noisy(u, position) + np.where(position > 3.0, -0.00008 * (position - 3.0), 0.0)
    ours = fit_traverse(Traverse("offset_m", position, ddm, u))

    def bent(x: Floats, zero: float, left: float, right: float) -> Floats:
        away = x - zero
        return np.where(away < 0, left * away, right * away)

    best, covariance = curve_fit(bent, position, ddm, p0=(0.0, 0.001, 0.001), sigma=u,
                                 absolute_sigma=True)  # fmt: skip
    assert ours.half_width_left == pytest.approx(0.155 / best[1], rel=1e-4)
    assert ours.half_width_right == pytest.approx(0.155 / best[2], rel=1e-4)
    u_right = 0.155 / best[2] ** 2 * np.sqrt(covariance[2, 2])
    assert ours.half_width_right_u == pytest.approx(u_right, rel=1e-2)


def test_uncertainty_from_scatter_agrees_with_numpy() -> None:
    """numpy.polyfit scales its covariance by the residuals, as is done where no u_ddm is given."""
    position = np.linspace(-100.0, 100.0, 21)
    ddm = noisy(np.full_like(position, 0.0005), position)
    ours = fit_traverse(Traverse("offset_m", position, ddm))
    best, covariance = np.polyfit(position, ddm, 1, cov=True)
    assert ours.sensitivity == pytest.approx(best[0])
    assert ours.sensitivity_u == pytest.approx(np.sqrt(covariance[0, 0]))
    assert ours.alignment == pytest.approx(-best[1] / best[0])


def test_the_quadratic_term_agrees_with_numpy() -> None:
    position = np.linspace(-100.0, 100.0, 21)
    ddm = noisy(np.full_like(position, 0.0005), position) + 5e-7 * position**2
    ours = fit_traverse(Traverse("offset_m", position, ddm))
    assert ours.quadratic == pytest.approx(np.polyfit(position, ddm, 2)[0])
