"""Stored values that stand still are found as live ones are, and the whole stretch of them."""

from __future__ import annotations

import numpy as np
import pytest

from daq.frozen import NoiseFloor
from daq.frozen_rows import frozen_rows

FLOOR = NoiseFloor(sigma=0.0001, resolution=0.0001)
"""18 equal values are more than chance allows: see `daq.frozen`."""


def noisy(n: int, seed: int = 1) -> list[float]:
    values = 0.01 + FLOOR.sigma * np.random.default_rng(seed).standard_normal(n)
    return [round(float(value), 4) for value in values]


def stored(values: list[float], every_s: float = 0.2) -> frozenset[int]:
    return frozen_rows(values, [every_s * n for n in range(len(values))], FLOOR)


@pytest.mark.parametrize(("still", "found"), [(17, 0), (18, 18), (40, 40)])
def test_a_stretch_counts_as_a_whole_from_the_limit_on(still: int, found: int) -> None:
    assert FLOOR.limit == 18
    values = [*noisy(30), *[0.0123] * still, *noisy(30, seed=2)]
    assert sorted(stored(values)) == list(range(30, 30 + found))


def test_two_stretches_are_two() -> None:
    values = [*[0.2] * 20, 0.1, *[0.2] * 20, *[0.2001] * 17]
    assert sorted(stored(values)) == [*range(20), *range(21, 41)]


def test_honest_noise_is_never_accused() -> None:
    for seed in range(20):
        assert stored(noisy(2000, seed)) == frozenset()


def test_repeats_within_the_time_of_an_update_say_nothing() -> None:
    """Ten rows a second of a value that is fresh once a second: 3 s are three equal values."""
    slow = NoiseFloor(FLOOR.sigma, FLOOR.resolution, update_s=1.0)
    times = [0.1 * n for n in range(300)]
    assert frozen_rows([0.2] * 30, times[:30], slow) == frozenset()
    assert len(frozen_rows([0.2] * 300, times, slow)) == 300


def test_nothing_is_nothing() -> None:
    assert stored([]) == frozenset()
