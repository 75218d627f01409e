"""Frozen values are found in time, and a receiver that really is quiet is never accused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.frozen import FALSE_ALARM, FrozenWatch, NoiseFloor
from daq.reading import Quality

TENTH_S = 100_000_000


def verdicts(watch, values, *, every_ns=TENTH_S, form="+.4f"):
    return [watch.see(format(v, form), n * every_ns) for n, v in enumerate(values)]


@pytest.mark.parametrize(("sigma", "limit"), [(0.0003, 9), (0.0001, 18), (0.00005, 44)])
def test_the_limit_is_the_first_that_chance_hardly_reaches(sigma, limit):
    """Hand-worked from tables of erf: P = 0.1324, 0.3829, 0.6827; 1 + ln(1e-7) / ln P."""
    assert NoiseFloor(sigma, 0.0001).limit == limit


def test_a_value_that_stands_still_is_frozen_from_the_limit_on_and_free_when_it_moves():
    floor = NoiseFloor(0.0001, 0.0001)
    seen = verdicts(FrozenWatch(floor), [0.155] * 20 + [0.1551, 0.1551])
    assert seen == [Quality.OK] * (floor.limit - 1) + [Quality.FROZEN] * 3 + [Quality.OK] * 2


@pytest.mark.parametrize("sigma", [0.00002, 0.00005, 0.0001, 0.0003])
def test_a_day_of_honest_readings_is_never_called_frozen(sigma):
    """Worst case: exactly the declared noise, the mean in the middle of a step; ten a second."""
    rng = np.random.default_rng(16)
    steps = np.rint(rng.normal(0.0, sigma, 864_000) / 0.0001).astype(int)
    moved = np.flatnonzero(np.diff(steps)) + 1
    runs = np.diff(np.concatenate([[0], moved, [len(steps)]]))
    limit = NoiseFloor(sigma, 0.0001).limit
    # The watch itself is run over the worst stretch only: a day would take seconds.
    longest = int(runs.argmax())
    assert runs[longest] < limit
    start = int(np.concatenate([[0], moved])[longest])
    stretch = steps[start : start + runs[longest]] * 0.0001
    assert set(verdicts(FrozenWatch(NoiseFloor(sigma, 0.0001)), stretch)) == {Quality.OK}


def test_the_stated_bound_on_the_chance_of_a_repeat_holds():
    """Monte Carlo: wherever the mean lies within a step, repeats are no likelier than stated."""
    rng = np.random.default_rng(17)
    stated = math.erf(1.0 / (2.0 * math.sqrt(2.0) * 1.0))
    for mean in (0.0, 0.2, 0.5):
        steps = np.rint(rng.normal(mean, 1.0, 200_000))
        same = float(np.mean(steps[:-1] == steps[1:]))
        assert same < stated
    assert stated ** (NoiseFloor(1.0, 1.0).limit - 1) <= FALSE_ALARM


def test_values_that_are_asked_for_faster_than_they_are_made_say_nothing():
    floor = NoiseFloor(0.0003, 0.0001, update_s=0.5)
    assert set(verdicts(FrozenWatch(floor), [0.155] * 40)) == {Quality.OK}
    assert verdicts(FrozenWatch(floor), [0.155] * 60)[-1] is Quality.FROZEN


def test_without_a_known_noise_no_number_of_repeats_says_anything():
    assert set(verdicts(FrozenWatch(None), [0.155] * 10_000)) == {Quality.OK}
    silent = NoiseFloor(1e-9, 0.0001)
    assert set(verdicts(FrozenWatch(silent), [0.155] * 10_000)) == {Quality.OK}


def test_a_time_stamp_that_does_not_move_is_stale():
    watch = FrozenWatch(None)
    stamps = ["10.1", "10.2", "10.2", "10.2", "10.3"]
    seen = [watch.see(f"{n}", n, stamp=stamp) for n, stamp in enumerate(stamps)]
    assert seen == [Quality.OK, Quality.OK, Quality.STALE, Quality.STALE, Quality.OK]


def test_a_time_stamp_that_goes_back_is_stale_and_one_that_counts_round_is_not():
    """Answers told again in the wrong order; and a count of one digit, the shortest there is."""
    watch = FrozenWatch(None)
    seen = [watch.see("0.1", n, stamp=stamp) for n, stamp in enumerate("345634578")]
    assert seen == [*[Quality.OK] * 4, *[Quality.STALE] * 3, *[Quality.OK] * 2]
    watch = FrozenWatch(None)
    round_ = [watch.see("0.1", n, stamp=str(n % 10)) for n in range(50)]
    assert set(round_) == {Quality.OK}
