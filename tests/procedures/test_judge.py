"""Verdicts by JCGM 106:2012."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.judge import Limit, Rule, Verdict, judge

WIDTH = Limit(0.154, 0.156, "1", "width")


@pytest.mark.parametrize(
    ("value", "rule", "verdict"),
    [
        (0.155, "guarded", Verdict.IN_TOLERANCE),
        (0.1554, "guarded", Verdict.IN_TOLERANCE),
        (0.1555, "guarded", Verdict.TOO_CLOSE),
        (0.1564, "guarded", Verdict.TOO_CLOSE),
        (0.1567, "guarded", Verdict.OUT_OF_TOLERANCE),
        (0.1533, "guarded", Verdict.OUT_OF_TOLERANCE),
        (0.156, "simple", Verdict.IN_TOLERANCE),
        (0.1561, "simple", Verdict.OUT_OF_TOLERANCE),
    ],
)
def test_verdicts_about_a_width(value: float, rule: Rule, verdict: Verdict) -> None:
    """Tolerance 0.155 +- 0.001, expanded uncertainty 0.0006."""
    assert judge(value, 0.0003, WIDTH, rule).verdict is verdict


def test_conformance_probability_of_a_diode() -> None:
    """JCGM 106, 7.5 example, from memory: -5.47 V, u 0.05 V, at most -5.40 V: 92 per cent."""
    found = judge(-5.47, 0.05, Limit(None, -5.40, "V"), "simple")
    assert found.probability == pytest.approx(0.92, abs=0.005)
    assert found.margin_u == pytest.approx(1.4)


def test_conformance_probability_between_two_limits() -> None:
    """Normal table, from memory: Phi(1.5) - Phi(-0.61) = 0.9332 - 0.2709."""
    found = judge(13.6, 1.8, Limit(12.5, 16.3), "simple")
    assert found.probability == pytest.approx(0.9332 - 0.2709, abs=0.001)


def test_margin_counts_from_the_nearest_limit_and_is_negative_outside() -> None:
    assert judge(0.1558, 0.0001, WIDTH).margin_u == pytest.approx(2.0)
    assert judge(0.1563, 0.0001, WIDTH).margin_u == pytest.approx(-3.0)
    assert judge(0.155, 0.0, WIDTH).margin_u == math.inf
    assert judge(0.200, 0.0, WIDTH).margin_u == -math.inf


def test_a_value_on_the_limit_is_within_it_in_spite_of_binary_fractions() -> None:
    limit = Limit(0.0, 0.1 + 0.2)
    assert judge(0.3, 0.0, limit).verdict is Verdict.IN_TOLERANCE
    assert judge(0.3, 0.0, Limit(0.0, 0.3 - 1e-16)).verdict is Verdict.IN_TOLERANCE


def test_a_guard_wider_than_the_tolerance_accepts_nothing() -> None:
    assert judge(0.155, 0.001, WIDTH).verdict is Verdict.TOO_CLOSE


@pytest.mark.parametrize(("value", "u"), [(math.nan, 0.1), (0.1, math.nan), (0.1, -0.1)])
def test_what_is_no_number_is_not_judged(value: float, u: float) -> None:
    with pytest.raises(InputError, match="cannot be judged"):
        judge(value, u, WIDTH)


def test_a_limit_needs_an_end_and_the_right_order() -> None:
    with pytest.raises(InputError, match="neither"):
        Limit(None, None)
    with pytest.raises(InputError, match="above its high end"):
        Limit(2.0, 1.0)


@given(st.floats(-1, 1), st.floats(0, 0.5), st.floats(-0.5, 0), st.floats(0, 0.5))
def test_guarded_acceptance_is_never_more_lenient_than_simple(
    value: float, u: float, low: float, high: float
) -> None:
    limit = Limit(low, high)
    if judge(value, u, limit, "guarded").verdict is Verdict.IN_TOLERANCE:
        assert judge(value, u, limit, "simple").verdict is Verdict.IN_TOLERANCE
    if judge(value, u, limit, "guarded").verdict is Verdict.OUT_OF_TOLERANCE:
        assert judge(value, u, limit, "simple").verdict is Verdict.OUT_OF_TOLERANCE


@given(st.floats(-1, 1), st.floats(0, 0.5))
def test_verdicts_are_mirrored_about_zero(value: float, u: float) -> None:
    limit = Limit(-0.3, 0.3)
    assert judge(value, u, limit).verdict is judge(-value, u, limit).verdict
