"""Steps are found where they are, and nowhere else. The full study is in tests/studies."""

from __future__ import annotations

import numpy as np
import pytest

from procedures.history.drift import fit_drift
from procedures.history.observations import observe
from procedures.history.steps import design_of, find_steps, levels
from tests.procedures.history.invented import Recipe, invent


@pytest.mark.parametrize("size", [-8.0, 8.0])
def test_a_step_is_found_within_one_visit(rng, size):
    made = invent(Recipe(steps=((2.6, size),), season=1.0, slow=0.5, tau_yr=0.1), rng)
    seen = observe(made.visits)
    (step,) = find_steps(seen, season=True)
    assert abs(seen.visit[step] - made.step_visits[0]) <= 1


def test_two_steps_are_both_found(rng):
    made = invent(Recipe(steps=((1.5, 9.0), (3.5, -6.0))), rng)
    seen = observe(made.visits)
    found = [int(seen.visit[k]) for k in find_steps(seen, season=True)]
    assert len(found) == 2
    assert all(abs(a - b) <= 1 for a, b in zip(found, made.step_visits, strict=True))


def test_a_step_that_was_adjusted_away_at_once_is_still_a_step(rng):
    """Lightning strikes between two visits, the next visit finds it and turns it back."""
    made = invent(Recipe(steps=((2.6, 10.0),), band=5.0), rng)
    drift = fit_drift(observe(made.visits))
    assert drift is not None
    assert [int(drift.seen.visit[k]) for k in drift.steps] == made.step_visits


def test_adjustments_are_no_steps(rng):
    made = invent(Recipe(per_year=4.0, band=5.0), rng)
    assert sum(visit.adjusted for visit in made.visits) >= 2
    assert find_steps(observe(made.visits), season=True) == ()


def test_clean_histories_have_none(rng):
    clean = [invent(Recipe(per_year=1.0, season=1.0, outliers=0.02), rng) for _ in range(10)]
    assert sum(bool(find_steps(observe(made.visits), season=True)) for made in clean) <= 1


def test_an_exact_history_has_none():
    made = invent(Recipe(noise=0.0, per_year=0.3), np.random.default_rng(1))
    assert find_steps(observe(made.visits), season=False) == ()


def test_a_few_visits_have_none(rng):
    made = invent(Recipe(years=0.5, steps=((0.25, 50.0),)), rng)
    assert find_steps(observe(made.visits), season=False) == ()


def test_levels_begin_at_adjustments_and_steps(rng):
    seen = observe(invent(Recipe(years=1.0), rng).visits)
    assert list(levels(seen, [4])) == [0] * 4 + [1] * 8


def test_the_design_has_a_column_a_level_then_drift_then_season():
    t_yr = np.array([0.0, 0.25, 1.0])
    design = design_of(t_yr, np.array([0, 0, 1]), 2, season=True, middle_yr=0.5)
    expected = [[1, 0, -0.5, 1, 0], [1, 0, -0.25, 0, 1], [0, 1, 0.5, 1, 0]]
    assert design == pytest.approx(np.array(expected, dtype=float), abs=1e-12)
