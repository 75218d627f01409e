"""Quantities as people say them."""

from __future__ import annotations

import contextlib
import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import UnitError
from daq.units import (
    Kind,
    format_ddm,
    format_length,
    parse,
    parse_angle_deg,
    parse_ddm,
    parse_frequency_hz,
    parse_length_m,
    parse_level_db,
    parse_percent,
    parse_rate_hz,
    parse_voltage_v,
)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("38.2 in", Kind.LENGTH, 38.2 * 0.0254),
        ("3120 m", Kind.LENGTH, 3120.0),
        ("-5m", Kind.LENGTH, -5.0),
        ("3 yards", Kind.LENGTH, 2.7432),
        ("1.2 NM", Kind.LENGTH, 2222.4),
        ("109.35 MHz", Kind.FREQUENCY, 109.35e6),
        ("0.102", Kind.DDM, 0.102),
        ("10.2 %", Kind.DDM, 0.102),
        ("150 uA", Kind.DDM, 0.155),
        ("150 µA", Kind.DDM, 0.155),
        ("150 microampere", Kind.DDM, 0.155),
        ("−1.6 dB", Kind.LEVEL, -1.6),
        ("90", Kind.ANGLE, 90.0),
        ("0.5 turn", Kind.ANGLE, 180.0),
        ("1.5 Vpp", Kind.VOLTAGE, 1.5),
        ("12 mW", Kind.POWER, 0.012),
        ("2 minutes", Kind.TIME, 120.0),
        ("82 %", Kind.RATIO, 0.82),
        ("109.35 Mhz", Kind.FREQUENCY, 109.35e6),
        ("109.35mhz", Kind.FREQUENCY, 109.35e6),
        ("48 KHZ", Kind.FREQUENCY, 48e3),
        ("0.00145", Kind.SENSITIVITY, 0.00145),
        ("0.145 %/m", Kind.SENSITIVITY, 0.00145),
        ("0.00145 DDM/m", Kind.SENSITIVITY, 0.00145),
        ("1.5 uA/m", Kind.SENSITIVITY, 0.00155),
    ],
)
def test_what_people_say_comes_out_in_si(text: str, kind: Kind, expected: float) -> None:
    assert parse(text, kind) == pytest.approx(expected, rel=1e-12)


def test_each_named_parser_asks_for_its_kind() -> None:
    assert parse_length_m("1 ft") == pytest.approx(0.3048)
    assert parse_frequency_hz("90 Hz") == 90.0
    assert parse_ddm("15.5 %") == pytest.approx(0.155)
    assert parse_level_db("3 dB") == 3.0
    assert parse_angle_deg("5 deg") == 5.0
    assert parse_voltage_v("10 mV") == pytest.approx(0.01)


def test_a_rate_may_be_a_number_alone() -> None:
    assert parse_rate_hz("48000") == parse_rate_hz("48 kHz") == 48e3
    for text in ("0", "-48 kHz", "48 m"):
        with pytest.raises(UnitError):
            parse_rate_hz(text)
    with pytest.raises(UnitError) as caught:
        parse_rate_hz("0 kHz")
    assert "48 kHz, or 48000" in caught.value.hint


def test_per_cent_may_be_said_or_left_out() -> None:
    assert parse_percent("17") == parse_percent("17 %") == parse_percent("17percent") == 17.0
    with pytest.raises(UnitError, match="'17 m' is no percentage"):
        parse_percent("17 m")


def test_a_unit_in_the_wrong_case_is_recognized() -> None:
    with pytest.raises(UnitError) as caught:
        parse("3 DB", Kind.LEVEL)
    assert caught.value.hint == "did you mean 'dB'?"


@pytest.mark.parametrize(
    ("text", "kind", "both"),
    [
        ("38.2 in", Kind.FREQUENCY, "is a length; a frequency was expected"),
        ("109 MHz", Kind.LENGTH, "is a frequency; a length was expected"),
        ("3 furlong", Kind.ANGLE, "is a length; an angle was expected"),
        ("5 kg", Kind.LENGTH, "is a quantity of mass; a length was expected"),
        ("1.5 V", Kind.DDM, "is a voltage; a DDM was expected"),
        ("3 dB", Kind.DDM, "is a level in dB; a DDM was expected"),
        ("0.14 %/m", Kind.RATIO, "is a displacement sensitivity; a ratio was expected"),
        ("5 rad", Kind.DDM, "is an angle; a DDM was expected"),
    ],
)
def test_a_unit_of_the_wrong_kind_is_refused_with_both_kinds(
    text: str, kind: Kind, both: str
) -> None:
    with pytest.raises(UnitError, match=both):
        parse(text, kind)


@pytest.mark.parametrize(
    "text", ["", "abc", "nan", "inf", "-inf", "1e999", "one m", "1 2 m", "--5 m", "5 zorkmid",
             "1_000 m", "5 __class__", "5 m**9**9", "5 m; import os"]
)  # fmt: skip
def test_a_word_or_no_finite_number_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="length"):
        parse(text, Kind.LENGTH)


def test_a_bare_length_is_refused_because_nobody_said_metres() -> None:
    with pytest.raises(UnitError, match="has no unit"):
        parse("45", Kind.LENGTH)


def test_a_decimal_comma_is_refused_with_the_remedy() -> None:
    with pytest.raises(UnitError, match="decimal point, not a comma"):
        parse("38,2 in", Kind.LENGTH)


def test_lengths_and_ddm_are_shown_in_both_units() -> None:
    assert format_length(0.970) == "0.970 m (38.2 in)"
    assert format_ddm(0.155) == "0.1550 (150.0 uA)"
    assert format_ddm(-0.155) == "-0.1550 (-150.0 uA)"


@given(st.floats(-1e6, 1e6), st.sampled_from(["m", "in", "ft", "furlong"]))
def test_a_length_is_odd_in_its_number(number: float, unit: str) -> None:
    assert parse(f"{number:.6f} {unit}", Kind.LENGTH) == -parse(
        f"{-number:.6f} {unit}", Kind.LENGTH
    )


@given(st.text(max_size=20), st.sampled_from(Kind))
def test_any_text_gives_a_finite_number_or_a_unit_error(text: str, kind: Kind) -> None:
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, kind))


@given(st.from_regex(r"[0-9]{1,3} [A-Za-z]{1,6}(/[A-Za-z]{1,4})?", fullmatch=True))
def test_any_word_as_a_unit_gives_a_finite_number_or_a_unit_error(text: str) -> None:
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, Kind.VOLTAGE))


def test_everyday_units_do_not_load_pint() -> None:
    code = (
        "import sys; from daq.units import parse, Kind; parse('38.2 in', Kind.LENGTH); "
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
