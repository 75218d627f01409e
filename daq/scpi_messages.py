"""Messages of SCPI and IEEE 488.2 cut out of a stream of bytes; no socket, no clock.

Messages are whole whatever the chunking, and a byte within a block never ends one.

Reference: IEEE 488.2-1992 section 8.7.9 and 8.7.10, definite and indefinite blocks (cited from
memory of the standard's numbering).
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from daq.errors import AnswerError

MESSAGE_LIMIT_BYTES: Final = 256 * 1024 * 1024
"""A longer message is refused: no instrument at hand sends one, noise without an end does."""

PADDING: Final = b"\r\n\0 \t"
"""Bytes at either end of a text message that mean nothing."""


class NeedData(Enum):
    """What `MessageReader.next_message` says when no message is complete."""

    NEED_DATA = auto()


NEED_DATA: Final = NeedData.NEED_DATA


class MessageReader:
    """Cut a stream of bytes into messages.

    Parameters
    ----------
    terminator
        Bytes that end a message where the link has no end marks; at least one.
    marks_end
        The link marks ends itself (VXI-11, HiSLIP, USBTMC): only the mark ends a message then.
    blocks
        A message may hold IEEE 488.2 blocks, whose bytes are counted and may look like a
        terminator. Leave it off for plain lines, where ``#`` is a character like any other.
    limit_bytes
        A longer message raises.
    """

    def __init__(
        self,
        terminator: bytes = b"\n",
        *,
        marks_end: bool = False,
        blocks: bool = False,
        limit_bytes: int = MESSAGE_LIMIT_BYTES,
    ) -> None:
        if not terminator:
            raise ValueError("a message needs a terminator of at least one byte")
        self._terminator = terminator
        self._marks_end = marks_end
        self._limit_bytes = limit_bytes
        stop = re.escape(terminator)
        self._stop = re.compile(stop + b'|["#]' if blocks else stop)
        self._buffer = bytearray()
        self._ends: deque[int] = deque()
        self._scan = 0
        self._quoted = False

    @property
    def pending(self) -> bytes:
        """What arrived and belongs to no message yet."""
        return bytes(self._buffer)

    def receive(self, data: bytes, end: bool = False) -> None:
        """Take bytes as they arrive; `end` says that the link marked the end of a message."""
        self._buffer += data
        if end and self._marks_end:
            self._ends.append(len(self._buffer))

    def next_message(self) -> bytes | NeedData:
        """Return the next whole message, or `NEED_DATA`.

        A message that a terminator ended comes without it; one that the link ended comes as it is.

        Raises
        ------
        AnswerError
            An indefinite block where the link marks no end, or a message beyond the limit. The
            stream cannot be trusted afterwards: `reset` and start again.
        """
        message = self._next_marked() if self._marks_end else self._next_terminated()
        if message is NEED_DATA and len(self._buffer) > self._limit_bytes:
            raise AnswerError(
                f"More than {self._limit_bytes} bytes arrived without the end of a message.",
                received=bytes(self._buffer[:200]),
                hint="check the terminator in the profile, and the baud rate of a serial line.",
            )
        return message

    def reset(self) -> bytes:
        """Forget everything and return what was pending."""
        dropped = bytes(self._buffer)
        self._buffer.clear()
        self._ends.clear()
        self._scan, self._quoted = 0, False
        return dropped

    def _next_marked(self) -> bytes | NeedData:
        if not self._ends:
            return NEED_DATA
        length = self._ends.popleft()
        self._ends = deque(end - length for end in self._ends)
        return self._take(length, length)

    def _next_terminated(self) -> bytes | NeedData:
        while (found := self._stop.search(self._buffer, self._scan)) is not None:
            start, stop = found.span()
            if found.group() == self._terminator:
                return self._take(start, stop)
            if found.group() == b'"':
                self._quoted = not self._quoted
                self._scan = stop
                continue
            past = stop if self._quoted else self._past_block(start)
            if past is NEED_DATA or past > len(self._buffer):
                return NEED_DATA
            self._scan = past
        # A terminator may be cut in two: its first bytes are looked at again.
        self._scan = max(self._scan, len(self._buffer) - len(self._terminator) + 1)
        return NEED_DATA

    def _past_block(self, start: int) -> int | NeedData:
        head = block_head(bytes(self._buffer[start : start + _LONGEST_HEAD]))
        if head is NEED_DATA:
            return NEED_DATA
        if head is None:
            return start + 1
        if head.length is None:
            raise AnswerError(
                "An indefinite block (#0) came over a link that does not mark the end of a "
                "message, so its end cannot be known.",
                received=bytes(self._buffer[:200]),
                hint="have the profile ask for definite-length blocks, or use VXI-11 or HiSLIP.",
            )
        if head.length > self._limit_bytes:
            raise AnswerError(
                f"A block announces {head.length} bytes, beyond the limit of {self._limit_bytes}.",
                received=bytes(self._buffer[:200]),
            )
        return start + head.size + head.length

    def _take(self, length: int, past: int) -> bytes:
        message = bytes(self._buffer[:length])
        del self._buffer[:past]
        self._scan, self._quoted = 0, False
        return message


@dataclass(frozen=True, slots=True)
class BlockHead:
    """The head of an IEEE 488.2 block.

    Attributes
    ----------
    size
        Bytes of the head itself.
    length
        Bytes of data that follow; None for an indefinite block.
    """

    size: int
    length: int | None


_LONGEST_HEAD: Final = 24
_HEAD: Final = re.compile(rb"#(?:(?P<zero>0)|(?P<count>[1-9A])|\((?P<long>[0-9]{1,18})\))")
_PARTIAL_LONG: Final = re.compile(rb"#\([0-9]{0,18}")


def block_head(data: bytes) -> BlockHead | NeedData | None:
    """Read the head of a block at the beginning of `data`.

    Besides ``#<n><n digits>`` and ``#0`` two forms in the wild are read: ``#A`` with ten digits,
    and ``#(<digits>)``, both for a gigabyte and more.

    Returns
    -------
    BlockHead, or None if this ``#`` begins no block, or `NEED_DATA` if that cannot be told yet.
    """
    if len(data) < 2 or _PARTIAL_LONG.fullmatch(data):
        return NEED_DATA
    found = _HEAD.match(data)
    if found is None:
        return None
    if found["zero"]:
        return BlockHead(2, None)
    if found["long"]:
        return BlockHead(found.end(), int(found["long"]))
    count = int(found["count"], 16)
    digits = data[2 : 2 + count]
    if not digits.isdigit():
        return None if digits else NEED_DATA
    return BlockHead(2 + count, int(digits)) if len(digits) == count else NEED_DATA


def parse_block(message: bytes, *, end_marked: bool) -> bytes:
    """Return the data of the one block in a message; a header before it is tolerated.

    Parameters
    ----------
    message
        A whole message from `MessageReader`.
    end_marked
        The link marked its end, which makes an indefinite block legal.

    Raises
    ------
    AnswerError
        No block, an indefinite one that is not legal here, too few bytes, or bytes left over.
    """
    start = message.find(b"#")
    head = block_head(message[start : start + _LONGEST_HEAD]) if start >= 0 else None
    if not isinstance(head, BlockHead):
        raise AnswerError("A block was expected.", received=message[:200])
    body = message[start + head.size :]
    if head.length is None:
        if not end_marked:
            raise AnswerError("An indefinite block has no end on this link.", received=message)
        return body.removesuffix(b"\n")
    if len(body) < head.length:
        raise AnswerError(
            f"A block of {head.length} bytes was announced, {len(body)} arrived.",
            received=message[:200],
        )
    if body[head.length :].strip(PADDING):
        raise AnswerError(
            f"{len(body) - head.length} bytes are left over behind a block.",
            received=body[head.length :][:200],
        )
    return body[: head.length]
