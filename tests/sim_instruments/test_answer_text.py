"""Which answers carry a measured number, and what is left of them when it changes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.answer_text import is_measured, with_number

MEASURED = [
    (b"1.5031E+00\n", b"-1.5031E+00\n"),
    (b"DDM +0.1550 OK\r\n", b"DDM -0.1550 OK\r\n"),
    (b"M90 0.2004 OK\r\n", b"M90 -0.2004 OK\r\n"),
    (b"D=-150.0uA;S=A\n", b"D=150.0uA;S=A\n"),
    (b"LOC,+0.1550,0.4000,-47.3\r\n", b"LOC,-0.1550,0.4000,-47.3\r\n"),
    (b"+15.50 %,OK\r\n", b"-15.50 %,OK\r\n"),
    (b"VOLT:DC 1.23456E+00 V\n", b"VOLT:DC -1.23456E+00 V\n"),
]
OTHERS = [
    b"FERNMARK,OS-4,40117,1.6\n",
    b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n",
    b"I=OSTREL/PIR7/0093/1.04\n",
    b'-113,"Undefined header"\n',
    b"DDM ---- LOW\r\n",
    b"128\n",
    b"#14\x00\x00\x80?\n",
    b"?\r\n",
    b"",
]


@pytest.mark.parametrize(("answer", "negative"), MEASURED)
def test_only_the_number_changes(answer, negative):
    """Keyword, unit, validity and further fields stay; decimals, exponent and plus sign too."""
    assert is_measured(answer)
    assert with_number(answer, lambda value: -value) == negative


@pytest.mark.parametrize("answer", OTHERS)
def test_what_is_no_measured_value_is_left_alone(answer):
    """Identities, errors, registers, blocks and invalid readings."""
    assert not is_measured(answer)
    assert with_number(answer, lambda value: 7 * value) == answer


def test_a_unit_is_replaced_where_one_is_sent():
    """`unit` takes the place of the one that stands behind the number, and adds none."""
    assert with_number(b"D=-150.0uA;S=A\n", lambda x: 1e-3 * x, "mA") == b"D=-0.1mA;S=A\n"
    assert with_number(b"+15.50 %,OK\r\n", lambda x: x, "V") == b"+15.50 V,OK\r\n"
    assert with_number(b"1.5031E+00\n", lambda x: 1000 * x, "mV") == b"1.5031E+03\n"


@given(st.binary(max_size=60))
def test_no_change_changes_no_digit_beyond_its_style(answer):
    """Any bytes are survived; the identity keeps what is no number to the last byte."""
    same = with_number(answer, lambda value: value)
    assert same == answer or is_measured(answer)
