"""Slow drift."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.drift import RandomWalk


def test_drift_is_a_function_of_time():
    """Looking twice, or at other times in between, changes nothing."""
    walk, other = (RandomWalk(1.0, np.random.default_rng(2)) for _ in range(2))
    late = walk.at(500.0)
    assert other.at(3.0) != 0
    assert other.at(500.0) == late == walk.at(500.0)
    assert walk.at(0.0) == walk.at(-5.0) == 0.0


def test_drift_grows_with_the_square_root_of_time():
    """Standard deviation after one hour is what was asked for (200 walks, 5 per cent each)."""
    ends = [RandomWalk(2.0, np.random.default_rng(seed)).at(3600.0) for seed in range(200)]
    assert np.std(ends) == pytest.approx(2.0, rel=0.2)
