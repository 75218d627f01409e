"""Read away what nobody asked for, within bounds of time and of bytes."""

from __future__ import annotations

from typing import Final

from daq.errors import LinkTimeout
from daq.link import Link
from drivers.deadline import Deadline

_LIMIT_BYTES: Final = 4_000_000


def drain(link: Link, deadline: Deadline, *, quiet_s: float) -> bytes:
    """Read until nothing has come for `quiet_s` seconds; return what was read.

    Raises
    ------
    LinkTimeout
        The far end did not fall silent before the deadline, or within 4 MB.
    LinkLost
        It is gone.
    """
    drained = bytearray()
    while not deadline.passed and len(drained) < _LIMIT_BYTES:
        try:
            drained += link.read(min(quiet_s, deadline.remaining_s)).data
        except LinkTimeout:
            if not deadline.passed:
                return bytes(drained)
    raise LinkTimeout(
        "The instrument would not fall silent.",
        instrument=link.resource,
        received=bytes(drained[-200:]),
        hint="if it talks on its own, its profile has to say so; check a serial line's baud rate.",
    )
