"""Numbers, errors and identities of SCPI; only documented errors."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import AnswerError
from daq.reading import Quality
from daq.scpi import decode_text, parse_error, parse_identity, parse_number


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("+4", "", 4.0),
        ("4.0000E+03", "", 4000.0),
        ("-.5", "V", -0.5),
        ("5.", "V", 5.0),
        ("1.5 E+3", "V", 1500.0),
        ("VOLT 1.234E+00 V", "V", 1.234),
        (":MEAS:VOLT:DC 1.2", "V", 1.2),
        ("12.5 mV", "V", 0.0125),
        ("109.35MHZ", "Hz", 109.35e6),
        ("3.5uA", "uA", 3.5),
        ("3.5 µV", "V", 3.5e-6),
        ("-47.3dBm", "dBm", -47.3),
        ("40.0%", "%", 40.0),
    ],
)
def test_numbers_in_every_shape(text, unit, value):
    number = parse_number(text, unit=unit)
    assert number.quality is Quality.OK
    assert number.value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        ("9.91E37", Quality.NO_VALUE),
        ("+9.910000E+37", Quality.NO_VALUE),
        ("-9.91E37", Quality.NO_VALUE),
        ("NAN", Quality.NO_VALUE),
        ("9.9E37", Quality.OVER),
        ("-9.9E37", Quality.UNDER),
        ("9.99999999e+37", Quality.OVER),
        ("INF", Quality.OVER),
        ("-INFINITY", Quality.UNDER),
        ("NINF", Quality.UNDER),
        ("1E999", Quality.OVER),
    ],
)
def test_stand_ins_for_infinity_and_no_value_are_never_numbers(text, quality):
    """SCPI-1999 7.2.1: 9.9E37 is infinity, 9.91E37 is not a number (from memory)."""
    number = parse_number(text)
    assert math.isnan(number.value)
    assert number.quality is quality


@pytest.mark.parametrize("text", ["", "----", "1,5", "1.2.3", "0x10", "1 2", "\xff\x001.5", "٣"])
def test_what_is_no_number_is_an_error(text):
    with pytest.raises(AnswerError, match="number was expected"):
        parse_number(text)


@pytest.mark.parametrize(("text", "unit"), [("1.2 A", "V"), ("1.2 V", ""), ("5 mHzz", "Hz")])
def test_a_unit_that_was_not_declared_is_an_error(text, unit):
    with pytest.raises(AnswerError, match="is declared"):
        parse_number(text, unit=unit)


@given(st.text(max_size=40), st.sampled_from(["", "V", "Hz"]))
def test_any_text_is_a_number_or_the_documented_error(text, unit):
    with contextlib.suppress(AnswerError):
        number = parse_number(text, unit=unit)
        assert math.isfinite(number.value) == (number.quality is Quality.OK)
    with contextlib.suppress(AnswerError):
        parse_error(text)
    parse_identity(text)


@given(st.binary(max_size=60), st.sampled_from(["ascii", "latin-1", "utf-8", "cp1252"]))
def test_decoding_never_fails(data, encoding):
    decode_text(data, encoding)


def test_text_loses_line_ends_and_nul_but_no_degree_sign():
    assert decode_text(b"\n\x00 25.3\xb0C \r\n\x00") == "25.3°C"
    assert decode_text(b"25.3\xb0C", "utf-8") == "25.3\ufffdC"


@pytest.mark.parametrize(
    ("text", "code", "words", "kind"),
    [
        ('-113,"Undefined header"', -113, "Undefined header", "command error"),
        ('+0,"No error"', 0, "No error", "no error"),
        ("0", 0, "", "no error"),
        (
            '-222,"Data out of range;SENS:VOLT"',
            -222,
            "Data out of range;SENS:VOLT",
            "execution error",
        ),
        ('-350,"Queue overflow"', -350, "Queue overflow", "device error"),
        ("-410,Query INTERRUPTED", -410, "Query INTERRUPTED", "query error"),
        ('805,"own"', 805, "own", "error of the maker's own"),
    ],
)
def test_entries_of_the_error_queue(text, code, words, kind):
    """Codes and classes from SCPI-1999 volume 2, 21.8 (from memory)."""
    entry = parse_error(text)
    assert (entry.code, entry.text, entry.kind) == (code, words, kind)


def test_what_is_no_entry_of_the_error_queue_is_an_error():
    with pytest.raises(AnswerError, match="error queue"):
        parse_error("FERNMARK,OS-4")


@pytest.mark.parametrize(
    ("text", "fields"),
    [
        ("FERNMARK,OS-4,40117,1.6", ("FERNMARK", "OS-4", "40117", "1.6")),
        ("FERNMARK, OS-4 ,0,1.6", ("FERNMARK", "OS-4", "", "1.6")),
        ("FERNMARK,OS-4", ("FERNMARK", "OS-4", "", "")),
        ("OS-4 by Fernmark", ("OS-4 by Fernmark", "", "", "")),
        ("a,b,c,d,e", ("a", "b", "c", "d")),
        ("", ("", "", "", "")),
    ],
)
def test_identities_with_any_number_of_fields(text, fields):
    found = parse_identity(text)
    assert (found.maker, found.model, found.serial, found.firmware) == fields
    assert found.raw == text
