"""Rounding in decimal."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.reading import describe_ddm
from daq.rounding import decimals_for, fixed, with_doubt
from daq.units import format_ddm, format_length


@pytest.mark.parametrize(
    ("value", "said"),
    # Annex 10 Attachment C 2.9.2 at 17 per cent of 0.155, as printed in the station's standards.
    [(0.155 * (1.0 - 0.17), "0.1287"), (0.155 * 1.17, "0.1814"), (0.155, "0.1550")],
)
def test_alarm_points_are_said_as_the_standards_print_them(value: float, said: str) -> None:
    assert fixed(value, 4) == said
    assert fixed(-value, 4) == f"-{said}"
    assert format_ddm(value).startswith(said)
    assert describe_ddm(-value).startswith(said)


@given(st.integers(-(10**10), 10**10), st.integers(0, 6))
def test_a_decimal_on_the_half_is_rounded_away_from_zero(units: int, decimals: int) -> None:
    """Against the decimal module, on decimals with one digit more than is shown."""
    text = f"{units}e-{decimals + 1}"
    exact = Decimal(text).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    assert Decimal(fixed(float(text), decimals)) == exact


@pytest.mark.parametrize("value", [0.0, -0.0, -0.00004, 0.00004])
def test_what_rounds_to_nothing_has_no_sign(value: float) -> None:
    assert fixed(value, 4, plus=True) == "0.0000"


def test_a_sign_is_put_before_what_is_above_zero() -> None:
    assert fixed(0.12865, 4, plus=True) == "+0.1287"
    assert fixed(-0.12865, 4, plus=True) == "-0.1287"


@pytest.mark.parametrize(
    ("value", "said"), [(float("nan"), "nan"), (float("-inf"), "-inf"), (1e308, f"{10**308}.0")]
)
def test_no_number_is_too_strange_to_be_said(value: float, said: str) -> None:
    assert fixed(value, 1) == said


@pytest.mark.parametrize(
    ("u", "decimals"), [(0.0996, 2), (0.0995, 2), (0.00076, 5), (160.0, 0), (1e-12, 9)]
)
def test_an_uncertainty_has_two_figures(u: float, decimals: int) -> None:
    assert decimals_for(u) == decimals


def test_a_value_has_the_places_of_its_uncertainty() -> None:
    assert with_doubt(4.4321, 4.4651, decimals=1, plus=True) == "+4.4 ± 4.5"
    assert with_doubt(4.4321, 0.0, decimals=2) == "4.43"


@pytest.mark.parametrize(("u", "said"), [(4.9e-10, "4.43"), (5.1e-10, "4.432100000 ± 0.000000001")])
def test_an_uncertainty_that_would_be_shown_as_none_is_left_out(u: float, said: str) -> None:
    assert with_doubt(4.4321, u, decimals=2) == said


def test_a_length_on_the_half_is_rounded_up() -> None:
    """0.0625 m is exact in binary: a half at three decimals whichever way it is stored."""
    assert format_length(0.0625).startswith("0.063 m")
