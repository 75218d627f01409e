"""Headers, messages and parameters of SCPI-1999."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.scpi_syntax import (
    channel_in,
    choice,
    definite_block,
    header_pattern,
    message_units,
    number,
)
from sim_instruments.status import ScpiError


@pytest.mark.parametrize(
    ("typed", "fits"),
    [
        ("SENSE2:VOLTAGE:RANGE:UPPER", True),
        ("sens2:volt:rang", True),
        ("SENS:VOLT:RANG:UPP", True),
        ("SENSE:VOLT:RANGE", True),
        ("SENSO:VOLT:RANG", False),
        ("SENS:VOLTA:RANG", False),
        ("SENS:VOLT:RANG?", False),
        ("VOLT:RANG", False),
    ],
)
def test_long_and_short_forms_only(typed, fits):
    """SCPI-1999 volume 1, 6.2.1: exactly the long or the short form, in any case."""
    assert bool(header_pattern("SENSe#:VOLTage:RANGe[:UPPer]").fullmatch(typed)) is fits


def test_branch_is_kept_between_units():
    """A header without a colon continues in its branch; common commands leave it alone."""
    message = "SENS:SWE:TIME 0.02;POIN 4000;*ESR?;TIME?;:FORM REAL,32"
    assert list(message_units(message)) == [
        ("SENS:SWE:TIME", ("0.02",)),
        ("SENS:SWE:POIN", ("4000",)),
        ("*ESR?", ()),
        ("SENS:SWE:TIME?", ()),
        ("FORM", ("REAL", "32")),
    ]


def test_separators_in_quotes_and_lists_do_not_split():
    """A channel list and a quoted string are one parameter each."""
    assert list(message_units("""MEAS? (@1,2),"a;b" """)) == [("MEAS?", ("(@1,2)", '"a;b"'))]


def test_an_empty_unit_is_a_syntax_error():
    """``*CLS;`` promises another unit."""
    with pytest.raises(ScpiError, match="-102"):
        list(message_units("*CLS;"))


@pytest.mark.parametrize(
    ("text", "code"), [("abc", -104), ("nan", -104), ("1e999", -222), ("41", -222), ("", -104)]
)
def test_numbers_that_are_none_or_out_of_range(text, code):
    """Data type error or data out of range."""
    with pytest.raises(ScpiError, match=str(code)):
        number(text, 0, 40)


def test_words_and_channel_lists():
    """Either form of a word; one channel in a list."""
    assert choice("swapped", "NORMal", "SWAPped") == "SWAP"
    assert channel_in("(@ 3)", 4) == 3
    with pytest.raises(ScpiError, match="-224"):
        choice("SWAPPE", "NORMal", "SWAPped")
    with pytest.raises(ScpiError, match="-222"):
        channel_in("(@5)", 4)
    with pytest.raises(ScpiError, match="-104"):
        channel_in("1", 4)


@given(st.binary(max_size=300))
def test_definite_blocks_are_read_back_by_pyvisa(data):
    """An independent reader, pyvisa's, finds the data behind the header (IEEE 488.2, 8.7.9)."""
    from pyvisa.util import parse_ieee_block_header

    block = definite_block(data)
    offset, length = parse_ieee_block_header(block)[:2]
    assert length == len(data)
    assert block[offset:] == data
