"""External data representation (RFC 4506): the few types that VXI-11 and the port mapper use."""

from __future__ import annotations

import struct


class XdrError(Exception):
    """Bytes end too early, or an opaque is longer than what is left."""


def packed(*values: int | bool | bytes) -> bytes:
    """Return integers as 32 bits and bytes as a counted opaque, filled up to four."""
    parts = []
    for value in values:
        if isinstance(value, bytes):
            parts.append(struct.pack(">I", len(value)) + value + bytes(-len(value) % 4))
        else:
            parts.append(struct.pack(">I", int(value) & 0xFFFF_FFFF))
    return b"".join(parts)


class Unpacker:
    """Take values off the front of `data`."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def integer(self) -> int:
        """Return the next unsigned integer."""
        return int(struct.unpack(">I", self._bytes(4))[0])

    def opaque(self) -> bytes:
        """Return the next counted bytes."""
        length = self.integer()
        data = self._bytes(length)
        self._bytes(-length % 4)
        return data

    def rest(self) -> Unpacker:
        """Return what is left, to be unpacked on its own."""
        return Unpacker(self._data[self._at :])

    def _bytes(self, count: int) -> bytes:
        piece = self._data[self._at : self._at + count]
        if len(piece) < count:
            raise XdrError(f"{count} bytes wanted, {len(piece)} are left")
        self._at += count
        return piece
