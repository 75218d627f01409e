"""Trends against invented histories whose truth is known; `make study` prints the tables.

Every history has 60 monthly visits, some missed, some with a gross error, a season, and noise of
which a part is remembered from month to month.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from procedures.history.drift import Drift, fit_drift, leaves_limits
from procedures.history.model import NS_PER_YEAR
from procedures.history.observations import observe
from tests.procedures.history.invented import Invented, Recipe, invent

pytestmark = [pytest.mark.study, pytest.mark.timeout(600)]

HISTORIES = 200

NOISES = {
    "white": (0.0, 0.1),
    "half slow, 1 month": (0.5, 0.083),
    "half slow, 2 months": (0.5, 0.17),
    "mostly slow, 2 months": (0.8, 0.17),
}


def _recipe(rng: np.random.Generator, slow: float, tau_yr: float) -> Recipe:
    return Recipe(
        per_year=float(rng.uniform(-1.5, 1.5)),
        slow=slow,
        tau_yr=tau_yr,
        season=float(rng.choice([0.0, 0.7, 2.0])),
        season_phase=float(rng.random()),
        missed=0.08,
        outliers=0.02,
    )


def _fitted(made: Invented) -> Drift:
    drift = fit_drift(observe(made.visits))
    assert drift is not None
    return drift


def _share(hits: int, of: int) -> str:
    return f"{100 * hits / of:5.1f} %"


def test_the_drift_lies_in_its_interval_95_times_in_100() -> None:
    print("\nnoise                    slope covered  level covered  half width  true per year")
    covered = 0
    for name, (slow, tau_yr) in NOISES.items():
        rng = np.random.default_rng(410)
        hits, level_hits, widths = 0, 0, []
        for _ in range(HISTORIES):
            recipe = _recipe(rng, slow, tau_yr)
            made = invent(recipe, rng)
            drift = _fitted(made)
            hits += abs(drift.per_year - recipe.per_year) <= drift.half_width
            level_hits += _level_covered(recipe, made, drift)
            widths.append(drift.half_width)
        covered += hits
        print(
            f"{name:<24} {_share(hits, HISTORIES):>13}  {_share(level_hits, HISTORIES):>13}"
            f"  {np.median(widths):10.2f}  -1.5 to 1.5"
        )
        # 200 trials at 0.95 have a standard deviation of 1.5 per cent.
        assert hits / HISTORIES >= 0.92
    print(f"all together: {_share(covered, HISTORIES * len(NOISES))}")
    assert covered / (HISTORIES * len(NOISES)) >= 0.945


def test_the_interval_holds_for_short_and_for_long_histories() -> None:
    print("\nyears   slope covered   half width")
    for years in (2.0, 3.0, 10.0):
        rng = np.random.default_rng(415)
        hits, widths = 0, []
        for _ in range(HISTORIES):
            recipe = replace(_recipe(rng, 0.5, 0.083), years=years)
            drift = _fitted(invent(recipe, rng))
            hits += abs(drift.per_year - recipe.per_year) <= drift.half_width
            widths.append(drift.half_width)
        print(f"{years:5.0f} {_share(hits, HISTORIES):>15} {np.median(widths):12.2f}")
        assert hits / HISTORIES >= 0.90


def _level_covered(recipe: Recipe, made: Invented, drift: Drift) -> bool:
    """Whether the level half a year on lies in the band."""
    when = float(made.t_yr[-1]) + 0.5
    truth = recipe.per_year * when
    truth += recipe.season * np.cos(2 * np.pi * (when - recipe.season_phase))
    middle, half = drift.expected(np.array([when]))
    return bool(abs(middle[0] - truth) <= half[0])


def test_the_drift_is_found_through_adjustments_too() -> None:
    rng = np.random.default_rng(411)
    hits, adjusted, false_steps = 0, 0, 0
    for _ in range(HISTORIES):
        recipe = replace(_recipe(rng, 0.5, 0.1), per_year=float(rng.uniform(2.0, 4.0)), band=5.0)
        made = invent(recipe, rng)
        drift = _fitted(made)
        adjusted += sum(visit.adjusted for visit in made.visits)
        hits += abs(drift.per_year - recipe.per_year) <= drift.half_width
        false_steps += bool(drift.steps)
    print(
        f"\n{adjusted / HISTORIES:.1f} adjustments a history: slope covered "
        f"{_share(hits, HISTORIES)}, taken for a step {_share(false_steps, HISTORIES)}"
    )
    assert hits / HISTORIES >= 0.92
    assert false_steps / HISTORIES <= 0.05


def test_the_date_out_of_limits_lies_in_its_interval() -> None:
    rng = np.random.default_rng(412)
    hits, said = 0, 0
    for _ in range(HISTORIES):
        recipe = Recipe(
            per_year=float(rng.uniform(0.8, 2.0)), slow=0.5, tau_yr=0.1, missed=0.08, high=12.0
        )
        made = invent(recipe, rng)
        drift = _fitted(made)
        now = made.visits[-1].utc_ns
        out = leaves_limits(drift, None, 12.0, now)
        truth = max(recipe.begin_ns + round(12.0 / recipe.per_year * NS_PER_YEAR), now)
        earliest = out.earliest_utc_ns or np.inf
        latest = out.latest_utc_ns or np.inf
        week = NS_PER_YEAR / 52
        hits += earliest - week <= truth <= latest + week
        said += out.utc_ns is not None
    print(f"\ndate said in {_share(said, HISTORIES)}, true date in its interval", end=" ")
    print(_share(hits, HISTORIES))
    assert hits / HISTORIES >= 0.92


def test_a_clean_history_has_no_step_95_times_in_100() -> None:
    print("\nnoise                    histories with a false step")
    for name, (slow, tau_yr) in NOISES.items():
        rng = np.random.default_rng(413)
        false = 0
        for _ in range(HISTORIES):
            false += bool(_fitted(invent(_recipe(rng, slow, tau_yr), rng)).steps)
        print(f"{name:<24} {_share(false, HISTORIES)}")
        assert false / HISTORIES <= 0.05


@pytest.mark.parametrize("mended", [False, True])
def test_a_step_is_found_and_dated_within_one_visit(mended: bool) -> None:
    print(f"\nadjusted at the visit that found it: {mended}")
    print("step, sigmas   found   within one visit   slope covered")
    for size in (4.0, 6.0, 10.0):
        rng = np.random.default_rng(414)
        found, dated, hits = 0, 0, 0
        for _ in range(HISTORIES):
            recipe = replace(
                _recipe(rng, 0.5, 0.083),
                per_year=float(rng.uniform(-0.3, 0.3)),
                season=0.5,
                steps=((float(rng.uniform(0.5, 4.5)), size * float(rng.choice([-1, 1]))),),
                band=3.6 if mended else None,
            )
            made = invent(recipe, rng)
            drift = _fitted(made)
            visits = [int(drift.seen.visit[k]) for k in drift.steps]
            found += bool(visits)
            dated += any(abs(visit - made.step_visits[0]) <= 1 for visit in visits)
            hits += abs(drift.per_year - recipe.per_year) <= drift.half_width
        print(
            f"{size:12.0f} {_share(found, HISTORIES):>7} {_share(dated, HISTORIES):>18}"
            f" {_share(hits, HISTORIES):>15}"
        )
        if size >= 6.0:
            assert dated / HISTORIES >= 0.95
