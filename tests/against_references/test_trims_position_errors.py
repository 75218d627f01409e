"""A traverse with uncertain positions against orthogonal distance regression (scipy.odr).

scipy.odr wraps ODRPACK (Boggs, Byrd and Schnabel), which adjusts every position; the fit here puts
the position's uncertainty to the reading (effective variance). For a straight line they differ by
the attenuation that the module's docstring states.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from procedures.trims.line_fit import Floats
from procedures.trims.traverse import Traverse, fit_traverse


def by_odr(traverse: Traverse) -> tuple[float, float, float, float]:
    """Zero, its uncertainty, slope and its uncertainty, the stated uncertainties taken as such."""
    with warnings.catch_warnings():
        # Deprecated since scipy 1.17 in favour of a package of its own; still the reference here.
        warnings.simplefilter("ignore", DeprecationWarning)
        from scipy import odr

        data = odr.RealData(
            traverse.position, traverse.ddm, sx=traverse.u_position, sy=traverse.u_ddm
        )
        model = odr.Model(_line)
        found = odr.ODR(data, model, beta0=[1.0, 0.0014], maxit=200).run()
    u = np.sqrt(np.diag(found.cov_beta))
    return float(found.beta[0]), float(u[0]), float(found.beta[1]), float(u[1])


def _line(beta: Floats, x: Floats) -> Floats:
    return float(beta[1]) * (x - float(beta[0]))


def noisy(u_x: Floats, u_y: Floats, seed: int) -> Traverse:
    rng = np.random.default_rng(seed)
    x = np.linspace(-90.0, 90.0, len(u_x))
    ddm = 0.00145 * (x - 2.0) + u_y * rng.standard_normal(len(x))
    seen = np.sort(x + u_x * rng.standard_normal(len(x)))
    return Traverse("offset_m", seen, ddm, u_y, u_x)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.05, 1.5), st.floats(1e-4, 2e-3))
def test_alike_everywhere_it_is_orthogonal_regression(seed: int, u_x: float, u_y: float) -> None:
    traverse = noisy(np.full(15, u_x), np.full(15, u_y), seed)
    fit = fit_traverse(traverse)
    zero, zero_u, slope, slope_u = by_odr(traverse)
    assert fit.alignment == pytest.approx(zero, abs=0.02 * zero_u)
    assert fit.alignment_u == pytest.approx(zero_u, rel=0.01)
    assert fit.sensitivity == pytest.approx(slope, abs=0.3 * slope_u)
    assert fit.sensitivity_u == pytest.approx(slope_u, rel=0.01)


def test_a_place_that_is_less_certain_weighs_less() -> None:
    u_x = np.where(np.arange(15) % 3 == 0, 3.0, 0.1)
    traverse = noisy(u_x, np.full(15, 5e-4), 4)
    fit = fit_traverse(traverse)
    zero, zero_u, slope, slope_u = by_odr(traverse)
    assert fit.alignment == pytest.approx(zero, abs=0.1 * zero_u)
    assert fit.alignment_u == pytest.approx(zero_u, rel=0.05)
    assert fit.sensitivity == pytest.approx(slope, abs=0.1 * slope_u)
    alike = fit_traverse(Traverse("offset_m", traverse.position, traverse.ddm, traverse.u_ddm))
    assert abs(alike.alignment - zero) > 0.3 * zero_u


def test_the_attenuation_is_what_the_docstring_says() -> None:
    """2000 traverses of 1.5 m: the slope is low by u^2 over the variance of the positions."""
    u_x, u_y = np.full(15, 1.5), np.full(15, 1e-4)
    x = np.linspace(-90.0, 90.0, 15)
    rng = np.random.default_rng(8)
    slopes = []
    for _ in range(2000):
        seen = x + u_x * rng.standard_normal(15)
        order = np.argsort(seen)
        traverse = Traverse("offset_m", seen[order], (0.00145 * x)[order], u_y, u_x)
        slopes.append(fit_traverse(traverse).sensitivity)
    low = 1.0 - float(np.mean(slopes)) / 0.00145
    expected = 1.5**2 / float(np.var(x))
    assert low == pytest.approx(expected, abs=4.0 * float(np.std(slopes)) / 0.00145 / 2000**0.5)


def test_positions_that_are_certain_change_nothing() -> None:
    traverse = noisy(np.zeros(11), np.full(11, 5e-4), 2)
    plain = Traverse("offset_m", traverse.position, traverse.ddm, traverse.u_ddm)
    assert fit_traverse(traverse) == fit_traverse(plain)
