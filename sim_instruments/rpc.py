"""Remote procedure calls, server side (ONC RPC version 2, RFC 5531), without a socket.

No kept Python library serves them. Only what instruments need: calls over TCP with record marking,
one at a time on each connection, and no authentication.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from enum import IntEnum
from typing import Final, Protocol

from sim_instruments.sessions import HangsUp, LinkDropped
from sim_instruments.xdr import Unpacker, XdrError, packed

CALL: Final = 0
REPLY: Final = 1
LAST_FRAGMENT: Final = 0x8000_0000
RECORD_LIMIT: Final = 1 << 20


class Accept(IntEnum):
    """``accept_stat`` of RFC 5531, section 9."""

    SUCCESS = 0
    PROG_UNAVAIL = 1
    PROG_MISMATCH = 2
    PROC_UNAVAIL = 3
    GARBAGE_ARGS = 4


class NoProcedure(Exception):
    """The program has no procedure of that number."""


class Program(Protocol):
    """One version of one program."""

    @property
    def number(self) -> int:
        """Program number."""

    @property
    def version(self) -> int:
        """Its version."""

    def call(self, procedure: int, arguments: Unpacker) -> bytes:
        """Return packed results.

        Raises
        ------
        NoProcedure
            There is none of that number.
        XdrError
            The arguments are too short.
        """


def answer_call(record: bytes, programs: Sequence[Program]) -> bytes | None:
    """Return the reply to one call; None when the record is no call at all.

    Procedure 0 of every program does nothing, as RFC 5531 has it.
    """
    call = Unpacker(record)
    try:
        number, kind, rpc_version = (call.integer() for _ in range(3))
        program, version, procedure = (call.integer() for _ in range(3))
        for _ in ("credentials", "verifier"):
            call.integer()
            call.opaque()
    except XdrError:
        return None
    if kind != CALL:
        return None
    if rpc_version != 2:
        return packed(number, REPLY, 1, 0, 2, 2)
    return packed(number, REPLY, 0, 0, b"") + _results(program, version, procedure, call, programs)


def _results(
    program: int, version: int, procedure: int, call: Unpacker, programs: Sequence[Program]
) -> bytes:
    versions = [one for one in programs if one.number == program]
    if not versions:
        return packed(Accept.PROG_UNAVAIL)
    chosen = next((one for one in versions if one.version == version), None)
    if chosen is None:
        known = [one.version for one in versions]
        return packed(Accept.PROG_MISMATCH, min(known), max(known))
    try:
        results = b"" if procedure == 0 else chosen.call(procedure, call.rest())
    except NoProcedure:
        return packed(Accept.PROC_UNAVAIL)
    except XdrError:
        return packed(Accept.GARBAGE_ARGS)
    return packed(Accept.SUCCESS) + results


class RpcSession:
    """One TCP connection: cuts bytes into records and answers the calls in them.

    Parameters
    ----------
    programs
        What can be called; those that hold something for the client may have `hang_up`.
    """

    def __init__(self, *programs: Program) -> None:
        self._programs = programs
        self._input = b""
        self._record = b""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return replies.

        Raises
        ------
        LinkDropped
            A record that is too long or no call; or a program wants the link broken.
        """
        self._input += data
        replies = []
        while (record := self._next_record()) is not None:
            reply = answer_call(record, self._programs)
            if reply is None:
                raise LinkDropped
            replies.append(struct.pack(">I", LAST_FRAGMENT | len(reply)) + reply)
        return b"".join(replies)

    def hang_up(self) -> None:
        """See `HangsUp`."""
        for program in self._programs:
            if isinstance(program, HangsUp):
                program.hang_up()

    def _next_record(self) -> bytes | None:
        """Return a record whose last fragment is there; None when more bytes are needed."""
        while len(self._input) >= 4:
            mark = int(struct.unpack(">I", self._input[:4])[0])
            length = mark & ~LAST_FRAGMENT
            if length + len(self._record) > RECORD_LIMIT:
                raise LinkDropped
            if len(self._input) < 4 + length:
                return None
            self._record += self._input[4 : 4 + length]
            self._input = self._input[4 + length :]
            if mark & LAST_FRAGMENT:
                record, self._record = self._record, b""
                return record
        return None
