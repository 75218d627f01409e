"""HiSLIP messages as bytes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.hislip_messages import PAYLOAD_LIMIT, Kind, Malformed, Message, next_message


def test_the_layout_of_the_header():
    """IVI-6.1, table 3: prologue, type, control code, parameter and length, big-endian."""
    data = Message(Kind.DATA_END, 1, 0xFFFFFF00, b"*IDN?\n").packed()
    assert data == bytes.fromhex("4853 07 01 ffffff00 0000000000000006") + b"*IDN?\n"


@given(st.integers(0, 255), st.integers(0, 255), st.integers(0, 2**32 - 1), st.binary(max_size=40))
def test_a_message_is_found_when_all_of_it_is_there(kind, control, parameter, payload):
    """Not before, and what follows is left."""
    message = Message(kind, control, parameter, payload)
    data = message.packed()
    assert next_message(data + b"HS") == (message, b"HS")
    assert next_message(data[:-1]) is None


@pytest.mark.parametrize(
    "head", [b"SH" + bytes(14), b"HS" + bytes(6) + (PAYLOAD_LIMIT + 1).to_bytes(8, "big")]
)
def test_what_is_no_message_is_refused(head):
    """Another prologue, or a payload that nobody agreed to."""
    with pytest.raises(Malformed):
        next_message(head)
