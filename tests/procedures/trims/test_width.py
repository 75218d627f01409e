"""Course width from the distance."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.width import course_width


@given(st.floats(2100.0, 6000.0))
def test_sensitivity_and_width_agree_at_the_threshold(distance_m: float) -> None:
    found = course_width(distance_m)
    half_m = distance_m * math.tan(math.radians(found.course_width_deg / 2))
    assert half_m == pytest.approx(105.0)
    assert found.sensitivity_per_m * half_m == pytest.approx(0.155)


def test_a_short_runway_is_limited_to_six_degrees() -> None:
    found = course_width(1500.0)
    assert (found.course_width_deg, found.limited) == (6.0, True)
    assert found.tailored_deg == pytest.approx(8.008, abs=0.001)


def test_point_b_adds_1050_metres_where_six_degrees_would_be_exceeded() -> None:
    """Standards file E1, read in a secondary text."""
    short = course_width(1500.0, point_b=True)
    assert short.at_point_b
    assert short.course_width_deg == pytest.approx(math.degrees(2 * math.atan(105 / 2550)))
    assert not course_width(3000.0, point_b=True).at_point_b


@pytest.mark.parametrize("distance_m", [0.0, -3000.0, math.nan, math.inf])
def test_an_impossible_distance_is_refused(distance_m: float) -> None:
    with pytest.raises(InputError, match="distance has to be positive"):
        course_width(distance_m)


def test_uncertainty_of_the_distance_reaches_the_width() -> None:
    """Against a difference quotient."""
    found = course_width(3120.0, u_distance_m=2.0)
    by_difference = course_width(3119.0).course_width_deg - course_width(3121.0).course_width_deg
    assert found.course_width_u_deg == pytest.approx(by_difference, rel=1e-5)
    assert course_width(1500.0, u_distance_m=2.0).course_width_u_deg == 0.0
    with pytest.raises(InputError, match="uncertainty of the distance"):
        course_width(3120.0, u_distance_m=-1.0)
