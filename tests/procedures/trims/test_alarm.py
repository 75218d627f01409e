"""Alarm points by both conventions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.alarm import AlarmBasis, alarm_points, course_shift_alarm, power_alarm_db
from procedures.trims.level import apply_level_db


@given(
    st.floats(0.01, 0.3),
    st.floats(1.0, 50.0),
    st.sampled_from(["sensitivity", "width"]),
    st.sampled_from([1.0, -1.0]),
)
def test_the_decibels_lead_to_the_points(
    nominal: float, percent: float, basis: AlarmBasis, sign: float
) -> None:
    points = alarm_points(sign * nominal, percent, basis)
    assert apply_level_db(sign * nominal, points.wide_db) == pytest.approx(points.wide_ddm)
    assert apply_level_db(sign * nominal, points.narrow_db) == pytest.approx(points.narrow_ddm)
    assert abs(points.wide_ddm) < nominal < abs(points.narrow_ddm)


@pytest.mark.parametrize("percent", [0.0, 100.0, -17.0, float("nan")])
def test_an_impossible_percentage_is_refused(percent: float) -> None:
    with pytest.raises(InputError, match="above 0 and below 100"):
        alarm_points(0.155, percent, "width")


def test_a_nominal_of_zero_is_refused() -> None:
    with pytest.raises(InputError, match="nominal DDM"):
        alarm_points(0.0, 17.0, "width")


@pytest.mark.parametrize("nominal", [5.0, -0.41])
def test_a_nominal_that_two_tones_cannot_make_is_refused(nominal: float) -> None:
    """Two tones of 20 per cent each make 0.4 at most before one of them folds (AM theory)."""
    with pytest.raises(InputError, match="no receiver shows it"):
        alarm_points(nominal, 17.0, "width")


def test_course_shift_takes_the_stricter_of_distance_and_ddm() -> None:
    """Standards file 1.3: 10.5 m is 0.015225 DDM, so the 0.015 DDM of category I is tighter."""
    first = course_shift_alarm(10.5, 0.00145, limit_ddm=0.015)
    assert (first.alarm_ddm, first.decided_by) == (0.015, "ddm")
    assert first.from_distance_ddm == pytest.approx(0.015225)
    second = course_shift_alarm(7.5, 0.00145)
    assert second.alarm_ddm == pytest.approx(0.010875)
    assert second.decided_by == "distance"


def test_course_shift_refuses_what_is_not_positive() -> None:
    with pytest.raises(InputError, match="displacement sensitivity"):
        course_shift_alarm(7.5, -0.00145)
    with pytest.raises(InputError, match="DDM limit"):
        course_shift_alarm(7.5, 0.00145, limit_ddm=0.0)


@pytest.mark.parametrize(("percent", "db"), [(80.0, -0.969), (50.0, -3.010), (100.0, 0.0)])
def test_power_alarms(percent: float, db: float) -> None:
    """Standards file D8."""
    assert power_alarm_db(percent) == pytest.approx(db, abs=0.0005)


def test_power_of_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="at most 100"):
        power_alarm_db(0.0)
