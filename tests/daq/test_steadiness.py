"""A watch knows a moving value from a settled one, whatever the noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats

from daq.reading import Quality, Reading
from daq.steadiness import SHOWN, WINDOW, Watch


def reading(value: float, n: int, quality: Quality = Quality.OK) -> Reading:
    return Reading("ddm", value, 0.0005, "rx", "width", 0, n * 100_000_000, quality=quality)


def watch_of(values: list[float] | np.ndarray, target: float | None = None) -> Watch:
    watch = Watch(target=target, settle=0.0005)
    for n, value in enumerate(values):
        watch.add(reading(float(value), n))
    return watch


def test_a_constant_value_with_noise_is_steady(rng: np.random.Generator) -> None:
    steady = [watch_of(0.1 + 0.0003 * rng.standard_normal(WINDOW)).steady for _ in range(200)]
    assert np.mean(steady) > 0.9


@pytest.mark.parametrize("per_reading", [0.0005, -0.002])
def test_a_value_that_moves_is_not_steady(rng: np.random.Generator, per_reading: float) -> None:
    ramp = 0.1 + per_reading * np.arange(WINDOW)
    steady = [watch_of(ramp + 0.0003 * rng.standard_normal(WINDOW)).steady for _ in range(200)]
    assert np.mean(steady) < 0.05


def test_the_slope_is_that_of_a_least_squares_line(rng: np.random.Generator) -> None:
    """Against scipy.stats.linregress."""
    values = 0.02 * np.arange(WINDOW) + rng.standard_normal(WINDOW)
    trend = watch_of(values).trend
    assert trend is not None
    expected = scipy.stats.linregress(0.1 * np.arange(WINDOW), values)
    assert trend.slope_per_s == pytest.approx(expected.slope)


def test_a_reading_without_a_value_empties_the_window() -> None:
    watch = watch_of([0.1] * WINDOW)
    watch.add(reading(math.nan, WINDOW, Quality.OVER))
    assert not watch.steady
    assert math.isnan(watch.shown)


def test_best_is_the_shown_value_closest_to_the_target() -> None:
    watch = watch_of([0.1, 0.1, 0.1, 0.15, 0.15, 0.15, 0.3, 0.3, 0.3], target=0.155)
    assert watch.best == pytest.approx(0.15)
    assert watch.shown == pytest.approx(0.3)
    assert watch.rate_hz == pytest.approx(10.0)
    assert SHOWN == 3
