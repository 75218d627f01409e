"""The fit under noise that remembers."""

from __future__ import annotations

import numpy as np
import pytest

from procedures.history.noise import Whitening, fit, whitenings


def test_under_white_noise_alone_it_is_ordinary_least_squares(rng):
    """Against scipy.stats.linregress: slope, its standard error and Student's t."""
    from scipy.stats import linregress

    t_yr = np.linspace(0.0, 5.0, 40)
    values = 3.0 + 0.7 * t_yr + rng.standard_normal(40)
    design = np.column_stack([np.ones(40), t_yr])
    fitted = fit(design, values, [Whitening(np.eye(40), 0.0, 1.0)])
    other = linregress(t_yr, values)
    assert fitted.beta[1] == pytest.approx(other.slope)
    assert np.sqrt(fitted.cov[1, 1]) == pytest.approx(other.stderr)
    assert fitted.quantile() == pytest.approx(2.0244, abs=1e-4)  # t tables, 38 degrees, 0.975


def test_whitening_takes_the_correlation_out():
    """The whitened identity reproduces the inverse of the correlation matrix."""
    t_yr = np.array([0.0, 0.1, 0.3, 0.35, 1.0])
    for model in whitenings(t_yr):
        correlation = model.factor @ model.factor.T
        whitened = model.apply(np.eye(5))
        assert whitened.T @ whitened == pytest.approx(np.linalg.inv(correlation), abs=1e-6)
        assert model.log_det == pytest.approx(np.linalg.slogdet(correlation)[1], abs=1e-9)


def test_the_priors_add_up_to_one():
    models = whitenings(np.linspace(0.0, 5.0, 12))
    assert sum(model.prior for model in models) == pytest.approx(1.0)


def test_slow_noise_widens_the_interval(rng):
    """A random walk must not pass for a certain drift."""
    t_yr = np.arange(60) / 12.0
    design = np.column_stack([np.ones(60), t_yr])
    walk = np.cumsum(rng.standard_normal(60))
    models = whitenings(t_yr)
    honest = fit(design, walk, models)
    white_only = fit(design, walk, models[:1])
    assert honest.cov[1, 1] > 4.0 * white_only.cov[1, 1]


def test_two_readings_at_the_same_moment_do_no_harm():
    t_yr = np.array([0.0, 0.5, 0.5, 1.0, 1.5, 2.0])
    design = np.column_stack([np.ones(6), t_yr])
    assert np.isfinite(fit(design, t_yr * 2.0 + 0.1, whitenings(t_yr)).beta).all()
