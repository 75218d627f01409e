"""Values, tones and distances in words."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.reading import QUANTITIES, Quality, Reading
from procedures.terminal.format import (
    Displayed,
    called_out,
    displayed,
    distance_words,
    elapsed_words,
    in_words,
    number,
    printable,
    reference_words,
)


@pytest.mark.parametrize(
    ("quantity", "value", "shown"),
    [
        # 0.155 DDM = 150 uA: the deviation current of a localizer at full scale, as in the
        # standards' own figure for the half course width.
        (
            "ddm",
            0.155,
            Displayed("155.0", "thousandths DDM", "150 Hz predominates", "ratio 0.1550, 150.0 uA"),
        ),
        (
            "ddm",
            -0.0310,
            Displayed("31.0", "thousandths DDM", "90 Hz predominates", "ratio 0.0310, 30.0 uA"),
        ),
        ("ddm", 0.00004, Displayed("0.0", "thousandths DDM", "balanced", "ratio 0.0000, 0.0 uA")),
        ("sdm", 0.402, Displayed("40.2", "%", "", "ratio 0.4020")),
        ("vpp", 1.5, Displayed("1.500", "V")),
        ("frequency", 109.35e6, Displayed("109.35000", "MHz")),
        ("frequency", 9_997.0, Displayed("9997.00", "Hz")),
        ("tone_90", 90.02, Displayed("90.02", "Hz")),
        ("rf_level", -43.26, Displayed("-43.3", "dBm")),
        ("power", 0.0125, Displayed("12.500", "mW")),
        ("power", 12.5, Displayed("12.500", "W")),
        ("alarm", 1.0, Displayed("1", "(1 = alarm)")),
    ],
)
def test_each_quantity_is_shown_in_the_unit_that_is_said(
    quantity: str, value: float, shown: Displayed
):
    assert displayed(quantity, value) == shown


def test_a_value_that_is_no_number_is_shown_in_words():
    for value in (math.nan, math.inf, -math.inf):
        assert displayed("ddm", value) == Displayed("", "no value")


def test_the_tone_is_balanced_exactly_where_the_digits_show_zero():
    """What the digits round to and what the words say never contradict each other."""
    for value in (0.0, 0.00004, -0.00004, 0.00006, -0.00006, 0.0002):
        shown = displayed("ddm", value)
        assert (shown.number == "0.0") == (shown.meaning == "balanced"), value


def test_a_target_is_rounded_as_the_value_beside_it():
    """0.12865 is 128.7 thousandths and 0.1287, at the terminal and in the record."""
    shown = displayed("ddm", 0.155 * 0.83)
    assert (shown.number, shown.also.partition(",")[0]) == ("128.7", "ratio 0.1287")
    assert called_out("ddm", 0.12865) == "128.7 150 Hz"


def test_zero_has_no_sign_and_long_numbers_get_an_exponent():
    assert number(-0.04, 1) == "0.0"
    assert number(-0.06, 1) == "-0.1"
    assert number(-1.23456e250, 1) == "-1.23e+250"


@pytest.mark.parametrize(
    ("quantity", "shown", "target", "band", "words"),
    [
        ("ddm", 0.1427, 0.155, 0.001, "12.3 thousandths to go, more 150 Hz"),
        ("ddm", 0.1673, 0.155, 0.001, "12.3 thousandths to go, more 90 Hz"),
        ("ddm", -0.1427, -0.155, 0.001, "12.3 thousandths to go, more 90 Hz"),
        ("ddm", 0.0007, 0.0, 0.001, "in the band, 0.7 thousandths from the target"),
        ("vpp", 1.38, 1.5, 0.02, "0.120 V to go, raise"),
        ("vpp", 1.62, 1.5, None, "0.120 V to go, lower"),
        ("vpp", math.nan, 1.5, 0.02, ""),
        # A power stands in the unit of the value beside it.
        ("power", 13.854902, 13.845, 0.1, "in the band, 0.010 W from the target"),
        ("frequency", 109.350012e6, 109.35e6, None, "12.00 Hz to go, lower"),
    ],
)
def test_the_distance_says_how_far_and_which_way(
    quantity: str, shown: float, target: float, band: float | None, words: str
):
    assert distance_words(quantity, shown, target, band) == words


def test_elapsed_time_has_hours_only_when_there_are_any():
    assert [elapsed_words(s) for s in (0.0, 83.9, 3599.0, 3683.0, -1.0, math.inf)] == [
        "00:00",
        "01:23",
        "59:59",
        "1:01:23",
        "00:00",
        "--:--",
    ]


@pytest.mark.parametrize("quality", [q for q in Quality if q is not Quality.OK])
def test_a_reading_that_is_not_usable_is_a_word_without_a_digit(quality: Quality):
    words = in_words(Reading("ddm", 0.155, 0.0, "r", "", 0, 0, quality=quality))
    assert words
    assert not re.search(r"\d", words)


def test_an_ok_reading_without_a_finite_value_is_no_value():
    assert in_words(Reading("ddm", math.nan, 0.0, "r", "", 0, 0)) == "no value"
    assert in_words(Reading("ddm", 0.155, 0.0, "r", "", 0, 0)) == ""


def test_foreign_text_cannot_steer_the_terminal():
    """Escape, a C1 control and a right-to-left override are taken out; letters stay."""
    assert printable("a\x1b[2Jb\x9bc\u202ed\te\nf µ°") == "a?[2Jb?c?d e f µ°"


@pytest.mark.parametrize(
    ("quantity", "shown", "reference", "words"),
    [
        ("ddm", 0.1549, 0.1553, "reference 155.3 150 Hz, differs by -0.4, toward 90 Hz"),
        ("ddm", -0.2100, -0.2092, "reference 209.2 90 Hz, differs by -0.8, toward 90 Hz"),
        ("ddm", 0.0009, -0.0003, "reference 0.3 90 Hz, differs by +1.2, toward 150 Hz"),
        ("ddm", 0.15532, 0.1553, "reference 155.3 150 Hz, differs by 0.0"),
        ("vpp", 1.488, 1.5, "reference 1.500 V, differs by -0.012 V"),
        ("vpp", 1.5, 1.5, "reference 1.500 V, differs by 0.000 V"),
        ("sdm", 0.402, 0.4, "reference 40.0 %, differs by +0.2 %"),
        ("frequency", 109.350012e6, 109.35e6, "reference 109.35000 MHz, differs by +12.00 Hz"),
        # The ratio of two levels is in dB, whatever the levels are stated in (IEC 60027-3, from
        # memory).
        ("rf_level", -43.5, -43.0, "reference -43.0 dBm, differs by -0.5 dB"),
        ("ddm", math.nan, 0.1553, "reference 155.3 150 Hz"),
    ],
)
def test_a_difference_says_how_much_and_which_way(
    quantity: str, shown: float, reference: float, words: str
):
    """A positive difference of DDM is toward 150 Hz, whichever tone predominates."""
    assert reference_words(quantity, shown, reference) == words


@given(st.floats(-0.4, 0.4), st.floats(-0.4, 0.4))
def test_a_difference_is_antisymmetric_in_its_tone(shown: float, reference: float):
    """Exchanging the tones turns the sign and the tone of a difference, and nothing else."""
    difference = reference_words("ddm", shown, reference).partition("differs")[2]
    mirrored = reference_words("ddm", -shown, -reference).partition("differs")[2]
    exchange = str.maketrans({"+": "-", "-": "+"})
    tones = {"toward 90 Hz": "toward 150 Hz", "toward 150 Hz": "toward 90 Hz"}
    number, comma, tone = difference.rpartition(", ")
    expected = f"{number.translate(exchange)}{comma}{tones[tone]}" if comma else difference
    assert mirrored == expected


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(), st.floats(), st.floats(min_value=0.0))
def test_formatting_never_raises_and_never_rambles(
    quantity: str, value: float, target: float, band: float
):
    shown = displayed(quantity, value)
    assert len(shown.number) <= 10
    assert len(distance_words(quantity, value, target, band)) <= 60
    assert len(reference_words(quantity, value, target)) <= 80


@given(st.text())
def test_printable_text_has_nothing_but_printable_characters(text: str):
    assert printable(text).isprintable()
