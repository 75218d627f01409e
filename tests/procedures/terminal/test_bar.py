"""The centre-zero bar."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.terminal.bar import ASCII, FULL_SCALE_BANDS, UNICODE, bar, marker_place

WIDTHS = st.integers(9, 120)
OFFSETS = st.floats(allow_nan=False)
BANDS = st.floats(1e-6, 1e6)


@pytest.mark.parametrize(
    ("offset", "drawn"),
    [
        (-1.0, "<----------[=|=]-----------"),
        (-0.0123, "------#----[=|=]-----------"),
        (-0.0011, "----------#[=|=]-----------"),
        (-0.0010, "-----------#=|=]-----------"),
        (0.0, "-----------[=#=]-----------"),
        (0.0004, "-----------[=|#]-----------"),
        (0.05, "-----------[=|=]--------#--"),
        (1.0, "-----------[=|=]---------->"),
        (math.nan, "-----------[=|=]-----------"),
    ],
)
def test_the_bar_looks_like_this(offset: float, drawn: str):
    assert bar(offset, 0.001, 27) == drawn


def test_the_two_styles_draw_the_same_bar():
    table = str.maketrans("".join(UNICODE_CHARACTERS), "".join(ASCII_CHARACTERS))
    for offset in (-1.0, -0.02, 0.0, 0.0005, 0.03, 1.0):
        drawn = bar(offset, 0.001, 41, style=UNICODE)
        assert drawn.translate(table) == bar(offset, 0.001, 41)


UNICODE_CHARACTERS = [getattr(UNICODE, name) for name in UNICODE.__slots__]
ASCII_CHARACTERS = [getattr(ASCII, name) for name in ASCII.__slots__]


def test_each_part_of_a_bar_has_a_character_of_its_own():
    """The bar is read without colour."""
    assert len(set(UNICODE_CHARACTERS)) == len(UNICODE_CHARACTERS)
    assert len(set(ASCII_CHARACTERS)) == len(ASCII_CHARACTERS)


@given(st.floats(), BANDS, WIDTHS)
def test_a_bar_is_as_wide_as_asked(offset: float, band: float, width: int):
    assert len(bar(offset, band, width)) == width


@given(OFFSETS, OFFSETS, BANDS, WIDTHS)
def test_the_marker_never_moves_back_when_the_value_rises(
    one: float, other: float, band: float, width: int
):
    low, high = sorted((one, other))
    assert marker_place(low, band, width) <= marker_place(high, band, width)


@given(OFFSETS, BANDS, WIDTHS)
def test_the_marker_is_within_the_drawn_band_exactly_when_the_value_is(
    offset: float, band: float, width: int
):
    empty = bar(math.nan, band, width)
    inside = empty.index("[") <= marker_place(offset, band, width) <= empty.index("]")
    assert inside == (abs(offset) <= band)


@given(st.floats(0.0, 2.0 * FULL_SCALE_BANDS), BANDS, WIDTHS)
def test_left_and_right_are_mirror_images(bands: float, band: float, width: int):
    middle = (width - 1) // 2
    left, right = (marker_place(sign * bands * band, band, width) for sign in (-1.0, 1.0))
    assert middle - left == right - middle
