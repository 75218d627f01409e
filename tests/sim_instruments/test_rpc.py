"""Remote procedure calls as bytes (RFC 5531)."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.rpc import NoProcedure, RpcSession, answer_call
from sim_instruments.sessions import LinkDropped
from sim_instruments.xdr import Unpacker, packed


class Doubler:
    """Program 7, version 2: procedure 1 doubles a number."""

    number = 7
    version = 2

    def call(self, procedure: int, arguments: Unpacker) -> bytes:
        if procedure != 1:
            raise NoProcedure
        return packed(2 * arguments.integer())


def called(program: int, version: int, procedure: int, arguments: bytes = b"", *, rpc: int = 2):
    head = struct.pack(">6I", 0xABCD, 0, rpc, program, version, procedure)
    return head + struct.pack(">4I", 0, 0, 0, 0) + arguments


def replied(*values: int) -> bytes:
    """An accepted reply: xid, REPLY, MSG_ACCEPTED, no verifier, then `values`."""
    return struct.pack(f">{5 + len(values)}I", 0xABCD, 1, 0, 0, 0, *values)


@pytest.mark.parametrize(
    ("call", "reply"),
    [
        (called(7, 2, 1, packed(21)), replied(0, 42)),
        (called(7, 2, 0), replied(0)),
        (called(8, 2, 1), replied(1)),
        (called(7, 3, 1), replied(2, 2, 2)),
        (called(7, 2, 9), replied(3)),
        (called(7, 2, 1), replied(4)),
        (called(7, 2, 1, rpc=3), struct.pack(">6I", 0xABCD, 1, 1, 0, 2, 2)),
    ],
    ids=["success", "null", "no program", "mismatch", "no procedure", "garbage", "version"],
)
def test_each_outcome(call, reply):
    """RFC 5531, section 9: accept_stat 0 to 4, and the denial of another RPC version."""
    assert answer_call(call, [Doubler()]) == reply


@pytest.mark.parametrize(
    "record", [b"", b"abc", called(7, 2, 1)[:30], struct.pack(">10I", *[1] * 10)]
)
def test_what_is_no_call_has_no_reply(record):
    """And ends the connection it came on."""
    assert answer_call(record, [Doubler()]) is None
    with pytest.raises(LinkDropped):
        RpcSession(Doubler()).feed(struct.pack(">I", 0x8000_0000 | len(record)) + record)


@given(st.integers(1, 9), st.integers(1, 60))
def test_record_marks_in_any_pieces(fragment, piece):
    """RFC 5531, section 11: a call in fragments, fed in pieces, twice in a row."""
    call = called(7, 2, 1, packed(21))
    parts = [call[at : at + fragment * 4] for at in range(0, len(call), fragment * 4)]
    marks = [len(part) for part in parts]
    marks[-1] |= 0x8000_0000
    stream = b"".join(struct.pack(">I", m) + p for m, p in zip(marks, parts, strict=True)) * 2
    session = RpcSession(Doubler())
    sent = b"".join(session.feed(stream[at : at + piece]) for at in range(0, len(stream), piece))
    assert sent == (struct.pack(">I", 0x8000_0000 | 28) + replied(0, 42)) * 2


def test_a_record_without_end_is_refused():
    """No client can fill the memory."""
    with pytest.raises(LinkDropped):
        RpcSession(Doubler()).feed(struct.pack(">I", 0x7FFF_FFFF))
