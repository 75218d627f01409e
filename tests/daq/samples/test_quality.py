"""The estimator against the Cramer-Rao bound; the long version is in the studies."""

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Truth, fisher_ddm_u, random_truth, record


def test_sixty_records_are_unbiased_efficient_and_know_their_uncertainty() -> None:
    rng = np.random.default_rng(20)
    in_bound, in_u, ratio = [], [], []
    for _ in range(60):
        truth = random_truth(rng)
        ddm = analyze_samples(record(truth, rng), truth.rate_hz).ddm
        bound = fisher_ddm_u(truth)
        in_bound.append((ddm.value - truth.ddm) / bound)
        in_u.append((ddm.value - truth.ddm) / ddm.u)
        ratio.append(ddm.u / bound)
    # 60 records tell a mean to 0.13 and a standard deviation to 9 per cent of one.
    assert abs(np.mean(in_bound)) < 0.4
    assert 0.7 < np.std(in_bound) < 1.3
    assert np.count_nonzero(np.abs(in_u) > 2.0) <= 8
    assert np.median(ratio) == pytest.approx(1.01, abs=0.03)


def test_the_bound_is_the_textbook_formula_where_that_holds() -> None:
    """DDM variance of 4 sigma^2 / (N c0^2) plus DDM^2 sigma^2 / (N c0^2), long record."""
    truth = Truth(duration_s=2.0, m90=0.1, m150=0.4)
    per_sample = truth.sigma / truth.c0 / np.sqrt(truth.samples)
    expected = per_sample * np.sqrt(4.0 + truth.ddm**2)
    assert fisher_ddm_u(truth) == pytest.approx(expected, rel=2e-3)


def test_absent_components_do_not_cost_precision() -> None:
    """Looking for ident, hum and harmonics leaves the uncertainty of a clean record alone."""
    truth = Truth(duration_s=0.3)
    u = analyze_samples(record(truth, np.random.default_rng(21)), truth.rate_hz).ddm.u
    assert u < 1.05 * fisher_ddm_u(truth) * 1.05
