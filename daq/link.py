"""The narrow seam between an instrument and the wire: three methods, bytes, deadlines.

A link never lies: it hands over the bytes that arrived, or raises a typed error that carries
them. It knows nothing of commands, numbers or instruments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes that arrived together.

    Attributes
    ----------
    data
        One byte or more, unless `end` is set.
    end
        The link itself says that a message ends here (VXI-11, HiSLIP, USBTMC). Raw sockets and
        serial lines never set it; there the message format has to say.
    """

    data: bytes
    end: bool = False


class Link(Protocol):
    """An open path to one instrument. Used by one thread at a time."""

    @property
    def resource(self) -> str:
        """The VISA resource string by which it was opened."""

    @property
    def marks_end(self) -> bool:
        """Whether chunks carry end-of-message marks."""

    def write(self, data: bytes, timeout_s: float) -> None:
        """Send all of `data`.

        Raises
        ------
        LinkTimeout
            The far end did not take it all within `timeout_s` of monotonic time.
        LinkLost
            The far end is gone.
        """

    def read(self, timeout_s: float) -> Chunk:
        """Return what arrives next, waiting at most `timeout_s` of monotonic time.

        Raises
        ------
        LinkTimeout
            Nothing arrived.
        LinkLost
            The far end is gone.
        """

    def clear(self, timeout_s: float) -> None:
        """Clear the device where the link can; elsewhere drain until quiet, within `timeout_s`."""

    def close(self) -> None:
        """Close; harmless when called twice, returns within a second even if the far end hangs."""
