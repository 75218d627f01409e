"""Readings, their units, and the words for a DDM."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.reading import (
    IMPOSSIBLE_DDM,
    QUANTITIES,
    UA_PER_DDM,
    Quality,
    Reading,
    describe_ddm,
    predominance,
)

READING = Reading("ddm", 0.155, 0.001, "receiver", "course width", 1, 2)


def test_150_microamperes_are_0_155_ddm() -> None:
    """Full-scale deflection at the edge of the course sector: ICAO Annex 10 Vol I, 3.1.1."""
    assert pytest.approx(150.0) == UA_PER_DDM * 0.155


def test_a_reading_knows_its_unit_and_does_not_change() -> None:
    assert READING.unit == "1"
    assert replace(READING, quantity="vpp").unit == "V"
    with pytest.raises(FrozenInstanceError):
        READING.value = 0.0  # type: ignore[misc]  # that it cannot be done is the point


@pytest.mark.parametrize("quality", list(Quality))
def test_only_a_value_that_is_in_order_is_usable(quality: Quality) -> None:
    assert replace(READING, quality=quality).usable is (quality is Quality.OK)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_not_usable(value: float) -> None:
    assert not replace(READING, value=value).usable


@pytest.mark.parametrize(
    ("ddm", "words"),
    [
        (0.0140, "0.0140, 150 Hz predominates"),
        (-0.0140, "0.0140, 90 Hz predominates"),
        (0.00004, "0.0000, balanced"),
        (-0.00006, "0.0001, 90 Hz predominates"),
    ],
)
def test_a_ddm_is_said_as_it_is_called_out(ddm: float, words: str) -> None:
    assert describe_ddm(ddm) == words


@given(st.floats(-0.4, 0.4))
def test_the_other_sign_is_the_other_tone(ddm: float) -> None:
    swap = {"150 Hz predominates": "90 Hz predominates", "balanced": "balanced"}
    swap |= {there: here for here, there in swap.items()}
    assert predominance(-ddm) == swap[predominance(ddm)]


@given(st.floats(-0.4, 0.4), st.floats(0.0, 0.4))
def test_within_the_null_no_tone_predominates(ddm: float, null: float) -> None:
    assert (predominance(ddm, null=null) == "balanced") is (abs(ddm) <= null)


def test_the_table_of_quantities_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        QUANTITIES["length"] = "m"  # type: ignore[index]  # that it cannot be done is the point


def test_twice_the_nominal_depth_is_impossible() -> None:
    """Where a tone's depth has folded, DDM is 2 m = 0.4: textbook AM with m = 0.20."""
    assert pytest.approx(2 * 0.20) == IMPOSSIBLE_DDM
