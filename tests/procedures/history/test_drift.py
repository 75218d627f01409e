"""Drift, season and the date out of limits. The full study is in tests/studies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.history.drift import HORIZON_YR, fit_drift, leaves_limits
from procedures.history.model import NS_PER_DAY, NS_PER_YEAR, Visit
from procedures.history.observations import observe
from tests.procedures.history.invented import START_NS, Recipe, invent, measured

# Exact histories: the answer can be worked out by hand.
EXACT = Recipe(noise=1e-9, per_year=2.0)


def _fit(recipe, seed=7):
    made = invent(recipe, np.random.default_rng(seed))
    drift = fit_drift(observe(made.visits))
    assert drift is not None
    return made, drift


def test_an_exact_drift_is_found_exactly():
    _, drift = _fit(EXACT)
    assert drift.per_year == pytest.approx(2.0, abs=1e-8)
    assert drift.significant


def test_the_date_out_of_limits_is_where_the_line_meets_them():
    """From 0 at 2 a year, 13 is met after 6.5 years; dates are looked for every 3 days."""
    made, drift = _fit(EXACT)
    out = leaves_limits(drift, None, 13.0, made.visits[-1].utc_ns)
    assert out.side == "high"
    assert out.utc_ns is not None
    met = (out.utc_ns - made.visits[0].utc_ns) / NS_PER_YEAR
    assert met == pytest.approx(6.5, abs=3.1 / 365.25)


def test_the_interval_of_the_date_holds_the_date():
    made, drift = _fit(Recipe(per_year=2.0, noise=0.5))
    out = leaves_limits(drift, -20.0, 14.0, made.visits[-1].utc_ns)
    assert out.earliest_utc_ns is not None
    assert out.utc_ns is not None
    assert out.latest_utc_ns is not None
    assert out.earliest_utc_ns < out.utc_ns < out.latest_utc_ns


def test_a_falling_parameter_leaves_at_the_low_end():
    made, drift = _fit(Recipe(noise=1e-9, per_year=-2.0))
    assert leaves_limits(drift, -12.0, 12.0, made.visits[-1].utc_ns).side == "low"


def test_what_is_outside_already_leaves_now():
    made, drift = _fit(EXACT)
    now = made.visits[-1].utc_ns
    out = leaves_limits(drift, None, 5.0, now)
    assert out.utc_ns is not None
    assert abs(out.utc_ns - now) < NS_PER_DAY


def test_without_drift_or_beyond_the_horizon_no_date_is_said():
    made, drift = _fit(Recipe(noise=1e-9, per_year=0.01))
    assert HORIZON_YR == 10.0
    assert leaves_limits(drift, None, 1.0, made.visits[-1].utc_ns).utc_ns is None
    assert leaves_limits(drift, None, None, made.visits[-1].utc_ns).side == ""


def test_a_season_is_found_with_its_day():
    """The history begins on 15 January 2027; a quarter of a year on it is 16 April, day 106."""
    _, drift = _fit(Recipe(season=3.0, season_phase=0.25))
    assert drift.season is not None
    assert drift.season.amplitude == pytest.approx(3.0, abs=0.6)
    assert drift.season.peak_day == pytest.approx(106, abs=10)


def test_a_season_does_not_pass_for_a_drift():
    """Two and a half years, ending on a summit: a line through it would rise."""
    _, drift = _fit(Recipe(years=2.6, season=4.0, season_phase=0.6, noise=0.3))
    assert abs(drift.per_year) <= drift.half_width


def test_a_year_is_too_short_for_a_season():
    _, drift = _fit(Recipe(years=1.0, season=3.0))
    assert drift.season is None


def test_an_adjustment_is_not_drift():
    """The control is turned back three times; the drift between is what counts."""
    made, drift = _fit(Recipe(per_year=3.0, noise=0.2, band=4.0))
    assert sum(visit.adjusted for visit in made.visits) >= 3
    assert drift.per_year == pytest.approx(3.0, abs=0.2)
    assert drift.last_level >= 3


@pytest.mark.parametrize("count", [0, 1, 2, 4])
def test_too_few_visits_give_no_fit(rng, count):
    assert fit_drift(observe(invent(Recipe(), rng).visits[:count])) is None


def test_the_band_widens_into_the_future():
    made, drift = _fit(Recipe(per_year=1.0))
    end = float(made.t_yr[-1])
    _, half = drift.expected(np.array([end, end + 1.0, end + 3.0]))
    assert half[0] < half[1] < half[2]


def test_drift_and_interval_scale_with_the_unit():
    """The same history in thousandths gives thousandths of the drift."""
    _, large = _fit(Recipe(per_year=1.0, noise=1.0))
    _, small = _fit(Recipe(per_year=0.001, noise=0.001))
    assert small.per_year == pytest.approx(large.per_year / 1000.0, rel=1e-9)
    assert small.half_width == pytest.approx(large.half_width / 1000.0, rel=1e-9)


def test_coverage_on_a_few_histories(rng):
    """16 of 20 at least: the chance of fewer at 95 per cent is 3 in 1000 (binomial)."""
    hits = 0
    for _ in range(20):
        made = invent(Recipe(per_year=1.0, slow=0.5, tau_yr=0.1, season=1.0), rng)
        drift = fit_drift(observe(made.visits))
        assert drift is not None
        hits += abs(drift.per_year - 1.0) <= drift.half_width
    assert hits >= 16


def test_a_value_that_never_changes_has_no_drift_and_no_season():
    made = invent(Recipe(noise=0.0, target=0.155), np.random.default_rng(1))
    drift = fit_drift(observe(made.visits))
    assert drift is not None
    assert drift.per_year == pytest.approx(0.0, abs=1e-9)
    assert not drift.significant
    assert drift.season is None


@given(
    st.lists(
        st.tuples(
            st.integers(0, 60),
            st.sampled_from([0.0, 1.0, 1.5, -1e6, 1e-9, 3.3]),
            st.booleans(),
        ),
        max_size=25,
    )
)
def test_any_history_gives_a_finite_fit_or_none(rows):
    """Visits on the same day, repeated values, an adjustment at each: no error, no infinity."""
    visits = []
    for number, (month, value, adjusted) in enumerate(sorted(rows, key=lambda row: row[0])):
        utc_ns = START_NS + month * 30 * NS_PER_DAY
        left = measured(0.5 * value, utc_ns + 1_000_000_000) if adjusted else None
        found = measured(value, utc_ns)
        visits.append(Visit(number, "routine", "finished", utc_ns, found, left, adjusted))
    drift = fit_drift(observe(visits))
    if drift is not None:
        assert np.isfinite([drift.per_year, drift.half_width]).all()
        leaves_limits(drift, -1.0, 2.0, visits[-1].utc_ns)
