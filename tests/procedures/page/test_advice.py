"""Advice while a hand turns a control."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.page.advice import FIT_S, Sample, advise
from procedures.page.fit import fit_line

BAND = 0.001


def turned(values: list[float], *, step_s: float = 0.1) -> list[Sample]:
    return [Sample(i * step_s, v) for i, v in enumerate(values)]


def code(values: list[float], *, target: float = 0.155) -> str:
    return advise(turned(values), target=target, band=BAND).code


def test_a_value_that_moves_toward_the_target_is_closer() -> None:
    assert code([0.100 + 0.001 * i for i in range(20)]) == "closer"


def test_near_the_target_the_hand_is_told_to_slow_down() -> None:
    assert code([0.130 + 0.001 * i for i in range(20)]) == "near"


def test_a_value_that_went_through_the_target_is_past_it() -> None:
    assert code([0.140 + 0.0015 * i for i in range(20)]) == "past"


def test_past_it_stays_past_it_while_the_hand_rests() -> None:
    assert code([0.140 + 0.0015 * i for i in range(14)] + [0.1605] * 15) == "past"


def test_coming_back_after_overshooting_is_closer_again() -> None:
    values = [0.140 + 0.003 * i for i in range(10)] + [0.170 - 0.0008 * i for i in range(13)]
    assert code(values) in ("closer", "near")


def test_a_value_that_moves_away_from_the_side_it_began_on_is_told_so() -> None:
    assert code([0.140 - 0.001 * i for i in range(20)]) == "away"


def test_a_value_that_rests_outside_the_band_is_not_moving() -> None:
    assert code([0.140 + 0.00005 * (-1) ** i for i in range(20)]) == "still"


def test_inside_the_band_the_hand_holds() -> None:
    assert code([0.1552] * 20) == "hold"


def test_a_null_is_approached_from_the_90_hz_side_as_from_the_other() -> None:
    rising, falling = (
        [-0.03 + 0.0005 * i for i in range(20)],
        [0.03 - 0.0005 * i for i in range(20)],
    )
    assert code(rising, target=0.0) == code(falling, target=0.0) == "closer"


@pytest.mark.parametrize(("target", "band"), [(None, None), (0.155, None), (None, 0.001)])
def test_without_a_target_and_a_band_there_is_no_advice(
    target: float | None, band: float | None
) -> None:
    assert advise(turned([0.1] * 20), target=target, band=band).words == ""


def test_three_readings_say_nothing() -> None:
    assert code([0.1, 0.11, 0.12]) == ""
    assert advise([], target=0.0, band=BAND).code == ""


def test_noise_alone_says_that_nothing_moves() -> None:
    """Beyond three standard uncertainties: Student's t with 11 degrees of freedom gives 1.2 %."""
    rng = np.random.default_rng(7)
    told = [code(list(0.140 + rng.normal(0.0, 0.0003, 13))) for _ in range(400)]
    assert told.count("still") / len(told) > 0.97


def test_the_line_agrees_with_numpy() -> None:
    """Against numpy.polyfit with its own covariance."""
    rng = np.random.default_rng(3)
    t = np.linspace(0.0, FIT_S, 13)
    v = 0.1 + 0.02 * t + rng.normal(0.0, 0.001, t.size)
    (slope, offset), covariance = np.polyfit(t, v, 1, cov=True)
    line = fit_line(list(t), list(v))
    assert line is not None
    assert line.slope == pytest.approx(slope, rel=1e-9)
    assert line.u_slope == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-9)
    assert line.at_end == pytest.approx(offset + slope * t[-1], rel=1e-9)


@given(st.lists(st.floats(-0.4, 0.4), max_size=40), st.floats(-0.4, 0.4))
def test_turning_everything_round_changes_nothing(values: list[float], target: float) -> None:
    """The tones' names do not matter: mirrored readings and target give the same advice."""
    mirrored = [-v for v in values]
    assert code(values, target=target) == code(mirrored, target=-target)
