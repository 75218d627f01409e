"""Level changes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.trims.level import apply_level_db, level_change

LEVELS = st.floats(0.01, 10.0)


@given(LEVELS, LEVELS, st.sampled_from([1.0, -1.0]))
def test_the_change_applied_lands_on_the_target(reading: float, target: float, sign: float) -> None:
    change = level_change(sign * reading, sign * target)
    assert apply_level_db(sign * reading, change.change_db) == pytest.approx(sign * target)
    assert reading * (1 + change.change_percent / 100) == pytest.approx(target)


def test_a_width_of_0_102_brought_to_0_155() -> None:
    """The pair of figures is common practice, no source; 20 log10(155/102) = 3.635 dB by hand."""
    assert level_change(0.102, 0.155).change_db == pytest.approx(3.635, abs=0.001)


def test_twice_the_amplitude_is_six_decibels() -> None:
    change = level_change(0.75, 1.5)
    assert change.change_db == pytest.approx(6.0206, abs=1e-4)
    assert change.change_percent == pytest.approx(100.0)


def test_uncertainty_of_one_per_cent_is_0_087_db() -> None:
    """8.686 dB per neper."""
    assert level_change(1.0, 1.2, u_reading=0.01).u_db == pytest.approx(0.08686, abs=1e-5)


@pytest.mark.parametrize(
    ("reading", "target", "message"),
    [
        (0.0, 0.155, "reading is 0"),
        (0.1, 0.0, "target is 0"),
        (math.nan, 0.1, "reading is nan"),
        (-0.1, 0.155, "sense is reversed"),
        (1e-320, 0.155, "no level control reaches so far"),
        (1e308, 1e-300, "no level control reaches so far"),
        (0.155, 155e6, "more than 120 dB"),
    ],
)
def test_what_no_level_control_can_do_is_refused(
    reading: float, target: float, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        level_change(reading, target)
