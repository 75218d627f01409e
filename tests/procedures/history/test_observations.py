"""Visits as arrays, and what stands apart."""

from __future__ import annotations

import dataclasses

import numpy as np

from procedures.history.observations import MOST_VISITS, observe
from tests.procedures.history.invented import Recipe, invent, measured


def test_a_gross_error_is_left_out_and_named(rng):
    visits = invent(Recipe(), rng).visits
    spoilt = dataclasses.replace(visits[20], found=measured(30.0, visits[20].utc_ns))
    seen = observe([*visits[:20], spoilt, *visits[21:]])
    assert 20 in seen.outliers
    assert 20 not in seen.visit


def test_of_normally_distributed_readings_few_are_left_out(rng):
    """4 robust standard deviations: under 1 in 100 for a normal distribution in windows of 7."""
    left_out = sum(len(observe(invent(Recipe(), rng).visits).outliers) for _ in range(40))
    assert left_out / (40 * 60) < 0.01


def test_the_first_visit_after_a_step_is_kept(rng):
    made = invent(Recipe(steps=((2.0, 12.0),)), rng)
    assert observe(made.visits).outliers == ()


def test_what_a_hand_adjusted_is_no_outlier_and_parts_the_history(rng):
    made = invent(Recipe(per_year=0.0, steps=((2.0, 12.0),), band=6.0), rng)
    seen = observe(made.visits)
    (adjusted,) = (i for i, visit in enumerate(made.visits) if visit.adjusted)
    assert adjusted == made.step_visits[0]
    assert list(seen.visit).count(adjusted) == 2
    assert np.all(np.diff(seen.stretch) >= 0)
    assert seen.stretch[-1] == 1


def test_only_the_newest_visits_of_a_very_long_history_are_fitted(rng):
    visits = invent(Recipe(years=40.0), rng).visits
    seen = observe(visits)
    assert len(visits) == 480
    assert seen.visit[-1] == 479
    assert seen.t_yr.size + len(seen.outliers) == MOST_VISITS


def test_nothing_gives_nothing():
    assert observe([]).t_yr.size == 0
    assert observe([]).span_yr == 0.0


def test_a_last_visit_that_was_adjusted_is_no_outlier_though_nothing_confirms_it_yet(rng):
    visits = invent(Recipe(), rng).visits
    last = visits[-1]
    struck = measured(30.0, last.utc_ns)
    left = measured(0.0, last.utc_ns + 600_000_000_000)
    adjusted = dataclasses.replace(last, found=struck, left=left, adjusted=True)
    assert 59 not in observe([*visits[:-1], adjusted]).outliers
    untouched = dataclasses.replace(last, found=struck)
    assert 59 in observe([*visits[:-1], untouched]).outliers
