"""Numbers as they are printed."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.record.figures import interval, remark, with_uncertainty


def test_value_is_rounded_to_the_place_of_its_uncertainty() -> None:
    """JCGM 100:2008, 7.2.6 (from memory): 10.057 62 with u = 0.027 is 10.058; we print 2u."""
    assert with_uncertainty("vpp", 10.05762, 0.027) == "10.058 ± 0.054"


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (0.154931, 0.00038, "0.15493 ± 0.00076"),
        (-0.1023, 0.0006, "−0.1023 ± 0.0012"),
        (0.15, 0.0498, "0.15 ± 0.10"),  # 0.0996 rounds to two figures of the next decade
        (-0.00001, 0.01, "0.000 ± 0.020"),  # nothing left to give a sign to
        (1234.5, 80.0, "1235 ± 160"),
        (0.12865, 0.0, "0.1287"),  # a decimal on the half goes up, whatever its binary says
        (0.155, 0.0, "0.1550"),
        (0.155, float("nan"), "0.1550"),
    ],
)
def test_two_figures_of_uncertainty(value: float, u: float, expected: str) -> None:
    assert with_uncertainty("ddm", value, u) == expected


@pytest.mark.parametrize(("value", "said"), [(0.155 * 0.83, "0.1287"), (0.155 * 1.17, "0.1814")])
def test_alarm_points_are_printed_as_the_standards_say(value: float, said: str) -> None:
    """17 per cent of 0.155 by sensitivity: 0.1287 and 0.1814 (Attachment C 2.9.2)."""
    assert with_uncertainty("ddm", value, 0.0) == said


def test_carrier_is_printed_in_megahertz() -> None:
    assert with_uncertainty("frequency", 109.350123e6, 500.0) == "109.3501 ± 0.0010"


@given(
    st.floats(min_value=-1e3, max_value=1e3),
    st.floats(min_value=1e-7, max_value=10.0),
)
def test_print_loses_less_than_a_tenth_of_the_uncertainty(value: float, u: float) -> None:
    """Two figures: rounding is at most half of the last place, 1/20 of 10 units of it."""
    shown = with_uncertainty("ddm", value, u).replace("−", "-")
    printed, expanded = (float(part) for part in shown.split(" ± "))
    assert abs(printed - value) <= 0.0501 * 2 * u + 1e-12
    assert expanded == pytest.approx(2 * u, rel=0.051)
    figures = re.sub(r"^0\.0*|\.", "", shown.split(" ± ")[1])
    assert len(figures) == 2


def test_ddm_is_said_with_its_tone_and_current() -> None:
    """0.155 DDM = 150 uA: deviation current of a localizer, common practice, no source."""
    assert remark("ddm", 0.155) == "150 Hz, 150.0 uA"
    assert remark("ddm", -0.155) == "90 Hz, −150.0 uA"
    assert remark("ddm", 0.0) == "balanced, 0.0 uA"
    assert remark("vpp", 1.5) == ""


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.15400000000000003, 0.156, "0.154 to 0.156"),
        (None, -0.155, "at most −0.155"),
        (0.155, None, "at least 0.155"),
        (None, None, "none"),
    ],
)
def test_interval_in_words(low: float | None, high: float | None, expected: str) -> None:
    assert interval("ddm", low, high) == expected
