"""Messages of HiSLIP (IVI-6.1, revision 1.1): sixteen bytes of header, then a payload."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

HEADER: Final = struct.Struct(">2sBBIQ")
PROLOGUE: Final = b"HS"
PAYLOAD_LIMIT: Final = 1 << 20


class Kind(IntEnum):
    """Message types (IVI-6.1, table 4) that this server knows."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAX_MESSAGE_SIZE = 15
    ASYNC_MAX_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


class Malformed(Exception):
    """The bytes are no HiSLIP message."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message.

    Attributes
    ----------
    kind
        Message type; a number that is not in `Kind` stays a number.
    control, parameter
        Control code and message parameter.
    payload
        What follows the header.
    """

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes = b""

    def packed(self) -> bytes:
        """Return header and payload."""
        head = HEADER.pack(PROLOGUE, self.kind, self.control, self.parameter, len(self.payload))
        return head + self.payload


def next_message(data: bytes) -> tuple[Message, bytes] | None:
    """Return the first message and what follows it; None when more bytes are needed.

    Raises
    ------
    Malformed
        The prologue is another one, or the payload is longer than agreed.
    """
    if len(data) < HEADER.size:
        return None
    prologue, kind, control, parameter, length = HEADER.unpack_from(data)
    if prologue != PROLOGUE or length > PAYLOAD_LIMIT:
        raise Malformed
    end = HEADER.size + length
    if len(data) < end:
        return None
    return Message(kind, control, parameter, data[HEADER.size : end]), data[end:]
