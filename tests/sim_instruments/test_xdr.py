"""RFC 4506: integers, counted bytes, and bytes that end too early."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.xdr import Unpacker, XdrError, packed


def test_the_example_of_the_rfc():
    """RFC 4506, section 7: the string "sillyprog" is its length, itself and three zero bytes."""
    assert packed(b"sillyprog") == bytes.fromhex("00000009 73696c6c 7970726f 67000000")


def test_negative_integers_and_truth():
    """Two's complement and 0 or 1, big-endian (RFC 4506, 4.1 and 4.4)."""
    assert packed(-1, True, False) == bytes.fromhex("ffffffff 00000001 00000000")


@given(st.lists(st.one_of(st.integers(0, 2**32 - 1), st.binary(max_size=40)), max_size=6))
def test_what_is_packed_can_be_unpacked(values):
    """In order, whatever the lengths, and always in whole words."""
    data = packed(*values)
    assert len(data) % 4 == 0
    unpacker = Unpacker(data)
    for value in values:
        again = unpacker.opaque() if isinstance(value, bytes) else unpacker.integer()
        assert again == value
    with pytest.raises(XdrError, match="0 are left"):
        unpacker.integer()


@given(st.binary(max_size=30))
def test_any_bytes_are_a_value_or_an_error(data):
    """Nothing else comes out, however long an opaque says it is."""
    with contextlib.suppress(XdrError):
        assert len(Unpacker(data).opaque()) <= len(data)
